package bustest

import (
	"context"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
)

// Entry is one thing that went by a [Recorder].
type Entry struct {
	Direction bus.Direction
	Frame     can.Frame
	At        time.Time
	Fault     bus.Fault // of a report of the controller, whose Frame is not valid
}

// Recorder is a [bus.Bus] that forwards to another and keeps what went by: frames that the other one took, and all
// that it delivered.
type Recorder struct {
	inner bus.Bus

	mu      sync.Mutex
	entries []*entry
}

type entry struct {
	Entry
	refused bool
}

// Record wraps b.
func Record(b bus.Bus) *Recorder { return &Recorder{inner: b} }

// Send forwards f. A frame is on record before anybody can answer it; one that the other Bus did not take is taken
// off again.
func (r *Recorder) Send(ctx context.Context, f can.Frame) error {
	e := &entry{Entry: Entry{Direction: bus.Out, Frame: f, At: time.Now()}}
	r.add(e)
	err := r.inner.Send(ctx, f)
	if err != nil {
		r.mu.Lock()
		e.refused = true
		r.mu.Unlock()
	}
	return err
}

func (r *Recorder) Receive(ctx context.Context) (bus.Received, error) {
	got, err := r.inner.Receive(ctx)
	if err == nil {
		r.add(&entry{Entry: Entry{Direction: bus.In, Frame: got.Frame, At: got.At, Fault: got.Fault}})
	}
	return got, err
}

func (r *Recorder) Close() error { return r.inner.Close() }

func (r *Recorder) add(e *entry) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.entries = append(r.entries, e)
}

// Entries is what has gone by so far, in order. The caller owns it.
func (r *Recorder) Entries() []Entry {
	r.mu.Lock()
	defer r.mu.Unlock()
	out := make([]Entry, 0, len(r.entries))
	for _, e := range r.entries {
		if !e.refused {
			out = append(out, e.Entry)
		}
	}
	return out
}
