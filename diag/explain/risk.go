package explain

import (
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
	whyRead     = "Nothing in the car changes. It may be asked again."
	whyCodes    = "The codes and what was stored with them stay in the car. It may be asked again."
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
	{0x01, 0, none, Look, whyRead}, {0x02, 0, none, Look, whyCodes}, {0x03, 0, none, Look, whyCodes},
	{0x04, 0, none, Change, whyClear},
	{0x05, 0, none, Look, whyRead}, {0x06, 0, none, Look, whyRead}, {0x07, 0, none, Look, whyCodes},
	{0x08, 0, none, Never, whyOperate},
	{0x09, 0, none, Look, whyRead}, {0x0A, 0, none, Look, whyCodes},

	{0x10, 0x01, 0x01, Look, "It goes back to normal. Nothing is lost by it."},
	{0x10, 0x02, 0x02, Never, "It stops the module's job to wait for new software. The car may not start."},
	{0x10, 0x03, 0x03, Change, whySession},
	{0x10, 0x04, 0x04, Never, "It opens the mode of the safety systems, which is for airbags."},
	{0x10, 0x40, 0x7E, Workshop, whyMaker},
	{0x11, 0x01, 0x03, Workshop, whyRestart},
	{0x11, 0x04, 0x05, Never, "It makes the module shut down at once."},
	{0x14, 0, none, Change, whyClear},
	{0x19, 0x01, 0x1A, Look, whyCodes},
	{0x19, 0x42, 0x42, Look, whyCodes}, {0x19, 0x55, 0x56, Look, whyCodes},
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

	{0x12, 0, none, Look, whyCodes}, {0x13, 0, none, Look, whyCodes}, {0x17, 0, none, Look, whyCodes},
	{0x18, 0, none, Look, whyCodes}, {0x1A, 0, none, Look, whyRead},
	{0x20, 0, none, Look, "It goes back to normal. Nothing is lost by it."},
	{0x21, 0, none, Look, whyRead}, // by number, see ofValues
	{0x30, 0, none, Never, whyOperate},
	{0x32, 0, none, Never, whyJob}, {0x33, 0, none, Never, whyJob},
	{0x3B, 0, none, Never, whyWrite},
	{0x26, 0, none, Never, whyRepeat}, {0x39, 0, none, Never, whyJob}, {0x3A, 0, none, Never, whyJob},
	{0x81, 0, none, Never, "It begins a conversation on an old line."}, {0x82, 0, none, Never, "It ends a conversation on an old line."},
}

// rulesOf finds the rows of a service.
var rulesOf = func() (out [256][]rule) {
	for _, r := range rules {
		out[r.id] = append(out[r.id], r)
	}
	return out
}()

// notToAll are the services that are refused when they would reach all modules at once.
var notToAll = []byte{0x11, 0x28, 0x31, 0x85}

// olderRules hold besides, for modules that are known to speak ISO 14230-3: sub-functions are whole bytes there. What has
// no row is judged by rules alone. To know the standard of a module never makes a request safer.
var olderRules = []rule{
	{0x10, 0x81, 0x81, Look, "It goes back to normal. Nothing is lost by it."},
	{0x10, 0x82, 0x82, Never, "In the older standard this mode may mean programming."},
	{0x10, 0x85, 0x86, Never, "In the older standard it stops the module's job to wait for new software."},
	{0x10, 0x87, 0xFF, Workshop, whyMaker},
	{0x10, 0x00, 0x80, Never, "The older standard has no such mode."},
	{0x11, 0x01, 0x01, Workshop, whyRestart},
	{0x11, 0x00, 0xFF, Never, "In the older standard it empties the memory of what the module has learnt."},
}

// judgement is a class and what its reason is made of. It is put into words only when somebody reads them: a recording
// has a million frames.
type judgement struct {
	class Class
	why   wording
	more  wording // added behind why
}

func (j judgement) reason() string {
	why := j.why.String()
	if more := j.more.String(); more != "" {
		why += " " + more
	}
	return why
}

// ClassifyPayload is the class of a request payload sent to an address, with the reason. It is the worst of what the
// service, the sub-function without bit 0x80, the identifiers asked for, the length and the address make of it; what
// can't be read completely is [Never].
func ClassifyPayload(a link.Address, payload []byte) (Class, string) {
	w := whoIs(a.Request, nil, Options{})
	if w.class == Never {
		return Never, w.why
	}
	w.functional = w.functional || a.Functional
	j := judgePayload(w, payload, room(a), &Options{})
	return j.class, j.reason()
}

// room is how many bytes of payload a single frame to an address has room for.
func room(a link.Address) int {
	if a.Headed() {
		return 6
	}
	return 7
}

func judgePayload(w who, payload []byte, room int, o *Options) judgement {
	if len(payload) > room {
		return judgement{class: Never, why: worded(whyLong), more: wholeWouldBe(payload)}
	}
	return judge(payload, w, o)
}

// Classify is the class of one CAN frame, with the reason: that of its payload, and [Never] for an identifier that is
// not for requests, for anything but a single frame (ISO 15765-2) and for more than 8 or no data bytes.
func Classify(id link.ID, data []byte, o Options) (Class, string) {
	w := whoIs(id, data, o)
	if w.class == Never {
		return Never, w.why
	}
	j := judgeFrame(w, split(data, w.skip), &o)
	return j.class, j.reason()
}

func judgeFrame(w who, t transport, o *Options) judgement {
	switch t.kind {
	case single:
		return judge(t.payload, w, o)
	case first:
		return judgement{class: Never, why: t.why, more: wholeWouldBe(t.payload)}
	}
	return judgement{class: Never, why: t.why}
}

// wholeWouldBe says what a message that is too long for one frame would be if it could go out: one that only looks has
// nothing to be said of it, one that changes something has.
func wholeWouldBe(p []byte) wording {
	if len(p) == 0 || isAnswer(p[0]) {
		return wording{}
	}
	sub := -1
	if s := serviceOf(p[0]); s != nil && s.sub && len(p) > 1 {
		sub = int(p[1] & 0x7F)
	}
	class, why := rated(p[0], sub)
	switch class {
	case Look:
		return wording{}
	case Change:
		return wording{text: "As a whole it would be a change. ", tail: why}
	}
	return wording{text: "As a whole it would be refused too. ", tail: why}
}

// judge is the class of a payload that one frame holds.
func judge(p []byte, w who, o *Options) judgement {
	if len(p) == 0 {
		return judgement{class: Never, why: worded("There is nothing in it.")}
	}
	if isAnswer(p[0]) {
		return judgement{class: Never, why: worded(whyAnswer)}
	}
	f := readForm(p)
	if f.service == nil {
		return judgement{class: Never, why: worded(whyUnknown)}
	}
	sub := -1
	if b, ok := f.sub(p); ok {
		sub = int(b)
	}
	class, why := rated(p[0], sub)
	j := judgement{class: class, why: worded(why)}
	switch {
	case j.class == Never:
		return j
	case !f.complete && !makersOwn(p, sub):
		return judgement{class: Never, why: worded("It can't be read completely."), more: f.problem}
	}
	if p[0] == 0x22 || p[0] == 0x21 {
		j = ofValues(p, o)
	}
	if w.older() {
		j = j.worse(ratedOlder(p))
	}
	switch {
	case j.class == Change && f.silent(p):
		return judgement{class: Never, why: worded(whySilent)}
	case w.functional && slices.Contains(notToAll, p[0]):
		return judgement{class: Never, why: worded(whyAll), more: j.why}
	}
	return j
}

// worse is the stricter of two judgements, the first of two that are alike.
func (j judgement) worse(k judgement) judgement {
	if danger(k.class) > danger(j.class) {
		return k
	}
	return j
}

// makersOwn: a mode of the maker's own has no layout in the standard, but it is one byte and no more.
func makersOwn(p []byte, sub int) bool {
	return p[0] == 0x10 && sub >= 0x40 && sub <= 0x7E && len(p) == 2
}

func rated(id byte, sub int) (Class, string) {
	for _, r := range rulesOf[id] {
		if r.to == none || sub >= r.from && sub <= r.to {
			return r.class, r.why
		}
	}
	return Never, whyUnknown
}

// ratedOlder is what olderRules say of a payload; nothing against it where they have no row.
func ratedOlder(p []byte) judgement {
	for _, r := range olderRules {
		if r.id == p[0] && len(p) > 1 && int(p[1]) >= r.from && int(p[1]) <= r.to {
			return judgement{class: r.class, why: worded(r.why)}
		}
	}
	return judgement{class: Look}
}

// ofValues: a value from a known list may be read; an unknown one is a change, because a module may log it or be slow.
func ofValues(p []byte, o *Options) judgement {
	const unlisted = "The number %0*X is in no list of known values."
	if p[0] == 0x21 {
		return judgement{class: Change, why: worded(unlisted, 2, int(p[1]))}
	}
	for i := 1; i+1 < len(p); i += 2 {
		if id := be16(p[i:]); !listed(id) && !slices.Contains(o.Identifiers, id) {
			return judgement{class: Change, why: worded(unlisted, 4, int(id))}
		}
	}
	return judgement{class: Look, why: worded(whyRead)}
}
