package linktest_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/link"
	"readback/diag/link/linktest"
)

func memory(testing.TB) (link.Link, linktest.Peer) { return linktest.Memory() }

func TestMemoryConforms(t *testing.T) { linktest.Conform(t, memory) }

func TestMemoryConformsInBubble(t *testing.T) { linktest.ConformInBubble(t, memory) }

// notes is a testing.TB that keeps what it is told instead of failing the test.
type notes struct {
	testing.TB
	errors   []string
	cleanups []func()
}

func (n *notes) Helper()                   {}
func (n *notes) Cleanup(f func())          { n.cleanups = append(n.cleanups, f) }
func (n *notes) Errorf(f string, a ...any) { n.errors = append(n.errors, fmt.Sprintf(f, a...)) }
func (n *notes) end() string {
	for _, f := range n.cleanups {
		f()
	}
	return strings.Join(n.errors, "\n")
}

var (
	van   = link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
	door  = link.Physical(link.ID11(0x745), link.ID11(0x765))
	ask   = []byte{0x3E, 0x00}
	reply = []byte{0x7E, 0x00}
)

func TestScriptPlays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		torn := &link.TornError{Address: van, Cause: errors.New("torn")}
		s := linktest.Play(t,
			linktest.Step{Answers: []linktest.Answer{{From: door, Data: []byte{0x01}}}},
			linktest.Step{To: van, Request: ask, Answers: []linktest.Answer{{Data: reply, After: 30 * time.Millisecond}, {Err: torn, After: time.Second}}},
			linktest.Step{Answers: []linktest.Answer{{From: door, Data: []byte{0x02}}}},
			linktest.Step{Request: ask, Refuse: link.ErrNotExact})
		start := time.Now()
		got := func(want byte, from link.Address, after time.Duration) {
			t.Helper()
			m, err := s.Receive(t.Context())
			if err != nil || m.Data[0] != want || m.Address != from || m.At.Sub(start) != after {
				t.Fatalf("got %+v after %v, %v", m, m.At.Sub(start), err)
			}
		}
		got(0x01, door, 0)
		if err := s.Send(t.Context(), link.Message{Address: van, Data: ask}); err != nil {
			t.Fatal(err)
		}
		got(0x7E, van, 30*time.Millisecond)
		if _, err := s.Receive(t.Context()); err != torn || time.Since(start) != 1030*time.Millisecond {
			t.Fatalf("got %v after %v", err, time.Since(start))
		}
		got(0x02, door, 1030*time.Millisecond)
		if err := s.Send(t.Context(), link.Message{Address: door, Data: ask}); !errors.Is(err, link.ErrNotExact) {
			t.Fatalf("got %v", err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Receive(t.Context()); !errors.Is(err, link.ErrClosed) {
			t.Fatalf("after Close: %v", err)
		}
	})
}

func TestScriptFails(t *testing.T) {
	send := func(s *linktest.Script, m link.Message) error { return s.Send(context.Background(), m) }
	step := linktest.Step{To: van, Request: ask, Answers: []linktest.Answer{{Data: reply}}}
	for _, c := range []struct {
		name  string
		steps []linktest.Step
		send  []link.Message
		want  string
	}{
		{"left over", []linktest.Step{step, step}, nil, "2 of 2 steps are left over; the next is 3E 00 to 7E5/7ED"},
		{"an answer left over", []linktest.Step{step}, []link.Message{{Address: van, Data: ask}}, "1 answers were not received"},
		{"another payload", []linktest.Step{step}, []link.Message{{Address: van, Data: []byte{0x3E, 0x80}}}, "step 1: 3E 80"},
		{"another address", []linktest.Step{step}, []link.Message{{Address: door, Data: ask}}, "was sent to 745/765"},
		{"not exactly", []linktest.Step{{Request: ask, Exact: []byte{2, 0x3E, 0}}}, []link.Message{{Address: van, Data: ask, Exact: []byte{2, 0x3E, 0, 0}}}, "exactly 02 3E 00 00"},
		{"twice", []linktest.Step{{Request: ask}}, []link.Message{{Address: van, Data: ask}, {Address: van, Data: ask}}, "after the end of the script"},
	} {
		t.Run(c.name, func(t *testing.T) {
			n := &notes{TB: t}
			s := linktest.Play(n, c.steps...)
			for i, m := range c.send {
				if err := send(s, m); (err == nil) != (i < len(c.send)-1 || c.name == "an answer left over") {
					t.Errorf("message %d: %v", i, err)
				}
			}
			if got := n.end(); !strings.Contains(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// watched notes the services that are asked for.
type watched struct {
	link.Link
	mu       *sync.Mutex
	services map[byte]bool
}

func (w watched) Send(ctx context.Context, m link.Message) error {
	if len(m.Data) > 0 {
		w.mu.Lock()
		w.services[m.Data[0]] = true
		w.mu.Unlock()
	}
	return w.Link.Send(ctx, m)
}

// TestKitOnlyLooks keeps the requests of the kit within what only looks.
func TestKitOnlyLooks(t *testing.T) {
	services := map[byte]bool{}
	var mu sync.Mutex
	linktest.ConformInBubble(t, func(t testing.TB) (link.Link, linktest.Peer) {
		l, p := linktest.Memory()
		return watched{l, &mu, services}, p
	})
	if got := slices.Sorted(maps.Keys(services)); !slices.Equal(got, []byte{0x22, 0x3E}) {
		t.Errorf("services % X, want 22 and 3E", got)
	}
}
