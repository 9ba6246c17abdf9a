package explain

import (
	"fmt"
	"strings"
)

// ExplainAnswer is one sentence about a message that came back. request may be nil when it is not known.
func ExplainAnswer(request, answer []byte) string { return said(request, answer, false) }

func said(request, answer []byte, older bool) string {
	switch {
	case len(answer) == 0:
		return "empty message"
	case answer[0] == 0x7F && len(answer) < 3:
		return fmt.Sprintf("a refusal cut short (%s)", hexOf(answer))
	case answer[0] == 0x7F && len(request) > 0 && answer[1] != request[0]:
		return fmt.Sprintf("about another request (%02X): %s", answer[1], refusalText(answer[1], answer[2], older))
	case answer[0] == 0x7F:
		return refusalText(answer[1], answer[2], older)
	case !isAnswer(answer[0]):
		return fmt.Sprintf("not an answer: it begins with %02X", answer[0])
	case len(request) > 0 && answer[0] != request[0]|0x40:
		return fmt.Sprintf("the answer to another request (%02X)", answer[0]&^0x40)
	}
	s := answeredService(answer[0], older)
	if s == nil {
		return fmt.Sprintf("agreed, in a form that no standard has (%s)", hexOf(answer))
	}
	if t := doneText(s, answer); t != "" {
		return t
	}
	return answerSummary(s, answer, older)
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

// answerSummary puts the pieces of a reading into one line.
func answerSummary(s *service, answer []byte, older bool) string {
	_, pieces := answerPieces(answer, older, false)
	var told []string
	codes := 0
	for _, p := range pieces[1:] {
		switch p.name {
		case "A code":
			codes++
			if p.text != "Empty place." && codes <= 8 {
				first, _, _ := strings.Cut(p.text, ". ")
				told = append(told, strings.TrimSuffix(first, "."))
			}
		case "The value", "How many", "Which value", "What about", "Which job", "Result":
			told = append(told, strings.TrimSuffix(p.text, "."))
		}
	}
	if codes > 8 {
		told = append(told, fmt.Sprintf("and %d more", codes-8))
	}
	if s.id == 0x19 && codes == 0 && len(answer) > 1 && answer[1]&0x7F == 0x02 {
		told = append(told, "no codes of this kind")
	}
	if len(told) == 0 {
		return fmt.Sprintf("answered (%s)", hexOf(answer[:min(len(answer), 16)]))
	}
	return strings.Join(told, "; ")
}
