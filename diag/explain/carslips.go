package explain

import (
	"fmt"
	"slices"
	"strings"

	"readback/diag/dtc"
)

// filler: a frame that is not full, or is filled up otherwise than the module that is asked does, else than this car does.
func (x *typed) filler(d []byte) {
	with, fills, used := "the byte that this car uses in its answers", "This car", x.o.Filler
	if len(used) > 0 {
		with = fmt.Sprintf("%02X, which this car uses", used[0])
	}
	if m := x.w.module; m != nil && len(m.Filler) > 0 {
		used, fills = m.Filler, fmt.Sprintf("The %s module", m.Name)
		with = fmt.Sprintf("%02X, which the %s module uses", used[0], m.Name)
	}
	switch {
	case len(d) < 8:
		x.found("short-frame", Doubt, x.place(len(d)-1), fmt.Sprintf("The frame has %s. Some modules ignore frames shorter than 8.", count(len(d), "byte", "bytes")),
			"Fill it up to 8 with "+with+".")
	case x.t.kind == single && len(x.t.rest) > 0 && filling(x.t.rest) && len(used) > 0 && !slices.Contains(used, x.t.rest[0]):
		x.found("filler-unlike", Note, x.place(1+x.t.count), fmt.Sprintf("The filling is %02X. %s fills up with %02X.", x.t.rest[0], fills, used[0]), "Modules hardly ever look at it. It counts for the words to say back.")
	}
}

// standard: a request of a standard that the module was not found to speak. What clears is looked at by itself.
func (x *typed) standard(p []byte, f form, first int) {
	m := x.w.module
	if m == nil || p[0] == 0x14 || p[0] == 0x04 {
		return
	}
	fix := map[byte]string{0x13: "19 02 FF", 0x18: "19 02 FF", 0x1A: "22 F1 90", 0x19: "18 02 FF 00", 0x22: "1A 90"}[p[0]]
	if fix != "" {
		fix = "The request of that standard is of the kind " + fix + "."
	}
	switch {
	case m.Protocol == "UDS" && f.service.family == ofKWP:
		x.found("kwp-form", Doubt, x.place(first), fmt.Sprintf("This is a request of the older standard. The %s module speaks the newer one.", m.Name), fix)
	case m.Protocol == "KWP" && f.service.family == ofUDS && olderServiceOf(p[0]) == nil:
		x.found("kwp-form", Doubt, x.place(first), fmt.Sprintf("This is a request of the newer standard. The %s module speaks the older one.", m.Name), fix)
	case m.Protocol == "OBD" && f.service.family != ofOBD:
		x.found("not-offered", Doubt, x.place(first), fmt.Sprintf("The %s module was only found to speak the standard of emissions, services 01 to 0A.", m.Name), "Codes are read with 03 there, and with 07.")
	}
}

// oneCode: a code that the module does not hold, or not in this order of bytes.
func (x *typed) oneCode(c []byte, at int) {
	if x.w.module == nil || len(x.w.module.Held) == 0 || holds(x.w, c) {
		return
	}
	if swapped := []byte{c[1], c[0], c[2]}; holds(x.w, swapped) {
		x.found("bytes-swapped", Doubt, x.place(at), fmt.Sprintf("The module does not hold %s. It holds %s: two bytes seem swapped.", codeName(c), codeName(swapped)),
			fmt.Sprintf("If that is meant: %s.", hexOf(swapped)))
		return
	}
	fix := "Compare the code with the list."
	for _, h := range x.w.module.Held {
		if textSlip(h.String(), codeName(c)) == 1 {
			fix = fmt.Sprintf("One slip away is %s, which it holds. Compare the code with the list.", h)
			break
		}
	}
	x.found("code-not-held", Doubt, x.place(at), fmt.Sprintf("The last reading of this module has no code %s.", codeName(c)), fix)
}

// holds reports a code of the last reading of a module.
func holds(w who, code []byte) bool {
	return w.module != nil && len(code) > 2 && slices.Contains(w.module.Held, dtc.From3(code[0], code[1], code[2]))
}

// oneSlip says that a request which can't go out, or is none that is usual, is a slip away from one that is.
func (x *typed) oneSlip(e *Explanation) {
	named := slices.ContainsFunc(x.out, func(f Finding) bool { return slices.Contains(slipCodes, f.Code) })
	if len(e.Nearest) == 0 || x.w.class == Never || named && !x.differs() {
		return
	}
	if q := x.t.payload; x.t.kind == single && isAnswer(q[0]) && (q[0] == 0x7F || answeredService(q[0], x.w.older()) != nil) {
		return
	}
	near := e.Nearest[0]
	whole := x.t.kind == single && readable(x.t.payload)
	p := split(unhex(strings.ReplaceAll(near.Text[strings.IndexByte(near.Text, ' '):], " ", "")), 0).payload
	switch {
	case !usual(p, x.w, &x.o):
	case named && !x.o.Wish.wants(p):
	case !whole && !x.differs():
		x.found("near-known", Doubt, x.place(0), fmt.Sprintf("One slip away is a usual request: %s", near.Summary), near.Slip+" Compare it with the instructions.")
	case x.differs() && x.o.Wish.wants(p):
		x.found("near-known", Doubt, x.place(1), fmt.Sprintf("One slip away is a request that does what you said: %s", near.Summary), near.Slip+" Compare it with the instructions.")
	case usual(x.t.payload, x.w, &x.o) || danger(near.Class) > danger(e.Class):
	default:
		level := Note
		if near.kind < changedDigit {
			level = Doubt
		}
		x.found("near-known", level, x.place(1), fmt.Sprintf("One slip away is a request that is more usual: %s", near.Summary), near.Slip+" Compare it with the instructions.")
	}
}

// differs: the bytes do not do what the owner said.
func (x *typed) differs() bool {
	return slices.ContainsFunc(x.out, func(f Finding) bool { return f.Code == "wish-differs" })
}

// slipCodes are findings that name the slip themselves.
var slipCodes = []string{"length-missing", "length-doubled", "length-small", "length-big", "pad-counted", "shifted", "digits-swapped", "bytes-swapped",
	"frame-kind", "empty-message", "data-missing", "code-not-held", "byte-missing", "id-unknown", "kwp-form", "id-width"}
