package explain

import (
	"fmt"
	"slices"

	"readback/diag/kwp"
	"readback/diag/uds"
)

// understood is the code that asks for patience: the request was received, the answer follows.
const understood = 0x78

const (
	doAgain     = "Wait ten seconds. Read the codes before anything is sent again."
	doState     = "Ignition on, drive off, standing still, not charging, at least 12.4 V. Then begin again with a new reading."
	doOlderForm = "Nothing was erased. The newer form is 04 14 FF FF FF, the older one 03 14 FF 00. Compare it with the instructions."
	doGroup     = "Nothing was erased. It does not know this group or code. Ask for all groups, or compare the bytes with the list of codes."
	doWorkshop  = "Leave it to a workshop."
	doStop      = "Stop here. Each wrong key makes the waiting time longer."
	doNothing   = "Nothing was changed."
)

// advices say what to do about a refusal where that differs by what was asked; the refused services are listed. Common
// practice, no source.
var advices = []struct {
	services string
	code     byte
	text     string
}{
	{"\x14\x04", 0x11, "Nothing was erased. An emissions module may know 04 instead, an older one 14 FF 00."},
	{"\x14\x04", 0x12, doOlderForm},
	{"\x14\x04", 0x13, doOlderForm},
	{"\x14\x04", 0x21, doAgain},
	{"\x14\x04", 0x22, doState},
	{"\x14\x04", 0x31, doGroup},
	{"\x14\x04", 0x72, "Do not send it again. Switch the ignition off, wait two minutes, and read the codes."},
	{"\x14\x04", 0x7E, "Nothing was erased. It may want the workshop mode (10 03) first."},
	{"\x14\x04", 0x7F, "Nothing was erased. It may want the workshop mode (10 03) first."},
	{"\x19", 0x11, "It may speak an older standard: 18 02 FF 00 or 03 asks for codes there."},
	{"\x19", 0x12, "It does not tell codes in this way. The usual request is 19 02 FF."},
	{"\x19", 0x13, "It may be of an older edition. The usual request is 03 19 02 FF."},
	{"\x19", 0x31, "It holds nothing under this code or record number. Read the list of codes first (19 02 FF)."},
	{"\x18\x17\x13", 0x11, "It may speak a newer standard: 19 02 FF asks for codes there."},
	{"\x22\x21\x1A\x24", 0x11, "It does not tell values in this way. Nothing is wrong with the car."},
	{"\x22\x21\x1A\x24", 0x13, "Ask for one number at a time."},
	{"\x22\x21\x1A\x24", 0x31, "It has no such value. Nothing is wrong with the car."},
	{"\x22\x21\x1A\x24", 0x33, "This value is locked. The car works as before."},
	{"\x01\x02\x05\x06\x09", 0x12, "It does not offer this number. Nothing is wrong with the car."},
	{"\x01\x02\x05\x06\x09", 0x31, "It does not offer this number. Nothing is wrong with the car."},
	{"\x10", 0x12, "It has no such mode. It stays as it is."},
	{"\x10", 0x22, "It stays in its mode. " + doState},
	{"\x10", 0x7E, "It allows this mode only from another one. It stays as it is."},
	{"\x3E", 0x12, "It does not keep a conversation open in this way. Reading works without it."},
	{"\x11", 0x22, "It did not restart. Switch the ignition off, lock the car, wait five minutes, and switch on."},
	{"\x27\x29", 0x35, doStop},
	{"\x27\x29", 0x36, doStop},
	{"\x27\x29", 0x37, doStop},
	{"\x27\x29", 0x24, doWorkshop},
	{"\x28\x85", 0x22, doState},
	{"\x28\x85", 0x7F, "It may want the workshop mode (10 03) first. Switching the ignition off and on undoes it too."},
	{"\x2E\x2F\x30\x31\x3B\x3D", 0x22, doNothing},
	{"\x2E\x2F\x30\x31\x3B\x3D", 0x24, doWorkshop},
	{"\x2E\x2F\x30\x31\x3B\x3D", 0x31, doNothing},
	{"\x2E\x2F\x30\x31\x3B\x3D", 0x72, "It may be half-written. Do not send it again. " + doWorkshop},
	{"\x34\x35\x36\x37\x38", 0x70, doWorkshop},
	{"\x34\x35\x36\x37\x38", 0x71, doWorkshop},
	{"\x34\x35\x36\x37\x38", 0x72, "It may be half-written. Leave the ignition on, keep the 12 V up, and call a workshop."},
	{"\x34\x35\x36\x37\x38", 0x73, doWorkshop},
}

// adviceFor is what to do when a service was refused with a code.
func adviceFor(service, code byte, older bool) string {
	for _, a := range advices {
		if a.code == code && slices.Contains([]byte(a.services), service) {
			return a.text
		}
	}
	if older {
		return kwp.NRC(code).Advice()
	}
	return uds.NRC(code).Advice()
}

// refusalText is a refusal in a sentence, with what to do. older tells that the module speaks ISO 14230-3, where some
// codes mean something else.
func refusalText(service, code byte, older bool) string {
	if code == understood {
		return "understood, needs a moment (78)"
	}
	text, known := uds.NRC(code).Text(), uds.NRC(code).Known()
	if older {
		text, known = kwp.NRC(code).Text(), kwp.NRC(code).Known()
	}
	if known {
		text = fmt.Sprintf("%s (%02X)", text, code)
	}
	return "refused: " + text + ". " + adviceFor(service, code, older)
}

func refusalPieces(p []byte, older bool) (string, []piece) {
	source := "ISO 14229-1, annex A"
	if older {
		source = "ISO 14230-3, response codes"
	}
	pieces := []piece{{1, "What it says", "No, or not yet."}}
	if len(p) > 1 {
		text := fmt.Sprintf("To the request %02X.", p[1])
		if s := answeredService(p[1]|0x40, older); s != nil && !isAnswer(p[1]) {
			text = fmt.Sprintf("To the request %02X: %s.", p[1], lowerFirst(s.verb))
		}
		pieces = append(pieces, piece{1, "To what", text})
	}
	if len(p) > 2 {
		pieces = append(pieces, piece{1, "Why", upperFirst(refusalText(p[1], p[2], older))})
		if p[2] == understood {
			pieces[2].text += ". It sends the answer later, up to 5 s for each such message."
		}
	}
	return source, cover(p, pieces, "Not understood", "What these bytes mean is not known.")
}
