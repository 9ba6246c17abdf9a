package explain

import (
	"fmt"
	"strings"
)

// answerPieces splits the payload of an answer. more tells that it goes on in later frames.
func answerPieces(p []byte, more bool) (source string, pieces []piece) {
	open := "What these bytes mean is not known."
	if more {
		open = "The message goes on in the next pages."
	}
	if p[0] == 0x7F {
		return refusalPieces(p)
	}
	s := serviceOf(p[0] &^ 0x40)
	if s == nil || !isAnswer(p[0]) {
		return srcFrame, cover(p, []piece{{1, "What it says", fmt.Sprintf("No standard has an answer %02X.", p[0])}}, "Not understood", open)
	}
	said := fmt.Sprintf("Agreed: it answers %02X (%02X + 40). %s.", s.id, s.id, s.verb)
	if s.id == 0x14 || s.id == 0x04 {
		said = fmt.Sprintf("Agreed: it was asked to forget codes (%02X). That is no proof yet: read again.", s.id)
	}
	c := cursor{b: p[1:], out: []piece{{1, "What it says", said}}}
	c.body(s, more)
	pieces = c.out
	return s.source(), cover(p, pieces, "Not understood", open)
}

func refusalPieces(p []byte) (string, []piece) {
	source := "ISO 14229-1, annex A"
	pieces := []piece{{1, "What it says", "No, or not yet."}}
	if len(p) > 1 {
		text := fmt.Sprintf("To the request %02X.", p[1])
		if s := serviceOf(p[1]); s != nil {
			text = fmt.Sprintf("To the request %02X: %s.", p[1], strings.ToLower(s.verb[:1])+s.verb[1:])
		}
		pieces = append(pieces, piece{1, "To what", text})
	}
	if len(p) > 2 {
		pieces = append(pieces, piece{1, "Why", upperFirst(strings.TrimSpace(refusalText(p[2])))})
	}
	return source, cover(p, pieces, "Not understood", "What these bytes mean is not known.")
}

// cursor takes pieces off the front of b.
type cursor struct {
	b   []byte
	out []piece
}

// take makes the next n bytes one piece; nil when there are not that many.
func (c *cursor) take(n int, name string, text func([]byte) string) []byte {
	if n <= 0 || len(c.b) < n {
		return nil
	}
	x := c.b[:n]
	c.b = c.b[n:]
	c.out = append(c.out, piece{n, name, text(x)})
	return x
}

// each takes records of n bytes as long as there are whole ones.
func (c *cursor) each(n int, name string, text func([]byte) string) {
	for c.take(n, name, text) != nil {
	}
}

// body reads what follows the first byte; whatever is not understood is left over.
func (c *cursor) body(s *service, more bool) {
	var sub []byte
	if s.sub {
		sub = c.take(1, "How exactly", func(x []byte) string { return answeredTo(s, x[0]) })
	}
	switch s.id {
	case 0x10:
		c.take(2, "How fast", func(x []byte) string { return fmt.Sprintf("It answers within %d ms.", be16(x)) })
		c.take(2, "How slow", func(x []byte) string { return fmt.Sprintf("After \"wait\" it answers within %d ms.", int(be16(x))*10) })
	case 0x19:
		if sub != nil {
			c.codes(sub[0])
		}
	case 0x22, 0x24, 0x2E, 0x2F:
		if id := c.take(2, "Which value", did.text); id != nil {
			c.take(len(c.b), "The value", func(x []byte) string { return valueText(be16(id), x, more) })
		}
	case 0x31:
		c.take(2, "Which job", routine.text)
		c.take(len(c.b), "Result", raw.text)
	case 0x01, 0x02:
		c.parameters(s.id)
	case 0x03, 0x07, 0x0A:
		c.take(1, "How many", func(x []byte) string { return count(int(x[0]), "code.", "codes.") })
		c.each(2, "A code", oldCodeText)
	case 0x09:
		if n := c.take(1, "What about", func(x []byte) string { return infoText(x[0]) }); n != nil && n[0]&0x1F != 0 {
			c.take(1, "How many", func(x []byte) string { return fmt.Sprintf("%d of them.", x[0]) })
			c.take(len(c.b), "The value", func(x []byte) string { return plainText(x, more) })
		}
	case 0x18, 0x13:
		c.take(1, "How many", func(x []byte) string { return count(int(x[0]), "code.", "codes.") })
		n := 3
		if s.id == 0x13 {
			n = 2
		}
		c.each(n, "A code", oldCodeText)
	case 0x14:
		c.take(2, "Which ones", oldGroupText)
	case 0x1A, 0x21:
		c.take(1, "Which value", hexText)
		c.take(len(c.b), "The value", func(x []byte) string { return plainText(x, more) })
	}
}

func answeredTo(s *service, sub byte) string {
	for _, l := range layouts[s.id] {
		if l.sub == int(sub) {
			return "It was asked to " + l.verb + "."
		}
	}
	return fmt.Sprintf("Variant %02X.", sub)
}

// codes reads the answers of service 19, ISO 14229-1:2020 clause 12.3.
func (c *cursor) codes(sub byte) {
	avail := byte(0xFF)
	mask := func() {
		if x := c.take(1, "What it can tell", func(x []byte) string {
			return "It can tell whether a code is " + joinOr(bitNames(x[0])) + "."
		}); x != nil {
			avail = x[0]
		}
	}
	status := func(x []byte) string {
		return fmt.Sprintf("%s: %s (status %02X).", codeName(x[:3]), statusText(x[3], avail), x[3])
	}
	format := func() {
		c.take(1, "Which form", func(x []byte) string { return "Form of the codes: " + formatText(x[0]) + "." })
	}
	number := func(name string) { c.take(1, name, hexText) }
	rest := func() { c.take(len(c.b), "Kept values", func(x []byte) string { return "Bytes " + hexOf(x) + "." }) }
	switch sub {
	case 0x01, 0x07, 0x11, 0x12:
		mask()
		format()
		c.take(2, "How many", func(x []byte) string { return count(int(be16(x)), "code.", "codes.") })
	case 0x02, 0x0A, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x13, 0x15:
		mask()
		c.each(4, "A code", status)
	case 0x17:
		number("Which memory")
		mask()
		c.each(4, "A code", status)
	case 0x1A:
		mask()
		number("Which record")
		c.each(4, "A code", status)
	case 0x08, 0x09:
		mask()
		c.each(6, "A code", func(x []byte) string { return status(x[2:]) + fmt.Sprintf(" Severity byte %02X.", x[0]) })
	case 0x03:
		c.each(4, "A snapshot", func(x []byte) string { return fmt.Sprintf("%s has record %02X.", codeName(x[:3]), x[3]) })
	case 0x14:
		c.each(4, "A code", func(x []byte) string { return fmt.Sprintf("%s: counter at %d of 127.", codeName(x[:3]), int8(x[3])) })
	case 0x05, 0x16:
		number("Which record")
		c.take(4, "A code", status)
		rest()
	case 0x04, 0x06, 0x10:
		c.take(4, "A code", status)
		if len(c.b) > 0 {
			number("Which record")
		}
		rest()
	case 0x18, 0x19:
		number("Which memory")
		c.take(4, "A code", status)
		rest()
	case 0x42:
		number("Which area")
		mask()
		number("Which severities")
		format()
		c.each(5, "A code", func(x []byte) string { return status(x[1:]) + fmt.Sprintf(" Severity byte %02X.", x[0]) })
	case 0x55, 0x56:
		number("Which area")
		mask()
		format()
		if sub == 0x56 {
			number("Which group")
		}
		c.each(4, "A code", status)
	}
}

// formatText: DTCFormatIdentifier, ISO 14229-1 clause 12.3.
func formatText(b byte) string {
	names := [...]string{"SAE J2012-DA, form 00", "ISO 14229-1", "SAE J1939-73", "ISO 11992-4", "SAE J2012-DA, form 04"}
	if int(b) < len(names) {
		return names[b]
	}
	return fmt.Sprintf("number %02X", b)
}

// statusText names the bits of a status that the module keeps; avail is its availability mask.
func statusText(b, avail byte) string {
	if names := bitNames(b & avail); len(names) > 0 {
		return join(names, "and")
	}
	return "nothing noted"
}

func oldCodeText(b []byte) string {
	switch {
	case be16(b) == 0:
		return "Empty place."
	case len(b) > 2:
		return fmt.Sprintf("%s (status %02X).", codeName(b[:2]), b[2])
	}
	return codeName(b) + "."
}

// parameters reads the values of services 01 and 02 as long as their lengths are known.
func (c *cursor) parameters(id byte) {
	for len(c.b) > 0 {
		n := c.take(1, "Which value", func(x []byte) string { return pidText(x[0]) })
		if id == 0x02 {
			c.take(1, "Which frame", func(x []byte) string { return fmt.Sprintf("Kept in frame %d.", x[0]) })
		}
		p, ok := pids[n[0]]
		if !ok {
			c.take(len(c.b), "The value", hexText)
			return
		}
		if c.take(p.n, "The value", func(x []byte) string {
			if p.text == nil {
				return hexText(x)
			}
			return upperFirst(p.text(x)) + "."
		}) == nil {
			return
		}
	}
}

// valueText shows the value of an identifier of service 22.
func valueText(id uint16, b []byte, more bool) string {
	if id>>8 == 0xF4 {
		if p := pids[byte(id)]; p.text != nil && len(b) == p.n {
			return upperFirst(p.text(b)) + "."
		}
	}
	if _, plate := plates[id]; plate {
		return plainText(b, more)
	}
	return hexText(b)
}

// plainText shows printable bytes as text, everything else as bytes. Filling at the end is left out.
func plainText(b []byte, more bool) string {
	t := strings.TrimRight(string(b), "\x00 ")
	if t == "" {
		return hexText(b)
	}
	for _, r := range []byte(t) {
		if r < 0x20 || r > 0x7E {
			return hexText(b)
		}
	}
	if more {
		return fmt.Sprintf("%q, and more in the next pages.", t)
	}
	return fmt.Sprintf("%q.", t)
}

// ExplainAnswer is one sentence about a message that came back. request may be nil when it is not known.
func ExplainAnswer(request, answer []byte) string {
	switch {
	case len(answer) == 0:
		return "empty message"
	case answer[0] == 0x7F && len(answer) < 3:
		return fmt.Sprintf("a refusal cut short (%s)", hexOf(answer))
	case answer[0] == 0x7F && len(request) > 0 && answer[1] != request[0]:
		return fmt.Sprintf("about another request (%02X): %s", answer[1], refusalText(answer[2]))
	case answer[0] == 0x7F:
		return refusalText(answer[2])
	case !isAnswer(answer[0]):
		return fmt.Sprintf("not an answer: it begins with %02X", answer[0])
	case len(request) > 0 && answer[0] != request[0]|0x40:
		return fmt.Sprintf("the answer to another request (%02X)", answer[0]&^0x40)
	}
	s := serviceOf(answer[0] &^ 0x40)
	if s == nil {
		return fmt.Sprintf("agreed, in a form that no standard has (%s)", hexOf(answer))
	}
	switch s.id {
	case 0x14, 0x04:
		return "done, codes are forgotten. This is no proof: read again"
	case 0x3E:
		return "here, and listening"
	case 0x20:
		return "done, back to normal"
	case 0x10:
		if len(answer) > 1 && answer[1] == 0x01 {
			return "done, back to normal"
		}
		if len(answer) > 1 && answer[1] == 0x03 {
			return "done, the workshop mode is open for a few seconds"
		}
		return "done, the mode has changed"
	case 0x28:
		return "done, the module's messages are set as asked"
	case 0x85:
		return "done, the storing of codes is set as asked"
	}
	return answerSummary(s, answer)
}

// answerSummary puts the pieces of a reading into one line.
func answerSummary(s *service, answer []byte) string {
	_, pieces := answerPieces(answer, false)
	var told []string
	codes := 0
	for _, p := range pieces[1:] {
		switch p.name {
		case "A code":
			codes++
			if p.text != "Empty place." && codes <= 8 {
				told = append(told, strings.TrimSuffix(p.text, "."))
			}
		case "The value", "How many":
			told = append(told, strings.TrimSuffix(p.text, "."))
		case "Which value", "What about":
			told = append(told, strings.TrimSuffix(p.text, "."))
		}
	}
	if codes > 8 {
		told = append(told, fmt.Sprintf("and %d more", codes-8))
	}
	if s.id == 0x19 && codes == 0 && len(answer) > 1 && answer[1] == 0x02 {
		told = append(told, "no codes of this kind")
	}
	if len(told) == 0 {
		return fmt.Sprintf("answered (%s)", hexOf(answer[:min(len(answer), 16)]))
	}
	return strings.Join(told, "; ")
}
