package explain

import (
	"fmt"
	"slices"

	"readback/diag/link"
)

// rule is one row of the table of risks. It holds for sub-functions from..to (bit 0x80 masked off), or for the whole
// service where to is none.
type rule struct {
	id       byte
	from, to int
	class    Class
	why      string
}

const (
	whyRead     = "It only reads. Nothing in the car changes."
	whyClear    = "It erases codes and what was kept with them. There is no undo."
	whySession  = "It opens the workshop mode: some modules stop helper functions until it ends."
	whyRestart  = "It restarts a module: its function is gone for seconds, and helper functions may stay off."
	whySoftware = "It prepares or moves software. A module left half-written no longer works."
	whyOperate  = "It operates parts of the car at once: pumps, fans, locks, contactors or brakes."
	whyWrite    = "It writes settings for good. There is no undo."
	whyUnlock   = "It is for unlocking. Wrong keys lock the module for minutes or hours."
	whyRepeat   = "It makes the module send by itself and loads the line."
	whyTiming   = "It changes how the module talks. Modules may become deaf."
	whyMute     = "It stops a module's ordinary messages: other modules lose their partner and store codes."
	whyHide     = "It stops the storing of codes and hides faults."
	whyJob      = "It runs or stops a built-in job: erasing, self-tests, calibration, contactors."
	whyMaker    = "It is a mode of the maker's own. What it does is not known here."
	whyUnknown  = "Nobody can say here what it does."
	whyAnswer   = "This is an answer, not a request."
	whySilent   = "It asks the module not to answer. A change without an answer can't be checked."
	whyAll      = "It would reach all modules at once."
)

// rules: what may be done with each service and sub-function. A service or sub-function that has no row is refused.
// Sources: the services and sub-functions of ISO 14229-1, SAE J1979 and ISO 14230-3; the classes are this program's own.
var rules = []rule{
	{0x01, 0, none, Look, whyRead}, {0x02, 0, none, Look, whyRead}, {0x03, 0, none, Look, whyRead},
	{0x04, 0, none, Change, whyClear},
	{0x05, 0, none, Look, whyRead}, {0x06, 0, none, Look, whyRead}, {0x07, 0, none, Look, whyRead},
	{0x08, 0, none, Never, whyOperate},
	{0x09, 0, none, Look, whyRead}, {0x0A, 0, none, Look, whyRead},

	{0x10, 0x01, 0x01, Look, "It goes back to normal. Nothing is lost by it."},
	{0x10, 0x02, 0x02, Never, "It stops the module's job to wait for new software. The car may not start."},
	{0x10, 0x03, 0x03, Change, whySession},
	{0x10, 0x04, 0x04, Never, "It opens the mode of the safety systems, which is for airbags."},
	{0x10, 0x40, 0x7E, Workshop, whyMaker},
	{0x11, 0x01, 0x03, Workshop, whyRestart},
	{0x11, 0x04, 0x05, Never, "It makes the module shut down at once."},
	{0x14, 0, none, Change, whyClear},
	{0x19, 0x01, 0x1A, Look, whyRead},
	{0x19, 0x42, 0x42, Look, whyRead}, {0x19, 0x55, 0x56, Look, whyRead},
	{0x22, 0, none, Look, whyRead}, // by identifier, see ofValues
	{0x23, 0, none, Workshop, "It reads raw memory: the module may lock or stumble."},
	{0x24, 0, none, Look, whyRead},
	{0x27, 0, none, Never, whyUnlock},
	{0x28, 0x00, 0x00, Change, "It lets a module talk again. It is a repair after somebody silenced it."},
	{0x28, 0x01, 0x05, Never, whyMute},
	{0x29, 0, none, Never, whyUnlock},
	{0x2A, 0, none, Workshop, whyRepeat},
	{0x2C, 0, none, Workshop, "It leaves a list in the module until it restarts."},
	{0x2E, 0, none, Never, whyWrite},
	{0x2F, 0, none, Never, whyOperate},
	{0x31, 0x01, 0x02, Never, whyJob},
	{0x31, 0x03, 0x03, Workshop, "It asks for the result of a job, which is of no use alone."},
	{0x34, 0, none, Never, whySoftware}, {0x35, 0, none, Never, whySoftware}, {0x36, 0, none, Never, whySoftware},
	{0x37, 0, none, Never, whySoftware}, {0x38, 0, none, Never, whySoftware},
	{0x3D, 0, none, Never, whyWrite},
	{0x3E, 0x00, 0x00, Look, "It only says: I am still here."},
	{0x83, 0, none, Never, whyTiming},
	{0x84, 0, none, Never, "It is a locked envelope. What is in it can't be read."},
	{0x85, 0x01, 0x01, Change, "It lets a module store codes again. It is a repair after somebody stopped it."},
	{0x85, 0x02, 0x02, Never, whyHide},
	{0x86, 0, none, Never, whyRepeat},
	{0x87, 0, none, Never, "It changes the speed of the line for everybody."},

	{0x12, 0, none, Look, whyRead}, {0x13, 0, none, Look, whyRead}, {0x17, 0, none, Look, whyRead},
	{0x18, 0, none, Look, whyRead}, {0x1A, 0, none, Look, whyRead},
	{0x20, 0, none, Look, "It goes back to normal. Nothing is lost by it."},
	{0x21, 0, none, Look, whyRead}, // by number, see ofValues
	{0x30, 0, none, Never, whyOperate},
	{0x32, 0, none, Never, whyJob}, {0x33, 0, none, Never, whyJob},
	{0x3B, 0, none, Never, whyWrite},
	{0x81, 0, none, Never, "It begins a conversation on an old line."}, {0x82, 0, none, Never, "It ends a conversation on an old line."},
}

// notToAll are the services that are refused when they would reach all modules at once.
var notToAll = []byte{0x11, 0x28, 0x31, 0x85}

// ClassifyPayload is the class of a request payload sent to an address, with the reason. It is the worst of what the
// service, the sub-function without bit 0x80, the identifiers asked for, the length and the address make of it; what
// can't be read completely is [Never].
func ClassifyPayload(a link.Address, payload []byte) (Class, string) {
	o := Options{}
	w := whoIs(a.Request, nil, o)
	if w.class == Never {
		return Never, w.why
	}
	room := 7
	if a.Mode == link.Extended || a.Mode == link.Mixed {
		room = 6
	}
	if len(payload) > room {
		return Never, whyLong
	}
	return risk(payload, a.Functional || w.functional, o)
}

// Classify is the class of one CAN frame, with the reason: that of its payload, and [Never] for an identifier that is
// not for requests, for anything but a single frame (ISO 15765-2) and for more than 8 or no data bytes.
func Classify(id link.ID, data []byte, o Options) (Class, string) {
	w := whoIs(id, data, o)
	if w.class == Never {
		return Never, w.why
	}
	t := split(data, w.skip)
	if t.kind != single {
		return Never, t.why
	}
	return risk(t.payload, w.functional, o)
}

func risk(p []byte, functional bool, o Options) (Class, string) {
	if len(p) == 0 {
		return Never, "There is nothing in it."
	}
	if isAnswer(p[0]) {
		return Never, whyAnswer
	}
	f := readForm(p)
	if f.service == nil {
		return Never, whyUnknown
	}
	sub := -1
	if b, ok := f.sub(p); ok {
		sub = int(b)
	}
	class, why := rated(p[0], sub)
	switch {
	case class == Never:
		return Never, why
	case !f.complete && !makersOwn(p, sub):
		return Never, "It can't be read completely. " + f.problem
	}
	if p[0] == 0x22 || p[0] == 0x21 {
		class, why = ofValues(p, o)
	}
	switch {
	case class == Change && f.silent(p):
		return Never, whySilent
	case functional && slices.Contains(notToAll, p[0]):
		return Never, whyAll + " " + why
	}
	return class, why
}

// makersOwn: a mode of the maker's own has no layout in the standard, but it is one byte and no more.
func makersOwn(p []byte, sub int) bool {
	return p[0] == 0x10 && sub >= 0x40 && sub <= 0x7E && len(p) == 2
}

func rated(id byte, sub int) (Class, string) {
	for _, r := range rules {
		if r.id == id && (r.to == none || sub >= r.from && sub <= r.to) {
			return r.class, r.why
		}
	}
	return Never, whyUnknown
}

// ofValues: a value from a known list may be read; an unknown one is a change, because a module may log it or be slow.
func ofValues(p []byte, o Options) (Class, string) {
	if p[0] == 0x21 {
		if slices.Contains(o.Local, p[1]) {
			return Look, whyRead
		}
		return Change, fmt.Sprintf("The number %02X is in no list of known values.", p[1])
	}
	for i := 1; i+1 < len(p); i += 2 {
		if id := be16(p[i:]); !listed(id) && !slices.Contains(o.Identifiers, id) {
			return Change, fmt.Sprintf("The number %04X is in no list of known values.", id)
		}
	}
	return Look, whyRead
}
