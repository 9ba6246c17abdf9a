package elm

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	"readback/diag/adapter"
)

// quality is what the adapter has shown in use. It is written by the goroutine that owns the wire and read by anybody.
type quality struct {
	mu       sync.Mutex
	speed    int  // of the line, bit/s
	whole    int  // answers of several frames that arrived whole
	longest  int  // bytes of the longest of them
	lost     int  // answers of which bytes were missing
	lossy    int  // the speed of the line, bit/s, at which some were; 0: none
	full     int  // answers that ended with BUFFER FULL
	tooLong  int  // bytes of the longest of these
	unasked  int  // long answers that ended after their first frame: nobody allowed the module to go on
	notExact bool // it accepted CAF0 and refused a whole data field all the same
	hung     []string
}

func (q *quality) note(change func(q *quality)) {
	q.mu.Lock()
	defer q.mu.Unlock()
	change(q)
}

// hangs notes a setting after which the adapter showed no prompt, once. It is called within note.
func (q *quality) hangs(line string) {
	if text := "AT " + strings.TrimPrefix(line, "AT"); !slices.Contains(q.hung, text) {
		q.hung = append(q.hung, text)
	}
}

// graded puts what is known of the adapter by now into what was known when it was opened.
func (q *quality) graded(a adapter.Abilities, s skills, p protocol) adapter.Abilities {
	q.mu.Lock()
	defer q.mu.Unlock()
	a.LineSpeed = q.speed
	a.Exact = a.Exact && !q.notExact
	s.exact = a.Exact
	g := &a.Grade
	g.Can, g.Cannot = s.can(p), slices.Concat(s.cannot(p), q.cannot())
	if q.whole > 0 {
		g.Can = append(g.Can, "Answers of several frames arrive whole.")
	}
	a.ReadOnly = q.readOnly(s, p)
	switch {
	case q.tooLong > q.longest, q.unasked > 0 && q.whole == 0:
		g.Word = adapter.GradeShort
	case a.ReadOnly != "":
		g.Word = adapter.GradeReads
	case len(g.Cannot) > 0:
		g.Word = adapter.GradeMost
	default:
		g.Word = adapter.GradeAll
	}
	a.Limits = append(slices.Clone(g.Cannot), "It sends one request at a time.")
	return a
}

// readOnly is why nothing may be changed with this adapter.
func (q *quality) readOnly(s skills, p protocol) string {
	switch {
	case q.lost > 0:
		return fmt.Sprintf("The adapter has lost bytes of what the car said (%s so far). The answer to a change could be lost too.", times(q.lost))
	case q.full > 0:
		return "The adapter has run out of room in the middle of an answer. The reading after a change could be incomplete."
	case q.unasked > 0 && q.whole == 0:
		return "Long answers end after their first part with this adapter. The reading after a change would be incomplete."
	case p.header != nil:
		return "On this car's line the adapter puts the header and the checksum around a request by itself, so it can't send a change exactly as shown."
	case !s.exact:
		return "The adapter can't send a request exactly as shown."
	}
	return ""
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// cannot are the faults that showed in use.
func (q *quality) cannot() []string {
	var out []string
	if q.lost > 0 {
		out = append(out, "It loses bytes of what the car says.")
	}
	if q.lossy > 0 {
		out = append(out, fmt.Sprintf("It loses bytes at %d bit/s; its line runs at %d bit/s now.", q.lossy, q.speed))
	}
	switch {
	case q.tooLong > q.longest:
		out = append(out, "It has no room for long answers on this line.")
	case q.full > 0:
		out = append(out, "It has run out of room in the middle of an answer.")
	}
	if q.unasked > 0 && q.whole == 0 {
		out = append(out, "It does not let a module go on with a long answer: no flow control was sent.")
	} else if q.unasked > 0 {
		out = append(out, "It does not let every module go on with a long answer.")
	}
	for _, line := range q.hung {
		out = append(out, fmt.Sprintf("It hangs on %s, which is not used any more.", line))
	}
	return out
}

// can says in sentences what the adapter has accepted.
func (s skills) can(p protocol) []string {
	var out []string
	say := func(has bool, text string) {
		if has {
			out = append(out, text)
		}
	}
	if p.header == nil {
		say(s.narrow, "It asks any module with an 11-bit identifier.")
		say(s.wide, "It asks any module with a 29-bit identifier.")
		say(s.exact, "It sends a frame exactly as shown.")
		say(s.flow, "It lets any module send a long answer.")
		say(s.receive || s.masks, "It shows only the answers of the module that was asked.")
		say(s.silent, "It can listen without taking part.")
	}
	say(s.supply, "It measures the 12 V supply.")
	say(s.faster, "Its line speed can be raised.")
	return out
}

// cannot says in sentences what is missing.
func (s skills) cannot(p protocol) []string {
	var out []string
	say := func(missing bool, text string) {
		if missing {
			out = append(out, text)
		}
	}
	if p.header != nil {
		say(true, "The car speaks an older line than CAN: the adapter puts the header and the checksum around a request by itself.")
		say(p.header.keeps, "The adapter keeps this line awake by itself, with a harmless message every 3 s.")
		say(p.header.one == 0, "Requests on this line go to all modules at once; there is none to one module alone.")
		say(!s.supply, "It can't measure the 12 V supply.")
		return out
	}
	say(!s.narrow, "It does not let us choose which module with an 11-bit identifier is asked.")
	say(!s.exact, "It can't send a frame exactly as shown: it puts the length byte and the filling in by itself.")
	say(!s.exact || !s.quiet, "It can't send requests longer than 7 bytes.")
	say(!s.flow, "Long answers arrive from the standard's identifiers only: it does not let us set flow control.")
	say(!s.receive && !s.masks, "It shows the answers of the standard's identifiers only: it does not let us set a filter.")
	say(!s.wide, "It can't address modules with 29-bit identifiers.")
	say(!s.wait, "It does not let us set how long it waits: slow modules may seem silent.")
	say(!s.supply, "It can't measure the 12 V supply.")
	return out
}
