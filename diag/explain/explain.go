package explain

import (
	"fmt"
	"slices"
	"strings"
)

// Explain reads what was typed or pasted and tells everything it can about it. It never fails: what can't be read
// becomes findings, and the class is then [Never]. Of a text with words in it, the requests are taken out; of several
// requests, the first is explained and all are in Steps. A text of more than 20,000 characters is not read.
func Explain(text string, o Options) Explanation {
	c := clean(text)
	steps := parse(&c)
	found := describe(steps, o)
	main := taken(found)
	var e Explanation
	switch {
	case len(steps) == 0:
		if len(c.findings) == 0 {
			c.found("empty", Wrong, -1, "There is no request in it.", "Type the identifier and the bytes, as in 7E0 03 22 F1 90.")
		}
		e = unread("No request can be read from this.")
	case hasWrong(c.findings) || steps[main].bad:
		e = unread(fmt.Sprintf("This can't be read: %s", firstWrong(c.findings)))
		if readableStep(steps[main]) && !blocksFrame(c.findings) {
			e = explained(steps[main], o, &c)
			e.Class, e.Reason = Never, "It can't be read completely."
		}
		e.Nearest = guessed(c, steps[main], o)
	case !steps[main].hasID:
		e = withoutID(steps[main], &c)
	case len(steps[main].data) > 8:
		tooMany(steps[main], &c)
		e = unread("These are too many bytes for one request.")
	default:
		e = explained(steps[main], o, &c)
	}
	if c.prose && len(steps) > 0 {
		c.found("in-text", Doubt, steps[main].from, "The request was taken out of a text. The words around it were not looked at.", "Read them yourself: they may say when not to send it.")
	}
	if len(steps) > 1 {
		several(&e, steps, found, main, o, &c)
	}
	e.Input = kept(text)
	e.Cleaned = segments(steps, c.holes)
	e.Findings = c.findings
	if e.Findings == nil {
		e.Findings = []Finding{}
	}
	for i := range e.Findings {
		e.Findings[i].Byte = byteAt(steps, main, e.Findings[i].At)
	}
	slices.SortStableFunc(e.Findings, func(a, b Finding) int { return levelRank(a.Level) - levelRank(b.Level) })
	return e
}

// tooMany: more bytes than a frame has, of which the first may only count the others.
func tooMany(s step, c *cleaned) {
	text, fix := fmt.Sprintf("%d bytes: one frame has no more than 8.", len(s.data)), "Two requests in one? Type one."
	if len(s.data) == 9 && s.data[0] == 8 {
		fix = fmt.Sprintf("The first byte may only say that 8 bytes follow. If so: %s.", hexOf(s.data[1:]))
	}
	c.found("too-many-bytes", Wrong, s.at[8], text, fix)
}

func levelRank(l Level) int {
	switch l {
	case Wrong:
		return 0
	case Doubt:
		return 1
	}
	return 2
}

// kept is the part of the input that was looked at. A byte that is no text counts as one character.
func kept(text string) string {
	var b strings.Builder
	n := 0
	for _, r := range text {
		if n == maxRunes {
			break
		}
		b.WriteRune(r)
		n++
	}
	return b.String()
}

func unread(summary string) Explanation {
	return Explanation{Direction: Other, Summary: summary, Fields: []Field{}, Class: Never, Nearest: []Near{},
		Reason: "What can't be read completely must not go out."}
}

func firstWrong(f []Finding) string {
	for _, x := range f {
		if x.Level == Wrong {
			return x.Text
		}
	}
	return "a part of it is missing."
}

func readableStep(s step) bool { return !s.bad && s.hasID && len(s.data) > 0 && len(s.data) <= 8 }

// blocksFrame reports findings after which no frame may be shown: a byte of it is not known.
func blocksFrame(f []Finding) bool {
	for _, x := range f {
		if x.Level == Wrong && x.Code != "id-width" {
			return true
		}
	}
	return false
}

// explained explains one step and adds its slips to c.
func explained(s step, o Options, c *cleaned) Explanation {
	e := explainFrame(s.id, s.data, o)
	w := whoIs(s.id, s.data, o)
	x := typed{frame: e.Frame, idAt: s.idAt, by: s.by, at: s.at, w: w, t: split(s.data, w.skip), o: o}
	x.slips()
	x.wishes()
	if w.skip == 0 && !w.answer {
		e.Nearest = nearest(s.id, s.data, o)
		x.oneSlip(&e)
	}
	for _, f := range x.out {
		c.found(f.Code, f.Level, f.At, f.Text, f.Fix)
	}
	return e
}

// withoutID: bytes alone. What they would mean is said, but there is no frame.
func withoutID(s step, c *cleaned) Explanation {
	at := -1
	if len(s.at) > 0 {
		at = s.at[0]
	}
	c.found("id-missing", Wrong, at, "The identifier is missing: nobody is asked.", "Type the identifier first, as in 7E0.")
	e := unread("The identifier is missing.")
	d := s.data
	if len(d) == 0 {
		return e
	}
	if len(d) > 8 {
		d = d[:8]
	}
	t := split(d, 0)
	switch {
	case t.kind == single && readable(t.payload):
		e.Summary += " The bytes alone ask to " + phrase(t.payload) + "."
		e.Service = fmt.Sprintf("%02X", t.payload[0])
	case t.kind == single && isAnswer(t.payload[0]), isAnswer(d[0]):
		c.found("answer-pasted", Wrong, at, "These look like bytes of an answer, not of a request.", "Look for the line above them: the request.")
	case uncounted(d) > 0:
		k := uncounted(d)
		e.Summary += " The bytes alone ask to " + phrase(d[:k]) + ", but the counting byte is missing too."
		e.Service = fmt.Sprintf("%02X", d[0])
		c.found("length-missing", Wrong, at, fmt.Sprintf("The counting byte seems to be missing: %s is a whole request by itself.", hexOf(d[:k])), fmt.Sprintf("With it: %02X %s.", k, hexOf(d[:k])))
	}
	return e
}
