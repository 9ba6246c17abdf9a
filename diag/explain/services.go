package explain

import "fmt"

// family is the standard that a service belongs to.
type family uint8

const (
	uds family = iota // ISO 14229-1
	obd               // SAE J1979 / ISO 15031-5
	kwp               // ISO 14230-3, the older form
)

// service is one kind of request.
type service struct {
	id     byte
	term   string // the standard's own name
	verb   string // in plain words, without a full stop
	family family
	sub    bool // byte 2 is a sub-function; its bit 0x80 asks for silence
}

// services are all request services of the three standards. Names: ISO 14229-1 table 2 and clause 9 onward, SAE J1979
// clause 6, ISO 14230-3 clause 6.
var services = []service{
	{0x01, "current data", "Tell present values", obd, false},
	{0x02, "freeze frame", "Tell the values kept with a code", obd, false},
	{0x03, "stored codes", "Tell the stored trouble codes", obd, false},
	{0x04, "clear", "Forget trouble codes and everything kept with them", obd, false},
	{0x05, "oxygen sensor tests", "Tell results of oxygen sensor tests", obd, false},
	{0x06, "monitor tests", "Tell results of the car's own tests", obd, false},
	{0x07, "pending codes", "Tell the codes seen in this or the last trip", obd, false},
	{0x08, "control", "Operate a system of the car", obd, false},
	{0x09, "vehicle information", "Tell what car this is", obd, false},
	{0x0A, "permanent codes", "Tell the codes that a clear leaves", obd, false},

	{0x10, "DiagnosticSessionControl", "Change the mode of the conversation", uds, true},
	{0x11, "ECUReset", "Restart the module", uds, true},
	{0x14, "ClearDiagnosticInformation", "Forget stored trouble codes", uds, false},
	{0x19, "ReadDTCInformation", "Tell trouble codes", uds, true},
	{0x22, "ReadDataByIdentifier", "Tell a value", uds, false},
	{0x23, "ReadMemoryByAddress", "Show raw memory", uds, false},
	{0x24, "ReadScalingDataByIdentifier", "Tell how a value is scaled", uds, false},
	{0x27, "SecurityAccess", "Unlock protected functions", uds, true},
	{0x28, "CommunicationControl", "Change what the module says by itself", uds, true},
	{0x29, "Authentication", "Prove who is asking", uds, true},
	{0x2A, "ReadDataByPeriodicIdentifier", "Repeat a value again and again", uds, false},
	{0x2C, "DynamicallyDefineDataIdentifier", "Make a list of values", uds, true},
	{0x2E, "WriteDataByIdentifier", "Write a value", uds, false},
	{0x2F, "InputOutputControlByIdentifier", "Operate a part of the car", uds, false},
	{0x31, "RoutineControl", "Run a built-in job", uds, true},
	{0x34, "RequestDownload", "Begin to put software in", uds, false},
	{0x35, "RequestUpload", "Begin to take software out", uds, false},
	{0x36, "TransferData", "Move a block of software", uds, false},
	{0x37, "RequestTransferExit", "End moving software", uds, false},
	{0x38, "RequestFileTransfer", "Move a file", uds, false},
	{0x3D, "WriteMemoryByAddress", "Write raw memory", uds, false},
	{0x3E, "TesterPresent", "I am still here", uds, true},
	{0x83, "AccessTimingParameter", "Change the timing of the conversation", uds, true},
	{0x84, "SecuredDataTransmission", "Open a locked envelope", uds, false},
	{0x85, "ControlDTCSetting", "Switch the storing of codes", uds, true},
	{0x86, "ResponseOnEvent", "Report by itself when something happens", uds, true},
	{0x87, "LinkControl", "Change the speed of the line", uds, true},

	{0x12, "readFreezeFrameData", "Tell the values kept with a code", kwp, false},
	{0x13, "readDiagnosticTroubleCodes", "Tell trouble codes", kwp, false},
	{0x17, "readStatusOfDiagnosticTroubleCodes", "Tell the state of a code", kwp, false},
	{0x18, "readDiagnosticTroubleCodesByStatus", "Tell trouble codes by their state", kwp, false},
	{0x1A, "readEcuIdentification", "Tell what module this is", kwp, false},
	{0x20, "stopDiagnosticSession", "Go back to normal", kwp, false},
	{0x21, "readDataByLocalIdentifier", "Tell a value", kwp, false},
	{0x30, "inputOutputControlByLocalIdentifier", "Operate a part of the car", kwp, false},
	{0x32, "stopRoutineByLocalIdentifier", "Stop a built-in job", kwp, false},
	{0x33, "requestRoutineResultsByLocalIdentifier", "Tell the result of a built-in job", kwp, false},
	{0x3B, "writeDataByLocalIdentifier", "Write a value", kwp, false},
	{0x81, "startCommunication", "Begin the conversation", kwp, false},
	{0x82, "stopCommunication", "End the conversation", kwp, false},
}

// serviceOf finds a service by its identifier; nil when no standard has it.
func serviceOf(id byte) *service {
	for i := range services {
		if services[i].id == id {
			return &services[i]
		}
	}
	return nil
}

// source is the clause that a service rests on.
func (s *service) source() string {
	switch s.family {
	case obd:
		return fmt.Sprintf("SAE J1979, service %02X", s.id)
	case kwp:
		return fmt.Sprintf("ISO 14230-3, service %02X", s.id)
	}
	return fmt.Sprintf("ISO 14229-1, service %02X", s.id)
}

// isAnswer reports a first byte that only answers have: a service identifier with bit 0x40, or the refusal 7F.
func isAnswer(first byte) bool { return first&0x40 != 0 }
