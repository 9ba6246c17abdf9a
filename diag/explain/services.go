package explain

import "fmt"

// family is the standard that a service belongs to.
type family uint8

const (
	ofUDS family = iota // ISO 14229-1
	ofOBD               // SAE J1979 / ISO 15031-5
	ofKWP               // ISO 14230-3, the older form
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
	{0x01, "current data", "Tell present values", ofOBD, false},
	{0x02, "freeze frame", "Tell the values kept with a code", ofOBD, false},
	{0x03, "stored codes", "Tell the stored trouble codes", ofOBD, false},
	{0x04, "clear", "Forget trouble codes and everything kept with them", ofOBD, false},
	{0x05, "oxygen sensor tests", "Tell results of oxygen sensor tests", ofOBD, false},
	{0x06, "monitor tests", "Tell results of the car's own tests", ofOBD, false},
	{0x07, "pending codes", "Tell the codes seen in this or the last trip", ofOBD, false},
	{0x08, "control", "Operate a system of the car", ofOBD, false},
	{0x09, "vehicle information", "Tell what car this is", ofOBD, false},
	{0x0A, "permanent codes", "Tell the codes that a clear leaves", ofOBD, false},

	{0x10, "DiagnosticSessionControl", "Change the mode of the conversation", ofUDS, true},
	{0x11, "ECUReset", "Restart the module", ofUDS, true},
	{0x14, "ClearDiagnosticInformation", "Forget stored trouble codes", ofUDS, false},
	{0x19, "ReadDTCInformation", "Tell trouble codes", ofUDS, true},
	{0x22, "ReadDataByIdentifier", "Tell a value", ofUDS, false},
	{0x23, "ReadMemoryByAddress", "Show raw memory", ofUDS, false},
	{0x24, "ReadScalingDataByIdentifier", "Tell how a value is scaled", ofUDS, false},
	{0x27, "SecurityAccess", "Unlock protected functions", ofUDS, true},
	{0x28, "CommunicationControl", "Change what the module says by itself", ofUDS, true},
	{0x29, "Authentication", "Prove who is asking", ofUDS, true},
	{0x2A, "ReadDataByPeriodicIdentifier", "Repeat a value again and again", ofUDS, false},
	{0x2C, "DynamicallyDefineDataIdentifier", "Make a list of values", ofUDS, true},
	{0x2E, "WriteDataByIdentifier", "Write a value", ofUDS, false},
	{0x2F, "InputOutputControlByIdentifier", "Operate a part of the car", ofUDS, false},
	{0x31, "RoutineControl", "Run a built-in job", ofUDS, true},
	{0x34, "RequestDownload", "Begin to put software in", ofUDS, false},
	{0x35, "RequestUpload", "Begin to take software out", ofUDS, false},
	{0x36, "TransferData", "Move a block of software", ofUDS, false},
	{0x37, "RequestTransferExit", "End moving software", ofUDS, false},
	{0x38, "RequestFileTransfer", "Move a file", ofUDS, false},
	{0x3D, "WriteMemoryByAddress", "Write raw memory", ofUDS, false},
	{0x3E, "TesterPresent", "I am still here", ofUDS, true},
	{0x83, "AccessTimingParameter", "Change the timing of the conversation", ofUDS, true},
	{0x84, "SecuredDataTransmission", "Open a locked envelope", ofUDS, false},
	{0x85, "ControlDTCSetting", "Switch the storing of codes", ofUDS, true},
	{0x86, "ResponseOnEvent", "Report by itself when something happens", ofUDS, true},
	{0x87, "LinkControl", "Change the speed of the line", ofUDS, true},

	{0x12, "readFreezeFrameData", "Tell the values kept with a code", ofKWP, false},
	{0x13, "readDiagnosticTroubleCodes", "Tell trouble codes", ofKWP, false},
	{0x17, "readStatusOfDiagnosticTroubleCodes", "Tell the state of a code", ofKWP, false},
	{0x18, "readDiagnosticTroubleCodesByStatus", "Tell trouble codes by their state", ofKWP, false},
	{0x1A, "readEcuIdentification", "Tell what module this is", ofKWP, false},
	{0x20, "stopDiagnosticSession", "Go back to normal", ofKWP, false},
	{0x21, "readDataByLocalIdentifier", "Tell a value", ofKWP, false},
	{0x30, "inputOutputControlByLocalIdentifier", "Operate a part of the car", ofKWP, false},
	{0x32, "stopRoutineByLocalIdentifier", "Stop a built-in job", ofKWP, false},
	{0x33, "requestRoutineResultsByLocalIdentifier", "Tell the result of a built-in job", ofKWP, false},
	{0x3B, "writeDataByLocalIdentifier", "Write a value", ofKWP, false},
	{0x26, "setDataRates", "Set how often values are repeated", ofKWP, false},
	{0x39, "stopRoutineByAddress", "Stop a built-in job, named by its place in memory", ofKWP, false},
	{0x3A, "requestRoutineResultsByAddress", "Tell the result of a built-in job, named by its place in memory", ofKWP, false},
	{0x81, "startCommunication", "Begin the conversation", ofKWP, false},
	{0x82, "stopCommunication", "End the conversation", ofKWP, false},
}

// olderServices are the services of ISO 14230-3 whose identifier ISO 14229-1 uses too, mostly for something alike. The
// names are those of that standard; most are confirmed by the open library scapy, 84 is from memory.
var olderServices = []service{
	{0x10, "startDiagnosticSession", "Change the mode of the conversation", ofKWP, false},
	{0x11, "ecuReset", "Restart the module", ofKWP, false},
	{0x14, "clearDiagnosticInformation", "Forget stored trouble codes", ofKWP, false},
	{0x22, "readDataByCommonIdentifier", "Tell a value", ofKWP, false},
	{0x23, "readMemoryByAddress", "Show raw memory", ofKWP, false},
	{0x27, "securityAccess", "Unlock protected functions", ofKWP, false},
	{0x28, "disableNormalMessageTransmission", "Stop sending ordinary messages", ofKWP, false},
	{0x29, "enableNormalMessageTransmission", "Send ordinary messages again", ofKWP, false},
	{0x2C, "dynamicallyDefineLocalIdentifier", "Make a list of values", ofKWP, false},
	{0x2E, "writeDataByCommonIdentifier", "Write a value", ofKWP, false},
	{0x2F, "inputOutputControlByCommonIdentifier", "Operate a part of the car", ofKWP, false},
	{0x31, "startRoutineByLocalIdentifier", "Run a built-in job", ofKWP, false},
	{0x34, "requestDownload", "Begin to put software in", ofKWP, false},
	{0x35, "requestUpload", "Begin to take software out", ofKWP, false},
	{0x36, "transferData", "Move a block of software", ofKWP, false},
	{0x37, "requestTransferExit", "End moving software", ofKWP, false},
	{0x38, "startRoutineByAddress", "Run a built-in job, named by its place in memory", ofKWP, false},
	{0x3D, "writeMemoryByAddress", "Write raw memory", ofKWP, false},
	{0x3E, "testerPresent", "I am still here", ofKWP, false},
	{0x83, "accessTimingParameters", "Change the timing of the conversation", ofKWP, false},
	{0x84, "networkConfiguration", "Tell or change who talks on the network", ofKWP, false},
	{0x85, "controlDTCSetting", "Switch the storing of codes", ofKWP, false},
	{0x86, "responseOnEvent", "Report by itself when something happens", ofKWP, false},
}

// byID and olderByID find services by their identifier: a recording has a million of them.
var byID, olderByID = indexed(services), indexed(olderServices)

func indexed(list []service) (out [256]*service) {
	for i := range list {
		out[list[i].id] = &list[i]
	}
	return out
}

// serviceOf finds a service by its identifier; nil when no standard has it. Where two standards use one identifier, it
// is the one of ISO 14229-1.
func serviceOf(id byte) *service { return byID[id] }

// olderServiceOf finds what a module that speaks ISO 14230-3 takes an identifier for.
func olderServiceOf(id byte) *service {
	if s := olderByID[id]; s != nil {
		return s
	}
	if s := byID[id]; s != nil && s.family == ofKWP {
		return s
	}
	return nil
}

// source is the clause that a service rests on.
func (s *service) source() string {
	switch s.family {
	case ofOBD:
		return fmt.Sprintf("SAE J1979, service %02X", s.id)
	case ofKWP:
		return fmt.Sprintf("ISO 14230-3, service %02X", s.id)
	}
	return fmt.Sprintf("ISO 14229-1, service %02X", s.id)
}

// isAnswer reports a first byte that only answers have: a service identifier with bit 0x40, or the refusal 7F.
func isAnswer(first byte) bool { return first&0x40 != 0 }
