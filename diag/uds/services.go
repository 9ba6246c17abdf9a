package uds

import "readback/diag/dtc"

// Service identifiers, ISO 14229-1:2020 table 2, and the first byte of a refusal.
const (
	sidSession       = 0x10
	sidClear         = 0x14
	sidReadCodes     = 0x19
	sidReadData      = 0x22
	sidScaling       = 0x24
	sidCommunication = 0x28
	sidTesterPresent = 0x3E
	sidSetting       = 0x85

	negativeAnswer = 0x7F
)

// suppress is the bit of a sub-function that asks for no positive answer (clause 8.2.2).
const suppress = 0x80

// hasSubFunction reports the services whose second byte is a sub-function (clause 8.2.2 and the tables of each service).
func hasSubFunction(sid byte) bool {
	switch sid {
	case sidSession, 0x11, sidReadCodes, 0x27, sidCommunication, 0x29, 0x2C, 0x31, sidTesterPresent, 0x83, sidSetting, 0x86, 0x87:
		return true
	}
	return false
}

// suppressed reports a request that asks for no positive answer.
func suppressed(request []byte) bool {
	return len(request) > 1 && hasSubFunction(request[0]) && request[1]&suppress != 0
}

// Suppressed is a request with the bit set that asks for no positive answer; the request itself where its service has
// no sub-function.
func Suppressed(request []byte) []byte {
	if len(request) < 2 || !hasSubFunction(request[0]) {
		return request
	}
	out := append([]byte{}, request...)
	out[1] |= suppress
	return out
}

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
	if hasSubFunction(request[0]) && len(request) > 1 && len(answer) > 1 && (request[1]^answer[1])&^suppress != 0 {
		return false
	}
	switch request[0] {
	case sidReadCodes:
		return len(request) < 2 || Report(request[1]&^suppress).echoes(request, answer)
	case sidReadData:
		return len(answer) < 3 || asks(request, word(answer[1:]))
	case sidScaling, 0x2E, 0x2F:
		return same(request[1:], answer[1:], 2)
	}
	return true
}

// same reports whether the first n bytes are the same, as far as both go.
func same(a, b []byte, n int) bool {
	for i := range min(n, len(a), len(b)) {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// asks reports whether a request of service 22 names an identifier; a module leaves out those that it does not know.
func asks(request []byte, id uint16) bool {
	for b := request[1:]; len(b) >= 2; b = b[2:] {
		if word(b) == id {
			return true
		}
	}
	return false
}

func word(b []byte) uint16 { return uint16(b[0])<<8 | uint16(b[1]) }

// code3 are the three bytes of a code in a request; a code of two bytes has failure type 00.
func code3(c dtc.Code) [3]byte {
	var b [3]byte
	copy(b[:], c.Bytes())
	return b
}

// oneFrame reports a request whose every answer fits into one frame.
func oneFrame(request []byte) bool {
	switch request[0] {
	case sidSession, 0x11, sidClear, sidCommunication, sidTesterPresent, sidSetting:
		return true
	case sidReadCodes:
		return len(request) > 1 && Report(request[1]&^suppress).counts()
	}
	return false
}
