package explain

import (
	"fmt"
	"slices"
	"strings"
)

// Explain reads one typed or pasted request and tells everything it can about it. It never fails: what can't be read
// becomes findings, and the class is then [Never]. Only the first few thousand characters of a text are looked at.
func Explain(text string, o Options) Explanation {
	c := clean(text)
	steps := parse(&c)
	var e Explanation
	switch {
	case len(steps) == 0:
		if len(c.findings) == 0 {
			c.found("empty", Wrong, -1, "There is no request in it.", "Type the identifier and the bytes, as in 7E0 03 22 F1 90.")
		}
		e = unread("No request can be read from this.")
	case hasWrong(c.findings) || steps[0].bad:
		e = unread(fmt.Sprintf("This can't be read: %s", firstWrong(c.findings)))
		if readableStep(steps[0]) && !blocksFrame(c.findings) {
			e = explained(steps[0], o, &c)
			e.Class, e.Reason = Never, "It can't be read completely."
		}
		e.Nearest = guessed(c, o)
	case !steps[0].hasID:
		e = withoutID(steps[0], &c)
	case len(steps[0].data) > 8:
		c.found("too-many-bytes", Wrong, steps[0].at[8], fmt.Sprintf("%d bytes: one frame has no more than 8.", len(steps[0].data)), "Two requests in one? Type one.")
		e = unread("These are too many bytes for one request.")
	default:
		e = explained(steps[0], o, &c)
		if len(steps) > 1 {
			several(&e, steps, o, &c)
		}
	}
	e.Input = kept(text)
	e.Findings = c.findings
	if e.Findings == nil {
		e.Findings = []Finding{}
	}
	slices.SortStableFunc(e.Findings, func(a, b Finding) int { return levelRank(a.Level) - levelRank(b.Level) })
	return e
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

// kept is the part of the input that was looked at.
func kept(text string) string {
	n := 0
	for i := range text {
		if n == maxRunes {
			return strings.ToValidUTF8(text[:i], "\uFFFD")
		}
		n++
	}
	return strings.ToValidUTF8(text, "\uFFFD")
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
	x := typed{frame: e.Frame, idAt: s.idAt, at: s.at, w: w, t: split(s.data, w.skip), o: o}
	x.slips()
	x.wishes(e.Class)
	c.findings = append(c.findings, x.out...)
	if w.skip == 0 && !w.answer {
		e.Nearest = nearest(s.id, s.data, o)
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

// several: more than one request was pasted. Each is named; the class is the worst.
func several(e *Explanation, steps []step, o Options, c *cleaned) {
	var said []string
	at := -1
	for i, s := range steps {
		if i > 0 && len(s.at) > 0 && at < 0 {
			at = s.at[0]
		}
		if !readableStep(s) {
			e.Class, e.Reason = Never, "One of several requests can't be read."
			said = append(said, fmt.Sprintf("%d: can't be read", i+1))
			continue
		}
		x := explainFrame(s.id, s.data, o)
		if danger(x.Class) > danger(e.Class) {
			e.Class, e.Reason = x.Class, x.Reason
		}
		if i < 5 {
			said = append(said, fmt.Sprintf("%d: %s", i+1, x.Summary))
		}
	}
	c.found("two-requests", Wrong, at, fmt.Sprintf("There are %d requests. %s", len(steps), strings.Join(said, " ")), "Take one at a time.")
}
