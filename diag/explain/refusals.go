package explain

import "fmt"

// refusal is one negative response code, ISO 14229-1 annex A.1.
type refusal struct {
	code byte
	term string // the standard's name
	text string // what it means, after "refused: "
	do   string // what to do about it
}

const (
	doNothing  = "Nothing was changed."
	doState    = "Put the car in that state, then begin again with a new reading."
	doWorkshop = "Leave it to a workshop."
)

var refusals = []refusal{
	{0x10, "generalReject", "the module gives no reason", "Read the codes again before anything else."},
	{0x11, "serviceNotSupported", "the module does not know this kind of request", "Another form of the request may be right for it."},
	{0x12, "subFunctionNotSupported", "the module does not know this variant", "Another form of the request may be right for it."},
	{0x13, "incorrectMessageLengthOrInvalidFormat", "the length or form is wrong", "Check the counting byte and the bytes after it."},
	{0x14, "responseTooLong", "the answer would be too long", "Ask for less at once."},
	{0x21, "busyRepeatRequest", "the module is busy", "Wait a second. A reading may be asked for again."},
	{0x22, "conditionsNotCorrect", "the conditions are not right", "Look at ignition, speed, drive and supply: ignition on, standing, drive off, at least 12.4 V."},
	{0x24, "requestSequenceError", "something has to come before it", doNothing},
	{0x25, "noResponseFromSubnetComponent", "the module behind the gateway is silent", "Leave the ignition on for 30 s and read again."},
	{0x26, "failurePreventsExecutionOfRequestedAction", "a fault blocks it", "Read the codes: the fault is among them."},
	{0x31, "requestOutOfRange", "the module does not know this number", "Compare the number with the instructions."},
	{0x33, "securityAccessDenied", "it is locked", doWorkshop},
	{0x34, "authenticationRequired", "the module wants to know who is asking", doWorkshop},
	{0x35, "invalidKey", "the key is wrong", doWorkshop},
	{0x36, "exceedNumberOfAttempts", "too many wrong keys", "Leave the ignition on and wait. " + doWorkshop},
	{0x37, "requiredTimeDelayNotExpired", "the waiting time after a wrong key is not over", "Wait. " + doWorkshop},
	{0x38, "secureDataTransmissionRequired", "it must come in a locked envelope", doWorkshop},
	{0x39, "secureDataTransmissionNotAllowed", "it must not come in a locked envelope", doWorkshop},
	{0x3A, "secureDataVerificationFailed", "the locked envelope could not be checked", doWorkshop},
	{0x50, "certificateVerificationFailed_InvalidTimePeriod", "the proof of identity is out of date", doWorkshop},
	{0x51, "certificateVerificationFailed_InvalidSignature", "the proof of identity is not signed rightly", doWorkshop},
	{0x52, "certificateVerificationFailed_InvalidChainOfTrust", "the proof of identity is not trusted", doWorkshop},
	{0x53, "certificateVerificationFailed_InvalidType", "the proof of identity is of the wrong type", doWorkshop},
	{0x54, "certificateVerificationFailed_InvalidFormat", "the proof of identity has the wrong form", doWorkshop},
	{0x55, "certificateVerificationFailed_InvalidContent", "the proof of identity has the wrong content", doWorkshop},
	{0x56, "certificateVerificationFailed_InvalidScope", "the proof of identity does not cover this", doWorkshop},
	{0x57, "certificateVerificationFailed_InvalidCertificate", "the proof of identity was withdrawn", doWorkshop},
	{0x58, "ownershipVerificationFailed", "the proof of ownership failed", doWorkshop},
	{0x59, "challengeCalculationFailed", "the check of identity failed", doWorkshop},
	{0x5A, "settingAccessRightsFailed", "the access rights could not be set", doWorkshop},
	{0x5B, "sessionKeyCreationOrDerivationFailed", "the key for this conversation could not be made", doWorkshop},
	{0x5C, "configurationDataUsageFailed", "the configuration could not be used", doWorkshop},
	{0x5D, "deAuthenticationFailed", "the identity could not be given back", doWorkshop},
	{0x70, "uploadDownloadNotAccepted", "the module takes no software now", doWorkshop},
	{0x71, "transferDataSuspended", "moving software was stopped", doWorkshop},
	{0x72, "generalProgrammingFailure", "writing its memory failed", "Do not repeat it. Switch the ignition off and on, then read the codes."},
	{0x73, "wrongBlockSequenceCounter", "a block of software came out of order", doWorkshop},
	{0x78, "requestCorrectlyReceived_ResponsePending", "", ""}, // not a refusal: see understood
	{0x7E, "subFunctionNotSupportedInActiveSession", "this variant is not available in this mode", "A workshop mode (10 03) may be needed first."},
	{0x7F, "serviceNotSupportedInActiveSession", "this request is not available in this mode", "A workshop mode (10 03) may be needed first."},
	{0x81, "rpmTooHigh", "the motor turns too fast", doState},
	{0x82, "rpmTooLow", "the motor turns too slowly", doState},
	{0x83, "engineIsRunning", "the motor is running", "Switch the drive off, leave the ignition on, then begin again."},
	{0x84, "engineIsNotRunning", "the motor is not running", doState},
	{0x85, "engineRunTimeTooLow", "the motor has not run long enough", doState},
	{0x86, "temperatureTooHigh", "it is too hot", "Let the car cool, then begin again."},
	{0x87, "temperatureTooLow", "it is too cold", doState},
	{0x88, "vehicleSpeedTooHigh", "the speed is too high", "Stand still, then begin again."},
	{0x89, "vehicleSpeedTooLow", "the speed is too low", "Do not try this on the road. " + doWorkshop},
	{0x8A, "throttleOrPedalTooHigh", "the pedal is pressed too far", "Take the foot off the pedal, then begin again."},
	{0x8B, "throttleOrPedalTooLow", "the pedal is not pressed far enough", doState},
	{0x8C, "transmissionRangeNotInNeutral", "the gear is not in neutral", doState},
	{0x8D, "transmissionRangeNotInGear", "no gear is engaged", "Do not try this on the road. " + doWorkshop},
	{0x8F, "brakeSwitchOrSwitchesNotClosed", "the brake is not pressed", "Press the brake pedal, then begin again."},
	{0x90, "shifterLeverNotInPark", "the lever is not in P", "Put it in P, then begin again."},
	{0x91, "torqueConvertClutchLocked", "the converter clutch is locked", doState},
	{0x92, "voltageTooHigh", "the voltage is too high", "Measure the 12 V supply, then begin again."},
	{0x93, "voltageTooLow", "the voltage is too low", "Charge the 12 V battery, then begin again."},
	{0x94, "resourceTemporarilyNotAvailable", "something it needs is not available now", "Wait a minute, then begin again."},
}

// understood is the code that asks for patience: the request was received, the answer follows.
const understood = 0x78

func refusalOf(code byte) refusal {
	for _, r := range refusals {
		if r.code == code {
			return r
		}
	}
	switch {
	case code >= 0x95 && code <= 0xEF || code >= 0x38 && code <= 0x4F:
		return refusal{code: code, text: "for a reason that the standard keeps free", do: doNothing}
	case code >= 0xF0 && code <= 0xFE:
		return refusal{code: code, text: "for a condition of the maker's own", do: "The maker's documents name it."}
	}
	return refusal{code: code, text: "for a reason that the standard does not name", do: doNothing}
}

// refusalText is a refusal in a sentence, with what to do.
func refusalText(code byte) string {
	if code == understood {
		return "understood, needs a moment (78)"
	}
	r := refusalOf(code)
	return fmt.Sprintf("refused: %s (%02X). %s", r.text, code, r.do)
}
