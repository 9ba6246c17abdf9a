package kwp

import "fmt"

// NRC is the negative response code of a refusal, ISO 14230-3. From 10 to 37 and at 78 it agrees with ISO 14229-1 in most places;
// where it doesn't, the meaning here is that of ISO 14230-3.
type NRC byte

// Codes that decide what a client does next.
const (
	ServiceNotSupported  NRC = 0x11
	BusyRepeatRequest    NRC = 0x21
	ConditionsNotCorrect NRC = 0x22
	RoutineNotComplete   NRC = 0x23
	ResponsePending      NRC = 0x78
)

func (c NRC) busy() bool { return c == BusyRepeatRequest || c == RoutineNotComplete }

const (
	adviceNone    = "Asking again does not help."
	adviceLater   = "Wait a few seconds and read again."
	adviceLocked  = "Only a workshop with rights for this car can ask this."
	adviceState   = "Switch the ignition on without starting the engine, stand still, and ask again."
	adviceSession = "The module answers this only in another session. This program does not open one for a change."
)

// refusals are the codes in words: the name, a clause that completes "The module refused: ...", and what may be done.
// Names are those of scapy (KWP_NR); 41-43, 51-53, 72 and 74-79 from memory of ISO 14230-3.
var refusals = map[NRC]struct{ name, text, advice string }{
	0x10: {"generalReject", "it gives no reason", adviceNone},
	0x11: {"serviceNotSupported", "it does not know this kind of request", adviceNone},
	0x12: {"subFunctionNotSupported-InvalidFormat", "it does not know this variant of the request, or its length is wrong", "Compare the request with your instructions byte by byte."},
	0x21: {"busyRepeatRequest", "it is busy", adviceLater},
	0x22: {"conditionsNotCorrect-RequestSequenceError", "the car is not in the state it needs, or another request has to come first", adviceState},
	0x23: {"routineNotComplete", "it is still at work on an earlier request", adviceLater},
	0x31: {"requestOutOfRange", "it does not know what was asked for", adviceNone},
	0x33: {"securityAccessDenied-SecurityAccessRequested", "it is locked", adviceLocked},
	0x35: {"invalidKey", "the key was wrong", adviceLocked},
	0x36: {"exceedNumberOfAttempts", "there were too many wrong keys", adviceLocked},
	0x37: {"requiredTimeDelayNotExpired", "its waiting time is not over", adviceLocked},
	0x40: {"downloadNotAccepted", "it does not take software in", adviceNone},
	0x41: {"improperDownloadType", "it does not take software in this form", adviceNone},
	0x42: {"cantDownloadToSpecifiedAddress", "it does not take software in at this place", adviceNone},
	0x43: {"cantDownloadNumberOfBytesRequested", "it does not take that much software in", adviceNone},
	0x50: {"uploadNotAccepted", "it does not give software out", adviceNone},
	0x51: {"improperUploadType", "it does not give software out in this form", adviceNone},
	0x52: {"cantUploadFromSpecifiedAddress", "it does not give software out from this place", adviceNone},
	0x53: {"cantUploadNumberOfBytesRequested", "it does not give that much software out", adviceNone},
	0x71: {"transferSuspended", "the transfer of memory was stopped", adviceNone},
	0x72: {"transferAborted", "the transfer of memory was broken off", "Do not send it again. Switch the ignition off, wait two minutes, and read again."},
	0x74: {"illegalAddressInBlockTransfer", "a block of the transfer has a wrong place", adviceNone},
	0x75: {"illegalByteCountInBlockTransfer", "a block of the transfer has a wrong length", adviceNone},
	0x76: {"illegalBlockTransferType", "the transfer has a wrong form", adviceNone},
	0x77: {"blockTransferDataChecksumError", "a block of the transfer is damaged", adviceNone},
	0x78: {"requestCorrectlyReceived-ResponsePending", "it has understood and is still working", "Wait. The answer follows."},
	0x79: {"incorrectByteCountDuringBlockTransfer", "the transfer has a wrong length", adviceNone},
	0x80: {"subFunctionNotSupportedInActiveDiagnosticSession", "this is not allowed in the present session", adviceSession},
	0x9A: {"dataDecompressionFailed", "it could not unpack the data", adviceNone},
	0x9B: {"dataDecryptionFailed", "it could not decrypt the data", adviceNone},
	0xA0: {"EcuNotResponding", "the module behind it did not answer", "Read again later. If it stays, the module behind it may have no supply."},
	0xA1: {"EcuAddressUnknown", "it knows no module of that address", adviceNone},
}

// Known reports whether the code has a name here.
func (c NRC) Known() bool { _, ok := refusals[c]; return ok }

// Name is the standard's name of the code; "" for a code without one.
func (c NRC) Name() string { return refusals[c].name }

// Text completes the sentence "The module refused: ...".
func (c NRC) Text() string {
	switch r, ok := refusals[c]; {
	case ok:
		return r.text
	case c >= 0x80: // from memory: vehicle manufacturer specific
		return fmt.Sprintf("a reason of the maker's own (%02X)", byte(c))
	}
	return fmt.Sprintf("a reason that the standard does not name (%02X)", byte(c))
}

// Advice is what may be done about it, in a sentence.
func (c NRC) Advice() string {
	if r, ok := refusals[c]; ok {
		return r.advice
	}
	return adviceNone
}

func (c NRC) String() string {
	if name := c.Name(); name != "" {
		return name
	}
	return fmt.Sprintf("%02X", byte(c))
}
