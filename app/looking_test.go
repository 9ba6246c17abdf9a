package app

import (
	"testing"
	"time"

	"readback/diag"
)

// TestTimeLeft: how long a stage still takes is told once there is something to tell it from, rounded up to five seconds.
func TestTimeLeft(t *testing.T) {
	l := &looking{}
	l.take(diag.Progress{Stage: diag.StageListen}, begin)
	l.take(diag.Progress{Stage: "search", Total: 500}, begin.Add(time.Minute))
	for _, c := range []struct{ done, after, want int }{
		{0, 30, 0}, {24, 30, 0}, // too little was done
		{100, 4, 0}, // too little time has passed
		{100, 15, 60}, {250, 61, 65}, {499, 300, 5}, {500, 300, 0},
	} {
		l.take(diag.Progress{Stage: "search", Total: 500, Done: c.done}, begin.Add(time.Minute))
		if got := l.left(begin.Add(time.Minute + time.Duration(c.after)*time.Second)); got != c.want {
			t.Errorf("%d of 500 after %d s: %d s, want %d", c.done, c.after, got, c.want)
		}
	}
}
