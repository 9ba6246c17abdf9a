package linktest

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"readback/diag/link"
)

// Step is one line of a script: a request that must be sent next, and what comes back.
type Step struct {
	To      link.Address // where the request must go; the zero Address stands for any
	Request []byte       // its payload; nil for answers that nobody asked for, which come after those of the step before
	Exact   []byte       // with Request: the data field that must be sent; nil when it doesn't matter
	Refuse  error        // Send returns it, and there are no answers
	Answers []Answer
}

// Answer is one thing that Receive returns.
type Answer struct {
	From  link.Address  // the sender; the zero Address stands for the one asked
	Data  []byte        // its payload
	Err   error         // returned instead of a message
	After time.Duration // how long after what came before it: the answer or the request
}

// Script is a [link.Link] that plays a script. The test fails when something else is sent than the script says,
// when a request is sent more than once, and when the test ends with steps left over or answers not received.
type Script struct {
	t testing.TB

	mu      sync.Mutex
	steps   []Step
	total   int
	answers []coming
	moved   chan struct{} // closed and replaced whenever answers were added
	closed  chan struct{}
	shut    func()
}

type coming struct {
	event
	due time.Time
}

// Play makes a Script of steps.
func Play(t testing.TB, steps ...Step) *Script {
	t.Helper()
	s := &Script{t: t, steps: slices.Clone(steps), total: len(steps), moved: make(chan struct{}), closed: make(chan struct{})}
	s.shut = sync.OnceFunc(func() { close(s.closed) })
	s.unasked(link.Address{})
	t.Cleanup(func() {
		steps, answers := s.Left()
		if steps > 0 {
			t.Errorf("linktest: %d of %d steps are left over; the next is % X to %s", steps, s.total, s.steps[0].Request, s.steps[0].To)
		}
		if answers > 0 {
			t.Errorf("linktest: %d answers were not received", answers)
		}
	})
	return s
}

// Left is how many requests have not been sent, and how many answers not received.
func (s *Script) Left() (steps, answers int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.steps), len(s.answers)
}

// Send takes m if the script wants it now; else the test fails.
func (s *Script) Send(ctx context.Context, m link.Message) error {
	if err := ready(ctx, s.closed); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.steps) == 0 {
		s.t.Errorf("linktest: % X was sent to %s after the end of the script", m.Data, m.Address)
		return fmt.Errorf("linktest: % X to %s is not in the script", m.Data, m.Address)
	}
	step := s.steps[0]
	if !bytes.Equal(m.Data, step.Request) || step.To != (link.Address{}) && step.To != m.Address || step.Exact != nil && !bytes.Equal(step.Exact, m.Exact) {
		s.t.Errorf("linktest: step %d: % X (exactly % X) was sent to %s, want % X (exactly % X) to %s",
			s.total-len(s.steps)+1, m.Data, m.Exact, m.Address, step.Request, step.Exact, step.To)
		return fmt.Errorf("linktest: % X to %s is not in the script", m.Data, m.Address)
	}
	s.steps = s.steps[1:]
	if step.Refuse != nil {
		return step.Refuse
	}
	s.add(step.Answers, m.Address)
	s.unasked(m.Address)
	close(s.moved)
	s.moved = make(chan struct{})
	return nil
}

// unasked takes the steps that come by themselves.
func (s *Script) unasked(asked link.Address) {
	for len(s.steps) > 0 && s.steps[0].Request == nil {
		s.add(s.steps[0].Answers, asked)
		s.steps = s.steps[1:]
	}
}

func (s *Script) add(answers []Answer, asked link.Address) {
	due := time.Now()
	if n := len(s.answers); n > 0 && s.answers[n-1].due.After(due) {
		due = s.answers[n-1].due
	}
	for _, a := range answers {
		due = due.Add(a.After)
		if a.From == (link.Address{}) {
			a.From = asked
		}
		s.answers = append(s.answers, coming{due: due, event: event{err: a.Err, m: link.Message{Address: a.From, Data: slices.Clone(a.Data), At: due}}})
	}
}

// Receive returns the next answer when its time has come.
func (s *Script) Receive(ctx context.Context) (link.Message, error) {
	for {
		if err := ready(ctx, s.closed); err != nil {
			return link.Message{}, err
		}
		e, wait, moved := s.take()
		if moved == nil {
			if e.err != nil {
				return link.Message{}, e.err
			}
			return e.m, nil
		}
		var due <-chan time.Time
		if wait > 0 {
			due = time.After(wait)
		}
		select {
		case <-s.closed:
		case <-ctx.Done():
		case <-moved:
		case <-due:
		}
	}
}

// take returns what comes now; else how long to wait (0: until something is sent) and what tells of more answers.
func (s *Script) take() (e event, wait time.Duration, moved <-chan struct{}) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.answers) == 0 {
		return event{}, 0, s.moved
	}
	if wait = time.Until(s.answers[0].due); wait > 0 {
		return event{}, wait, s.moved
	}
	e = s.answers[0].event
	s.answers = s.answers[1:]
	return e, 0, nil
}

// Close ends the play. What is left over fails the test at its end.
func (s *Script) Close() error {
	s.shut()
	return nil
}
