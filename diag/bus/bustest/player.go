package bustest

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
)

// Step is one line of a script: a frame that must be sent, or one that comes. Frames are written as identifier (3 hex
// digits for 11 bits, 8 for 29 bits), #, and data in hex digits: 7E0#023E00.
type Step struct {
	Out   string        // must be sent next
	In    string        // comes next
	Fault bus.Fault     // is reported next, when neither Out nor In is set
	After time.Duration // how long In or Fault comes after the step before it
}

// Player is a [bus.Bus] that plays a script. The test fails when something else is sent than the script says, and
// when the test ends with steps left over. Receive waits while the script wants to be sent something.
type Player struct {
	t     testing.TB
	steps []step

	mu     sync.Mutex
	next   int
	since  time.Time     // when the step before next was done
	moved  chan struct{} // closed and replaced whenever next moves on
	closed chan struct{}
	shut   func()
}

type step struct {
	Step
	frame can.Frame
}

// Play makes a Player of steps, which begins at once.
func Play(t testing.TB, steps ...Step) *Player {
	t.Helper()
	p := &Player{t: t, since: time.Now(), moved: make(chan struct{}), closed: make(chan struct{})}
	p.shut = sync.OnceFunc(func() { close(p.closed) })
	for _, s := range steps {
		p.steps = append(p.steps, step{Step: s, frame: frameOf(t, s)})
	}
	t.Cleanup(func() {
		if left := p.Left(); left > 0 {
			t.Errorf("bustest: %d of %d steps are left over; the next is %s", left, len(p.steps), p.steps[len(p.steps)-left])
		}
	})
	return p
}

func frameOf(t testing.TB, s Step) (f can.Frame) {
	t.Helper()
	text := s.Out + s.In
	if s.Out != "" && s.In != "" || text == "" && s.Fault == 0 {
		t.Fatalf("bustest: a step is one of Out, In and Fault: %+v", s)
	}
	if text == "" {
		return f
	}
	if err := f.UnmarshalString(text); err != nil {
		t.Fatalf("bustest: frame %q: %v", text, err)
	}
	if err := f.Validate(); err != nil {
		t.Fatalf("bustest: frame %q: %v", text, err)
	}
	return f
}

func (s step) String() string {
	switch {
	case s.Out != "":
		return "to be sent: " + s.Out
	case s.In != "":
		return "coming: " + s.In
	}
	return fmt.Sprintf("fault %b", s.Fault)
}

// Left is how many steps have not been played.
func (p *Player) Left() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.steps) - p.next
}

// Send takes f if the script wants it now; else the test fails.
func (p *Player) Send(ctx context.Context, f can.Frame) error {
	if err := f.Validate(); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case <-p.closed:
		return bus.ErrClosed
	default:
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.next == len(p.steps) {
		p.t.Errorf("bustest: %v was sent after the end of the script", f)
		return fmt.Errorf("bustest: %v is not in the script", f)
	}
	if s := p.steps[p.next]; s.Out == "" || s.frame != f {
		p.t.Errorf("bustest: step %d: %v was sent; %s", p.next+1, f, s)
		return fmt.Errorf("bustest: %v is not in the script", f)
	}
	p.advance()
	return nil
}

// advance is called with mu held.
func (p *Player) advance() {
	p.next++
	p.since = time.Now()
	close(p.moved)
	p.moved = make(chan struct{})
}

// Receive returns the next frame or fault of the script when its time has come.
func (p *Player) Receive(ctx context.Context) (bus.Received, error) {
	for {
		r, wait, moved := p.take()
		if moved == nil {
			return r, nil
		}
		var due <-chan time.Time
		if wait > 0 {
			due = time.After(wait)
		}
		select {
		case <-p.closed:
			return bus.Received{}, bus.ErrClosed
		case <-ctx.Done():
			return bus.Received{}, ctx.Err()
		case <-moved:
		case <-due:
		}
	}
}

// take returns what comes now; else how long to wait (0: until something is sent) and what tells of movement.
func (p *Player) take() (r bus.Received, wait time.Duration, moved <-chan struct{}) {
	p.mu.Lock()
	defer p.mu.Unlock()
	select {
	case <-p.closed:
		return r, 0, p.moved
	default:
	}
	if p.next == len(p.steps) || p.steps[p.next].Out != "" {
		return r, 0, p.moved
	}
	s := p.steps[p.next]
	if wait = time.Until(p.since.Add(s.After)); wait > 0 {
		return r, wait, p.moved
	}
	p.advance()
	return bus.Received{Frame: s.frame, At: p.since, Fault: s.Fault}, 0, nil
}

// Close ends the play. Steps left over fail the test at its end.
func (p *Player) Close() error {
	p.shut()
	return nil
}
