package uds

import "fmt"

// NRC is a negative response code, ISO 14229-1:2020 annex A.1.
type NRC byte

// Codes that decide what a client does next.
const (
	GeneralReject                          NRC = 0x10
	ServiceNotSupported                    NRC = 0x11
	SubFunctionNotSupported                NRC = 0x12
	IncorrectMessageLength                 NRC = 0x13
	ResponseTooLong                        NRC = 0x14
	BusyRepeatRequest                      NRC = 0x21
	ConditionsNotCorrect                   NRC = 0x22
	RequestSequenceError                   NRC = 0x24
	RequestOutOfRange                      NRC = 0x31
	SecurityAccessDenied                   NRC = 0x33
	AuthenticationRequired                 NRC = 0x34
	GeneralProgrammingFailure              NRC = 0x72
	ResponsePending                        NRC = 0x78
	SubFunctionNotSupportedInActiveSession NRC = 0x7E
	ServiceNotSupportedInActiveSession     NRC = 0x7F
)

// refusal is one code in words: the standard's name, a plain clause that completes "The module refused: ...", and
// what may be done about it.
type refusal struct{ name, text, advice string }

const (
	adviceConditions = "Switch the ignition on without starting the drive, stand still, and ask again."
	adviceNone       = "Asking again does not help."
	adviceSession    = "The module answers this only in another session. This program does not open one for a change."
	adviceLocked     = "Only a workshop with rights for this car can ask this."
	adviceMemory     = "Do not send it again. Switch the ignition off, wait two minutes, and read again."
	adviceSupply     = "Measure the 12 V battery first."
)

var refusals = map[NRC]refusal{
	0x10: {"generalReject", "it gives no reason", adviceNone},
	0x11: {"serviceNotSupported", "it does not know this kind of request", adviceNone},
	0x12: {"subFunctionNotSupported", "it does not know this variant of the request", adviceNone},
	0x13: {"incorrectMessageLengthOrInvalidFormat", "the request has the wrong length or form for it", "Compare the request with your instructions byte by byte."},
	0x14: {"responseTooLong", "its answer would be too long to send", "Ask for less at once."},
	0x21: {"busyRepeatRequest", "it is busy", "Wait a few seconds and read again."},
	0x22: {"conditionsNotCorrect", "the car is not in the state it needs", adviceConditions},
	0x24: {"requestSequenceError", "another request has to come first", adviceNone},
	0x25: {"noResponseFromSubnetComponent", "the part behind it did not answer", "Read again later. If it stays, the part behind it may have no supply."},
	0x26: {"failurePreventsExecutionOfRequestedAction", "a fault in the car prevents it", "Read the codes. The fault has to be found first."},
	0x31: {"requestOutOfRange", "it does not know what was asked for", adviceNone},
	0x33: {"securityAccessDenied", "it is locked", adviceLocked},
	0x34: {"authenticationRequired", "it wants proof of who asks", adviceLocked},
	0x35: {"invalidKey", "the key was wrong", adviceLocked},
	0x36: {"exceedNumberOfAttempts", "there were too many wrong keys", adviceLocked},
	0x37: {"requiredTimeDelayNotExpired", "its waiting time is not over", adviceLocked},
	0x38: {"secureDataTransmissionRequired", "it wants a secured connection", adviceLocked},
	0x39: {"secureDataTransmissionNotAllowed", "it does not allow a secured connection here", adviceLocked},
	0x3A: {"secureDataVerificationFailed", "the secured data did not pass its check", adviceLocked},
	0x50: {"certificateVerificationFailed_InvalidTimePeriod", "the certificate is out of date", adviceLocked},
	0x51: {"certificateVerificationFailed_InvalidSignature", "the certificate's signature is wrong", adviceLocked},
	0x52: {"certificateVerificationFailed_InvalidChainOfTrust", "nobody it trusts vouches for the certificate", adviceLocked},
	0x53: {"certificateVerificationFailed_InvalidType", "the certificate is of the wrong type", adviceLocked},
	0x54: {"certificateVerificationFailed_InvalidFormat", "the certificate has the wrong form", adviceLocked},
	0x55: {"certificateVerificationFailed_InvalidContent", "the content of the certificate does not fit", adviceLocked},
	0x56: {"certificateVerificationFailed_InvalidScope", "the certificate is not for this", adviceLocked},
	0x57: {"certificateVerificationFailed_InvalidCertificate", "the certificate was withdrawn", adviceLocked},
	0x58: {"ownershipVerificationFailed", "the proof of ownership failed", adviceLocked},
	0x59: {"challengeCalculationFailed", "it could not make its challenge", adviceLocked},
	0x5A: {"settingAccessRightsFailed", "it could not set the rights", adviceLocked},
	0x5B: {"sessionKeyCreationOrDerivationFailed", "it could not make a session key", adviceLocked},
	0x5C: {"configurationDataUsageFailed", "its configuration data could not be used", adviceLocked},
	0x5D: {"deAuthenticationFailed", "it could not end the authentication", adviceLocked},
	0x70: {"uploadDownloadNotAccepted", "it does not accept a transfer of memory", adviceNone},
	0x71: {"transferDataSuspended", "the transfer of memory was stopped", adviceNone},
	0x72: {"generalProgrammingFailure", "it could not write its memory", adviceMemory},
	0x73: {"wrongBlockSequenceCounter", "a block of the transfer came out of order", adviceNone},
	0x78: {"requestCorrectlyReceived-ResponsePending", "it has understood and is still working", "Wait. The answer follows."},
	0x7E: {"subFunctionNotSupportedInActiveSession", "this variant is not allowed in the present session", adviceSession},
	0x7F: {"serviceNotSupportedInActiveSession", "this kind of request is not allowed in the present session", adviceSession},
	0x81: {"rpmTooHigh", "the motor turns too fast", adviceConditions},
	0x82: {"rpmTooLow", "the motor turns too slowly", adviceNone},
	0x83: {"engineIsRunning", "the engine is running", adviceConditions},
	0x84: {"engineIsNotRunning", "the engine is not running", adviceNone},
	0x85: {"engineRunTimeTooLow", "the engine has not run for long enough", adviceNone},
	0x86: {"temperatureTooHigh", "a temperature is too high", "Let the car cool down, then ask again."},
	0x87: {"temperatureTooLow", "a temperature is too low", adviceNone},
	0x88: {"vehicleSpeedTooHigh", "the car is moving", adviceConditions},
	0x89: {"vehicleSpeedTooLow", "the car is too slow for it", "Never drive for a request. " + adviceNone},
	0x8A: {"throttle/PedalTooHigh", "the pedal is pressed too far", "Take the foot off the pedal, then ask again."},
	0x8B: {"throttle/PedalTooLow", "the pedal is not pressed far enough", adviceNone},
	0x8C: {"transmissionRangeNotInNeutral", "the selector is not in neutral", adviceNone},
	0x8D: {"transmissionRangeNotInGear", "the selector is not in a driving position", adviceNone},
	0x8F: {"brakeSwitch(es)NotClosed", "it wants the brake pedal pressed", "Press the brake pedal, then ask again."},
	0x90: {"shifterLeverNotInPark", "the selector is not in park", "Put the selector in P, then ask again."},
	0x91: {"torqueConverterClutchLocked", "the torque converter is locked", adviceConditions},
	0x92: {"voltageTooHigh", "the supply voltage is too high", adviceSupply},
	0x93: {"voltageTooLow", "the supply voltage is too low", adviceSupply},
	0x94: {"resourceTemporarilyNotAvailable", "something it needs is in use", "Wait a few seconds and read again."},
}

// Known reports whether the standard names the code.
func (n NRC) Known() bool { _, ok := refusals[n]; return ok }

// Name is the standard's name of the code; "" for a code that it does not name.
func (n NRC) Name() string { return refusals[n].name }

// Text completes the sentence "The module refused: ...".
func (n NRC) Text() string {
	switch r, ok := refusals[n]; {
	case ok:
		return r.text
	case n >= 0x95 && n <= 0xEF:
		return fmt.Sprintf("a condition is not right, which one is not told (%02X)", byte(n))
	case n >= 0xF0 && n <= 0xFE:
		return fmt.Sprintf("a reason of the maker's own (%02X)", byte(n))
	}
	return fmt.Sprintf("a reason that the standard does not name (%02X)", byte(n))
}

// Advice is what may be done about it, in a sentence.
func (n NRC) Advice() string {
	if r, ok := refusals[n]; ok {
		return r.advice
	}
	return adviceNone
}

func (n NRC) String() string {
	if name := n.Name(); name != "" {
		return name
	}
	return fmt.Sprintf("%02X", byte(n))
}
