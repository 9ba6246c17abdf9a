package explain

import (
	"fmt"
	"slices"
	"strings"
)

// typed is a frame with the place of each of its bytes in the input.
type typed struct {
	frame *Frame
	idAt  int
	at    []int
	by    bool // an adapter command set the identifier
	w     who
	t     transport
	o     Options
	out   []Finding
}

func (x *typed) found(code string, level Level, at int, text, fix string) {
	x.out = append(x.out, Finding{Code: code, Level: level, At: at, Text: text, Fix: fix})
}

// place is where byte i of the data field stands in the input.
func (x *typed) place(i int) int {
	if i < 0 || i >= len(x.at) {
		return -1
	}
	return x.at[i]
}

// readable reports a payload that is a complete request.
func readable(p []byte) bool { return len(p) > 0 && !isAnswer(p[0]) && readForm(p).complete }

// sound reports data that is a single frame with a complete request and even filling.
func sound(d []byte) bool {
	t := split(d, 0)
	return t.kind == single && readable(t.payload) && filling(t.rest)
}

// soundUsual reports data whose first two bytes, swapped, begin a usual request.
func soundUsual(d []byte, w who, o *Options) bool {
	q := slices.Clone(d)
	q[0], q[1] = q[1], q[0]
	return sound(q) && usual(split(q, 0).payload, w, o)
}

// wellKnown is the length of the request that stands at the front of d with nothing but filling after it, 0 when there
// is none. Requests that end in bytes of the maker's own do not count: anything would fit them.
func wellKnown(d []byte) int {
	if len(d) >= 4 && d[0] == 0x14 && d[1] == 0xFF && d[2] == 0xFF && d[3] == 0xFF && filling(d[4:]) {
		return 4
	}
	for n := 1; n <= min(len(d), 7); n++ {
		if readable(d[:n]) && filling(d[n:]) && !readForm(d[:n]).layout.ends(some) {
			return n
		}
	}
	return 0
}

// uncounted is like wellKnown for bytes that should begin with a counting byte: those that look like one are taken for a
// request only when it is a common one.
func uncounted(d []byte) int {
	n := wellKnown(d)
	if n == 0 || d[0] > 0x0A {
		return n
	}
	if _, known := pids[d[n-1]]; n == 2 && d[0] == 0x01 && known || slices.Contains(common, fmt.Sprintf("%X", d[:n])) {
		return n
	}
	return 0
}

// slips looks for the typing errors that the bytes themselves give away.
func (x *typed) slips() {
	x.identifier()
	if x.w.skip > 0 {
		x.meaning(false) // the transport byte stands elsewhere: the hints below would be wrong
		return
	}
	d := x.frame.Data
	if len(d) == 0 {
		x.found("data-missing", Wrong, -1, "There are no bytes after the identifier.", "Type the bytes of the request.")
		return
	}
	explained := x.length(d) || x.kind(d)
	if !explained && x.t.kind == single && !filling(x.t.rest) {
		x.found("filler-mixed", Doubt, x.place(1+x.t.count), "The filling is not even. Filling is the same byte again and again.", "Compare the counting byte and the last bytes.")
	}
	x.filler(d)
	x.meaning(explained)
}

// identifier: what the identifier alone gives away.
func (x *typed) identifier() {
	id := x.frame.ID
	switch {
	case x.w.class != Never && x.w.known, x.w.standard && x.w.class != Never && len(x.o.Modules) == 0:
	case x.w.answer:
		code := "answer-id"
		if slices.Contains(x.o.Heard, id) {
			code = "heard-id"
		}
		x.found(code, Wrong, x.idAt, x.w.why, "A request goes to the identifier that the module listens at.")
	case x.w.class == Never:
		x.found("id-not-for-requests", Wrong, x.idAt, x.w.why, x.nearID())
	case x.w.standard:
		x.found("id-unknown", Doubt, x.idAt, fmt.Sprintf("No module of this car is known to listen at %s.", id), x.nearID())
	default:
		x.found("id-unknown", Doubt, x.idAt, fmt.Sprintf("%s is not one of the identifiers that the standard sets (7DF, 7E0 to 7E7). Who listens there is not known.", id), x.nearID())
	}
	if s := swappedID(id, x.o); s != "" && !(x.w.standard || x.w.known) {
		x.found("digits-swapped", Doubt, x.idAt, fmt.Sprintf("With two digits swapped, %s would be %s.", id, s), fmt.Sprintf("If %s is meant, type that.", s))
	}
}

// length looks for slips of the counting byte and of whole bytes; true when it found one.
func (x *typed) length(d []byte) bool {
	t := x.t
	n := int(d[0] & 0x0F)
	switch {
	case t.kind == single && hexOf(t.payload) == "14 FF FF" && len(t.rest) > 0 && t.rest[0] == 0xFF:
		x.found("length-small", Wrong, x.place(0), "The counting byte says 3, but the request seems to have 4 bytes. The module would see 14 FF FF only.", "For all of it the counting byte would be 04.")
	case t.kind == single && readable(t.payload) && filling(t.rest):
		return x.complete()
	case len(d) > 2 && d[0] == d[1] && sound(d[1:]):
		x.found("length-doubled", Wrong, x.place(1), fmt.Sprintf("The counting byte %02X stands twice.%s", d[0], doubledAs(d[1])), fmt.Sprintf("If it is meant once: %s.", hexOf(d[1:])))
	case d[0] == 0 && len(d) > 1 && sound(d[1:]):
		x.found("shifted", Wrong, x.place(0), "Everything stands one place too far right: 00 in front makes the message empty.", fmt.Sprintf("Without it: %s.", hexOf(d[1:])))
	case len(d) > 2 && t.kind != single && soundUsual(d, x.w, &x.o):
		x.found("bytes-swapped", Wrong, x.place(0), fmt.Sprintf("The first two bytes seem swapped: %02X can't count this.", d[0]), fmt.Sprintf("The other way round: %02X %02X.", d[1], d[0]))
	case d[0]>>4 == 0 && n >= 8:
		fix := ""
		if k := wellKnown(d[1:]); k > 0 {
			fix = fmt.Sprintf("The request has %d bytes: the counting byte would be %02X.", k, k)
		}
		x.found("pad-counted", Wrong, x.place(0), fmt.Sprintf("The counting byte is %02X, but one frame has room for 7. It may count the filling too.", d[0]), fix)
	case (t.kind != single || !readable(t.payload) && !isAnswer(t.payload[0])) && uncounted(d) > 0:
		k := uncounted(d)
		fix := fmt.Sprintf("With it: %02X %s.", k, hexOf(d[:k]))
		if x.by {
			fix += " An adapter adds it by itself, so lines for an adapter have none."
		}
		x.found("length-missing", Wrong, x.place(0), fmt.Sprintf("The counting byte seems to be missing: %s is a whole request by itself.", hexOf(d[:k])), fix)
	case d[0]>>4 == 0 && n > 0 && wellKnown(d[1:]) > n:
		k := wellKnown(d[1:])
		level := Wrong
		if readable(t.payload) {
			level = Doubt
		}
		x.found("length-small", level, x.place(0), fmt.Sprintf("The counting byte says %d, but the request seems to have %d bytes. The module would see %s only.", n, k, hexOf(d[1:1+min(n, len(d)-1)])),
			fmt.Sprintf("For all of it the counting byte would be %02X.", k))
	case d[0]>>4 == 0 && n > len(d)-1:
		x.found("byte-missing", Wrong, x.place(len(d)-1), fmt.Sprintf("The counting byte says %d, but only %d follow.", n, len(d)-1), "Compare the bytes with the instructions.")
	case t.kind == single && !readable(t.payload) && wellKnown(t.payload) > 0 && !isAnswer(t.payload[0]):
		k := wellKnown(t.payload)
		x.found("length-big", Wrong, x.place(0), fmt.Sprintf("The counting byte says %d, but the request has %d. The filling would count as data.", n, k), fmt.Sprintf("The counting byte would be %02X.", k))
	default:
		return false
	}
	return true
}

// doubledAs is the other reading of a doubled counting byte.
func doubledAs(b byte) string {
	if s := serviceOf(b); s != nil {
		return fmt.Sprintf(" A module would take the second one as a request: %s.", s.verb)
	}
	return ""
}

// complete: slips in a frame that can be read completely and has even filling.
func (x *typed) complete() bool {
	p := x.t.payload
	if p[0] != 0x14 {
		return false
	}
	switch {
	case len(p) == 4 && be16(p[1:]) == 0xFFFF && isFiller(p[3]) && p[3] != 0xFF:
		x.found("byte-missing", Wrong, x.place(4), fmt.Sprintf("The group %s is none that the standard has. The last byte looks like filling: one byte may be missing.", hexOf(p[1:])), "All groups are FF FF FF.")
	case len(p) == 5 && (len(x.t.rest) == 0 || x.t.rest[0] == p[4]):
		x.found("length-big", Doubt, x.place(0), fmt.Sprintf("The counting byte says 5. Then %02X is the number of a memory, which few modules have. It looks like filling.", p[4]), "For a request without it the counting byte would be 04.")
	default:
		return false
	}
	return true
}

// kind looks at frames that are no single frame; true when the frame is none.
func (x *typed) kind(d []byte) bool {
	switch {
	case x.t.kind == single:
		return false
	case x.w.answer:
	case d[0] == 0:
		x.found("empty-message", Wrong, x.place(0), "The counting byte is 00: the message is empty.", "Compare the bytes with the instructions.")
	default:
		fix := "Compare the first byte with the instructions."
		if low := append([]byte{d[0] & 0x0F}, d[1:]...); sound(low) {
			fix = fmt.Sprintf("With %02X as the first byte this would be a whole request.", low[0])
		}
		x.found("frame-kind", Wrong, x.place(0), x.t.why.String(), fix)
	}
	return true
}

// meaning looks at what the request asks for. explained tells that a slip of its length was found already.
func (x *typed) meaning(explained bool) {
	p := x.t.payload
	if len(p) == 0 || x.t.kind != single && !(x.t.kind == first && x.w.answer) {
		return
	}
	first := 1 + x.w.skip
	if isAnswer(p[0]) {
		x.found("answer-pasted", Wrong, x.place(first), "This is an answer, not a request: "+strings.TrimSuffix(ExplainAnswer(nil, p), ".")+".", "Look for the line above it: the request.")
		x.swappedService(p, first)
		return
	}
	f := readForm(p)
	if f.service == nil {
		x.found("service-unknown", Wrong, x.place(first), f.problem.String(), "Compare this byte with the instructions.")
		x.swappedService(p, first)
		return
	}
	if !f.complete && !makersOwn(p, int(p[len(p)-1]&0x7F)) {
		if !explained {
			x.found("form", Wrong, x.place(first), f.problem.String(), "Compare the bytes with the instructions.")
			x.swappedService(p, first)
		}
		return
	}
	if f.silent(p) {
		level, text := Wrong, "The first bit of this byte (80) asks the module not to answer. Then nobody can tell what it did."
		if c, _ := rated(p[0], int(p[1]&0x7F)); c == Look {
			level = Note
			if p[0] != 0x3E {
				level = Doubt
			}
		}
		x.found("no-answer-wanted", level, x.place(first+1), text, fmt.Sprintf("With an answer it is %02X.", p[1]&0x7F))
	}
	x.standard(p, f, first)
	x.clear(p, first)
	if p[0] == 0x19 && (len(p) > 4 && (p[1]&0x7F == 0x04 || p[1]&0x7F == 0x06 || p[1]&0x7F == 0x09)) {
		x.oneCode(p[2:5], first+2)
	}
	if p[0] == 0x22 {
		if j := ofValues(p, &x.o); j.class == Change {
			x.found("value-unknown", Note, x.place(first+1), j.reason(), "")
		}
	}
}

// clear: what only a request to erase can get wrong.
func (x *typed) clear(p []byte, first int) {
	if p[0] != 0x14 && p[0] != 0x04 {
		return
	}
	if x.w.functional {
		x.found("all-modules", Doubt, x.idAt, "This reaches all modules at once, airbag and brakes too.", "Ask one module only, at its own identifier.")
	}
	if p[0] != 0x14 {
		return
	}
	m := x.w.module
	switch {
	case len(p) == 3 && m != nil && m.Protocol == "UDS":
		x.found("kwp-form", Doubt, x.place(first), fmt.Sprintf("This is the older form. The %s module speaks the newer one.", m.Name), "The newer form has three bytes after 14: all groups are 04 14 FF FF FF.")
	case len(p) == 3:
		x.found("kwp-form", Note, x.place(first), "This is the older form, with two bytes after 14. Newer modules want three.", "")
	case m != nil && m.Protocol == "KWP":
		x.found("kwp-form", Doubt, x.place(first), fmt.Sprintf("This is the newer form. The %s module speaks the older one.", m.Name), "The older form has two bytes after 14: all groups are 03 14 FF 00.")
	}
	if len(p) == 4 && groups[be24(p[1:])] == "" {
		x.oneCode(p[1:], first+1)
	}
}

// swappedService: two neighbouring digits that, swapped, make a whole request.
func (x *typed) swappedService(p []byte, first int) {
	for _, usualOnly := range []bool{true, false} {
		for i := range 2 * min(len(p), 2) {
			q := swapDigits(p, i)
			if q == nil || !readable(q) || usualOnly && !usual(q, x.w, &x.o) {
				continue
			}
			x.found("digits-swapped", Doubt, x.place(first+i/2), fmt.Sprintf("With two digits swapped it would be %s: %s.", hexOf(q), phrase(q)), "Compare these digits with the instructions.")
			return
		}
	}
	if len(p) > 1 && !isAnswer(p[0]) { // two whole bytes
		if q := append([]byte{p[1], p[0]}, p[2:]...); q[0] != p[0] && readable(q) {
			x.found("bytes-swapped", Doubt, x.place(first), fmt.Sprintf("With two bytes swapped it would be %s: %s.", hexOf(q), phrase(q)), "Compare these bytes with the instructions.")
		}
	}
}

// swapDigits swaps hex digits i and i+1 of p; nil when they are equal or not there.
func swapDigits(p []byte, i int) []byte {
	if i+1 >= 2*len(p) {
		return nil
	}
	digits := []byte(fmt.Sprintf("%X", p))
	if digits[i] == digits[i+1] {
		return nil
	}
	digits[i], digits[i+1] = digits[i+1], digits[i]
	return unhex(string(digits))
}

// wishes compares what the owner wants with what the bytes do.
func (x *typed) wishes() {
	p := x.t.payload
	if x.o.Wish == "" || x.t.kind != single || isAnswer(p[0]) || serviceOf(p[0]) == nil {
		return
	}
	at := x.place(1 + x.w.skip)
	switch {
	case x.o.Wish == WishRead && erases(p):
		x.found("wish-differs", Wrong, at, "You said: read. These bytes erase.", "Choose again what you want, or compare the bytes.")
	case x.o.Wish == WishRead && !reads(p):
		x.found("wish-differs", Wrong, at, fmt.Sprintf("You said: read. These bytes ask to %s.", phrase(p)), "Choose again what you want, or compare the bytes.")
	case x.o.Wish == WishClear && !erases(p):
		x.found("wish-differs", Wrong, at, fmt.Sprintf("You said: erase. These bytes ask to %s.", phrase(p)), "Choose again what you want, or compare the bytes.")
	}
}

// erases reports a request to forget codes.
func erases(p []byte) bool { return p[0] == 0x14 || p[0] == 0x04 }

// reads reports a request that asks for information.
func reads(p []byte) bool {
	switch p[0] {
	case 0x22, 0x21:
		return true
	case 0x3E, 0x10, 0x20:
		return false
	}
	sub := -1
	if len(p) > 1 {
		sub = int(p[1] & 0x7F)
	}
	c, _ := rated(p[0], sub)
	return c == Look
}

func hasWrong(f []Finding) bool {
	return slices.ContainsFunc(f, func(x Finding) bool { return x.Level == Wrong })
}
