package elm

import (
	"testing"
	"time"

	"readback/diag/link"
)

// Worked out by hand: characters times 10 bits, and the waits. A command is its text, a carriage return, and "OK", two
// carriage returns and the prompt (data sheet p. 10).
func TestLineLimit(t *testing.T) {
	const (
		ms    = time.Millisecond
		speed = 10000 // 1 ms a character
	)
	silent := func(a link.Address) Exchange { return Exchange{Address: a, Length: 2, Wait: 150 * ms} }
	narrow, other := at(0x745, 0x74D), at(0x746, 0x74E)
	wide := link.Physical(link.ID29(0x18DA10F1), link.ID29(0x18DAF110))
	for _, c := range []struct {
		name string
		x    []Exchange
		want time.Duration
	}{
		{"nothing", nil, 0},
		// ATSH745 and OK: 8 + 5; request 17; NO DATA 10; the wait is 150 - 32 ms
		{"silence", []Exchange{silent(narrow)}, (13 + 17 + 10 + 118) * ms},
		{"the same again", []Exchange{silent(narrow), silent(narrow)}, (13 + 2*(17+10+118)) * ms},
		{"the next", []Exchange{silent(narrow), silent(other)}, 2 * (13 + 17 + 10 + 118) * ms},
		// ATSP7 6 + 5, ATCF and ATCM with eight digits 13 + 5 each, ATCP18 7 + 5, ATSHDA10F1 11 + 5
		{"the other width", []Exchange{silent(narrow), silent(wide)}, (2*(17+10+118) + 13 + 11 + 18 + 18 + 12 + 16) * ms},
		// the answer: three digits, 16, a carriage return; the prompt 2; the module's own time
		{"an answer", []Exchange{{Address: narrow, Length: 3, Wait: 150 * ms, Frames: 3, Took: 20 * ms}}, (13 + 17 + 20 + 2 + 20) * ms},
		{"answers of all", []Exchange{{Address: link.Functional11(), Length: 2, Wait: 150 * ms, Frames: 4, Took: 40 * ms}}, (13 + 17 + 20 + 2 + 40 + 118) * ms},
		{"an act", []Exchange{{Address: narrow, Length: 4, Wait: 150 * ms, Exact: true}}, (13+17+10)*ms + 1020*ms},
		// six bytes in the first frame, seven in the next
		{"a long request", []Exchange{{Address: narrow, Length: 14, Wait: 150 * ms}}, (13 + 3*17 + 10 + 118) * ms},
		{"seven bytes are one frame", []Exchange{{Address: narrow, Length: 7, Wait: 150 * ms}}, (13 + 17 + 10 + 118) * ms},
		{"thirteen are two", []Exchange{{Address: narrow, Length: 13, Wait: 150 * ms}}, (13 + 2*17 + 10 + 118) * ms},
		// ATSH686AF1 11 + 5, 0100 5, the last line 11, the prompt 2, then the adapter's 200 ms
		{"an older line", []Exchange{{Address: link.AllAtHeader(), Length: 2, Wait: 150 * ms, Frames: 2, Took: 90 * ms}}, (16 + 5 + 11 + 2 + 90 + 200) * ms},
		{"silence there", []Exchange{{Address: link.AllAtHeader(), Length: 2, Wait: 500 * ms}}, (16 + 5 + 10 + 468) * ms},
	} {
		if got := LineLimit(speed, c.x); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	if LineLimit(0, []Exchange{silent(narrow)}) != LineLimit(usualSpeed, []Exchange{silent(narrow)}) {
		t.Error("an unknown speed is not the usual one")
	}
}
