package bustest_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/bus/bustest"
)

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

var ask = can.Frame{ID: 0x7E0, Length: 3, Data: can.Data{0x02, 0x3E, 0x00}}

func TestPlayerPlays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := bustest.Play(t,
			bustest.Step{Out: "7E0#023E00"},
			bustest.Step{In: "7E8#027E00", After: 20 * time.Millisecond},
			bustest.Step{Fault: bus.FaultBusOff, After: time.Second},
			bustest.Step{In: "18DAF110#017E"})
		start := time.Now()
		go func() {
			<-time.After(time.Minute)
			p.Send(t.Context(), ask)
		}()
		for _, want := range []struct {
			id    uint32
			fault bus.Fault
			after time.Duration
		}{{0x7E8, 0, 20 * time.Millisecond}, {0, bus.FaultBusOff, 1020 * time.Millisecond}, {0x18DAF110, 0, 1020 * time.Millisecond}} {
			r, err := p.Receive(t.Context())
			if err != nil || r.Frame.ID != want.id || r.Fault != want.fault || r.At.Sub(start) != time.Minute+want.after {
				t.Fatalf("got %+v after %v, %v; want %+v", r, r.At.Sub(start), err, want)
			}
		}
	})
}

func TestPlayerFails(t *testing.T) {
	for _, c := range []struct {
		name  string
		steps []bustest.Step
		do    func(p *bustest.Player) error
		want  string
	}{
		{"left over", []bustest.Step{{Out: "7E0#023E00"}, {In: "7E8#027E00"}}, func(p *bustest.Player) error {
			return p.Send(context.Background(), ask)
		}, "1 of 2 steps are left over; the next is coming: 7E8#027E00"},
		{"another frame", []bustest.Step{{Out: "7E0#023E80"}}, func(p *bustest.Player) error {
			if p.Send(context.Background(), ask) == nil {
				return errors.New("a wrong frame was taken")
			}
			return p.Send(context.Background(), can.Frame{ID: 0x7E0, Length: 3, Data: can.Data{0x02, 0x3E, 0x80}})
		}, "step 1: 7E0#023E00 was sent; to be sent: 7E0#023E80"},
		{"too early", []bustest.Step{{In: "7E8#027E00"}, {Out: "7E0#023E00"}}, func(p *bustest.Player) error {
			if p.Send(context.Background(), ask) == nil {
				return errors.New("a frame was taken out of turn")
			}
			if _, err := p.Receive(context.Background()); err != nil {
				return err
			}
			return p.Send(context.Background(), ask)
		}, "step 1: 7E0#023E00 was sent; coming: 7E8#027E00"},
		{"beyond the end", nil, func(p *bustest.Player) error {
			if p.Send(context.Background(), ask) == nil {
				return errors.New("a frame was taken after the end")
			}
			return nil
		}, "7E0#023E00 was sent after the end of the script"},
	} {
		t.Run(c.name, func(t *testing.T) {
			n := &notes{TB: t}
			p := bustest.Play(n, c.steps...)
			if err := c.do(p); err != nil {
				t.Error(err)
			}
			if got := n.end(); !strings.Contains(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
			if len(n.errors) != 1 {
				t.Errorf("%d failures, want 1: %q", len(n.errors), n.errors)
			}
		})
	}
}

func TestRecorderKeepsWhatWentBy(t *testing.T) {
	a, b := bus.Pair()
	r := bustest.Record(a)
	ctx, cancel := context.WithCancel(context.Background())
	if err := r.Send(ctx, ask); err != nil {
		t.Fatal(err)
	}
	if err := b.Send(ctx, can.Frame{ID: 0x7E8, Length: 1, Data: can.Data{1}}); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Receive(ctx); err != nil {
		t.Fatal(err)
	}
	cancel()
	if err := r.Send(ctx, ask); err == nil {
		t.Fatal("an ended context sent a frame")
	}
	e := r.Entries()
	if len(e) != 2 || e[0].Direction != bus.Out || e[0].Frame != ask || e[1].Direction != bus.In || e[1].Frame.ID != 0x7E8 {
		t.Fatalf("on record: %+v", e)
	}
	if e[0].At.IsZero() || e[1].At.Before(e[0].At) {
		t.Errorf("times %v, %v", e[0].At, e[1].At)
	}
}
