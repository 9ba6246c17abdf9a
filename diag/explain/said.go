package explain

import (
	"fmt"
	"strings"
)

// ExplainAnswer is one sentence about a message that came back. request may be nil when it is not known.
func ExplainAnswer(request, answer []byte) string { return said(request, answer, false) }

func said(request, answer []byte, older bool) string {
	var room [96]byte
	return string(appendSaid(room[:0], request, answer, older))
}

// appendSaid appends what an answer says. older tells that the module speaks ISO 14230-3.
func appendSaid(b, request, answer []byte, older bool) []byte {
	switch {
	case len(answer) == 0:
		return append(b, "empty message"...)
	case answer[0] == 0x7F && len(answer) < 3:
		return fmt.Appendf(b, "a refusal cut short (%s)", hexOf(answer))
	case answer[0] == 0x7F && len(request) > 0 && answer[1] != request[0]:
		return fmt.Appendf(b, "about another request (%02X): %s", answer[1], refusalText(answer[1], answer[2], older))
	case answer[0] == 0x7F:
		return append(b, refusalText(answer[1], answer[2], older)...)
	case !isAnswer(answer[0]):
		return fmt.Appendf(b, "not an answer: it begins with %02X", answer[0])
	case len(request) > 0 && answer[0] != request[0]|0x40:
		return fmt.Appendf(b, "the answer to another request (%02X)", answer[0]&^0x40)
	}
	s := answeredService(answer[0], older)
	if s == nil {
		return fmt.Appendf(b, "agreed, in a form that no standard has (%s)", hexOf(answer))
	}
	if t := doneText(s, answer); t != "" {
		return append(b, t...)
	}
	return appendAnswer(b, s, answer)
}

// doneText says what has been done, for answers that tell no more than that; "" for others.
func doneText(s *service, answer []byte) string {
	mode := byte(0)
	if len(answer) > 1 {
		mode = answer[1]
	}
	switch s.id {
	case 0x14, 0x04:
		return "done, codes are forgotten. This is no proof: read again"
	case 0x3E:
		return "here, and listening"
	case 0x20:
		return "done, back to normal"
	case 0x10:
		switch {
		case mode == 0x01 || s.family == ofKWP && mode == 0x81:
			return "done, back to normal"
		case mode == 0x03 || s.family == ofKWP && mode == 0x92:
			return "done, the workshop mode is open for a few seconds"
		}
		return "done, the mode has changed"
	case 0x11:
		return "done, the module restarts"
	case 0x28, 0x29:
		if s.id == 0x28 || s.family == ofKWP {
			return "done, the module's messages are set as asked"
		}
	case 0x85:
		return "done, the storing of codes is set as asked"
	case 0x2E, 0x3B, 0x3D:
		return "done, it has written what it was given"
	}
	return ""
}

// line is an answer in a line: the pieces of it that tell something.
type line struct {
	text  []byte
	told  int // how many pieces
	codes int
}

const toldCodes = 8 // as many codes have a place in a line

func (l *line) tell(name string, b []byte, text func([]byte) string) {
	switch name {
	case "A code":
		if l.codes++; l.codes > toldCodes {
			return
		}
		if t := text(b); t != "Empty place." {
			first, _, _ := strings.Cut(t, ". ")
			l.say(first)
		}
	case "The value", "How many", "Which value", "What about", "Which job", "Result":
		l.say(text(b))
	}
}

func (l *line) say(t string) {
	if l.told++; l.told > 1 {
		l.text = append(l.text, "; "...)
	}
	l.text = append(l.text, strings.TrimSuffix(t, ".")...)
}

// appendAnswer appends an answer of a service in a line.
func appendAnswer(b []byte, s *service, answer []byte) []byte {
	l := line{text: b}
	c := cursor{b: answer[1:], line: &l}
	c.answer(s)
	if l.codes > toldCodes {
		l.say(fmt.Sprintf("and %d more", l.codes-toldCodes))
	}
	if s.id == 0x19 && l.codes == 0 && len(answer) > 1 && answer[1]&0x7F == 0x02 {
		l.say("no codes of this kind")
	}
	if l.told == 0 {
		return append(appendHex(append(b, "answered ("...), answer[:min(len(answer), 16)]), ')')
	}
	return l.text
}
