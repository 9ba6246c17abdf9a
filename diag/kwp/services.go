package kwp

import "readback/diag/dtc"

// Service identifiers of ISO 14230-3 (names as in scapy; 12, 13, 20, 81 and 82 from memory of ISO 14230-3 and -2), and
// the first byte of a refusal.
const (
	sidSession       = 0x10 // startDiagnosticSession
	sidFrozen        = 0x12 // readFreezeFrameData
	sidCodes         = 0x13 // readDiagnosticTroubleCodes
	sidClear         = 0x14 // clearDiagnosticInformation
	sidStatus        = 0x17 // readStatusOfDiagnosticTroubleCodes
	sidByStatus      = 0x18 // readDiagnosticTroubleCodesByStatus
	sidPlate         = 0x1A // readECUIdentification
	sidEndSession    = 0x20 // stopDiagnosticSession
	sidLocal         = 0x21 // readDataByLocalIdentifier
	sidTesterPresent = 0x3E // testerPresent
	sidStop          = 0x82 // stopCommunication

	negativeAnswer = 0x7F
)

// responseRequired of testerPresent (scapy KWP_TP).
const (
	responseRequired = 0x01
	noResponse       = 0x02
)

// belongs: the positive answer of the same service, echoing what the service echoes, or a refusal of it. An answer
// too short to tell belongs: its form is judged later.
func belongs(request, answer []byte) bool {
	switch {
	case len(answer) == 0:
		return false
	case answer[0] == negativeAnswer:
		return len(answer) > 1 && answer[1] == request[0]
	case answer[0] != request[0]|0x40:
		return false
	}
	switch request[0] {
	case sidSession, sidFrozen, sidPlate, sidLocal:
		return len(request) < 2 || len(answer) < 2 || request[1] == answer[1]
	case sidStatus: // of a code that the module does not have, it tells none
		return len(request) < 3 || len(answer) < 4 || request[1] == answer[2] && request[2] == answer[3]
	}
	return true
}

// quiet: the request asks for no positive answer: responseRequired of 3E is 02.
func quiet(request []byte) bool {
	return len(request) == 2 && request[0] == sidTesterPresent && request[1] == noResponse
}

// two are the two bytes of a code in a request.
func two(c dtc.Code) (hi, lo byte) {
	b := c.Bytes()
	if len(b) < 2 {
		return 0, 0
	}
	return b[0], b[1]
}
