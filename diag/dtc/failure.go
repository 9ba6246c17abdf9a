package dtc

// failureTexts are the failure types (third byte) of SAE J2012 / ISO 15031-6 in plain words. 84 and 85 follow the
// majority; one community list has them the other way round.
var failureTexts = map[byte]string{
	0x00: "no further detail given",
	0x01: "an electrical fault, no more said", 0x02: "a signal fault, no more said", 0x03: "a fault of a pulsed signal",
	0x04: "a fault inside the module", 0x05: "a fault of its programming", 0x06: "a calculation says so",
	0x07: "a mechanical fault", 0x08: "a fault of bus messages", 0x09: "a fault of a part",
	0x11: "short to ground", 0x12: "short to battery", 0x13: "the circuit is open", 0x14: "short to ground or open",
	0x15: "short to battery or open", 0x16: "the voltage is too low", 0x17: "the voltage is too high",
	0x18: "the current is too low", 0x19: "the current is too high", 0x1A: "the resistance is too low",
	0x1B: "the resistance is too high", 0x1C: "the voltage is out of range", 0x1D: "the current is out of range",
	0x1E: "the resistance is out of range", 0x1F: "the contact comes and goes",
	0x21: "the signal is too small", 0x22: "the signal is too large", 0x23: "the signal stays low", 0x24: "the signal stays high",
	0x25: "the signal has a wrong shape", 0x26: "the signal changes too slowly", 0x27: "the signal changes too fast",
	0x28: "the rest value of the signal is off", 0x29: "the signal is not valid", 0x2A: "the signal is stuck at one value",
	0x2B: "two signals disturb each other", 0x2F: "the signal is erratic",
	0x31: "no signal", 0x32: "low for too short a time", 0x33: "low for too long", 0x34: "high for too short a time",
	0x35: "high for too long", 0x36: "the frequency is too low", 0x37: "the frequency is too high", 0x38: "the frequency is wrong",
	0x39: "too few pulses", 0x3A: "too many pulses",
	0x41: "a checksum is wrong", 0x42: "a memory fault", 0x43: "a fault of special memory", 0x44: "a fault of data memory",
	0x45: "a fault of program memory", 0x46: "a fault of calibration memory", 0x47: "the module's watchdog stepped in",
	0x48: "the module's own supervision stepped in", 0x49: "the module's electronics are faulty", 0x4A: "a wrong part is fitted",
	0x4B: "too hot inside",
	0x51: "not programmed", 0x52: "not switched on in its settings", 0x53: "switched off", 0x54: "a calibration is missing",
	0x55: "not configured",
	0x61: "a signal was calculated wrongly", 0x62: "two values that should agree differ", 0x63: "a protection has stepped in for too long",
	0x64: "the value is not plausible", 0x65: "too few changes of the signal", 0x66: "too many changes of the signal",
	0x67: "the signal is wrong after an event",
	0x71: "the actuator is stuck", 0x72: "the actuator is stuck open", 0x73: "the actuator is stuck closed", 0x74: "the actuator slips",
	0x75: "the emergency position is not reached", 0x76: "mounted in a wrong position", 0x77: "the asked position is not reached",
	0x78: "not aligned or adjusted", 0x79: "a fault in the linkage", 0x7A: "a leak or a bad seal", 0x7B: "a fluid is low",
	0x81: "wrong data received", 0x82: "the message counter does not move as it should", 0x83: "the check value of a message is wrong",
	0x84: "the value is below what is allowed", 0x85: "the value is above what is allowed", 0x86: "the value in the message is not valid",
	0x87: "message missing", 0x88: "bus off", 0x8F: "erratic messages",
	0x91: "out of its normal values", 0x92: "it does not work as it should", 0x93: "it does not work", 0x94: "it works when it should not",
	0x95: "put together wrongly", 0x96: "a fault inside the part", 0x97: "it is blocked", 0x98: "it is too hot",
}

// uncertainTexts stand in one open list only; for 99 and 9A the lists contradict each other.
var uncertainTexts = map[byte]string{
	0x56: "its configuration does not fit", 0x68: "a note about an event",
	0x99: "it has reached the limit of what it can learn", 0x9A: "the conditions for its work are not met",
}

// FailureText says a failure type in plain words. known is false where no source, or one list alone, describes it; the
// text then says so. Values from F0 up belong to the maker.
func FailureText(b byte) (text string, known bool) {
	if t, ok := failureTexts[b]; ok {
		return t, true
	}
	if t, ok := uncertainTexts[b]; ok {
		return t + " (not certain: lists differ)", false
	}
	if b >= 0xF0 {
		return "failure type of the maker's own", false
	}
	return "failure type not described", false
}
