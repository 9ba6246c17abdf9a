package explain

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
)

// inPieces puts the pieces of an answer into one line.
func inPieces(s *service, answer []byte, older bool) string {
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
		return fmt.Sprintf("answered (% X)", answer[:min(len(answer), 16)])
	}
	return strings.Join(told, "; ")
}

// An answer in a line, which makes no pieces, tells what the pieces of its explanation tell.
func TestLineTellsThePieces(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	check := func(p []byte) {
		for _, older := range []bool{false, true} {
			s := answeredService(p[0], older)
			if s == nil {
				continue
			}
			if got, want := string(appendAnswer([]byte("x. "), s, p)), "x. "+inPieces(s, p, older); got != want {
				t.Fatalf("% X, older %v:\n%q, want\n%q", p, older, got, want)
			}
		}
	}
	for first := range 256 {
		b := byte(first)
		if !isAnswer(b) || b == 0x7F {
			continue
		}
		for n := range 60 {
			p := make([]byte, 1+n)
			check(append(p[:0], append([]byte{b}, p[1:]...)...)) // zeros
			for range 12 {
				for i := range p {
					p[i] = byte(r.Uint32())
				}
				p[0] = b
				check(p)
				if n > 2 { // a sub-function and an identifier that exist
					p[1], p[2] = byte(r.IntN(0x20)), 0x80+byte(r.IntN(0x20))
					check(p)
					p[1] = []byte{0xF1, 0xF4, 0xF6, 0xF8, 0xFA}[r.IntN(5)]
					check(p)
					for i := 3; i < len(p); i++ {
						p[i] = 'A' + p[i]%26
					}
					check(p)
				}
			}
		}
	}
	for _, p := range payloads(t) {
		if len(p) > 0 && isAnswer(p[0]) && p[0] != 0x7F {
			check(p)
		}
	}
}

// A line about an answer takes the memory of its words and little more: recordings have hundreds of thousands of them.
func TestLinesTakeLittle(t *testing.T) {
	a, p := van().Modules[0].Address, []byte{0x62, 0xF1, 0x80, 1, 2}
	if got := testing.AllocsPerRun(100, func() { MessageSummary(a, p, Options{}) }); got > 8 {
		t.Errorf("%v allocations", got)
	}
}
