package gate

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"readback/diag/explain"
	"readback/diag/link"
)

// wire is a link that notes what reached it.
type wire struct {
	mu   sync.Mutex
	sent []link.Message
	err  error
}

func (w *wire) Send(_ context.Context, m link.Message) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.sent = append(w.sent, m)
	return w.err
}
func (w *wire) Receive(ctx context.Context) (link.Message, error) {
	return link.Message{Data: []byte{0x7E, 0x00}}, nil
}
func (w *wire) Close() error { return link.ErrClosed }

var (
	t0  = time.Date(2026, 3, 4, 14, 4, 0, 0, time.UTC)
	ctx = context.Background()
)

func clearing() (link.Message, explain.Explanation) {
	m := link.Message{Address: link.Physical(link.ID11(0x7E5), link.ID11(0x7ED)), Data: []byte{0x14, 0xFF, 0xFF, 0xFF},
		Exact: []byte{0x04, 0x14, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55}}
	return m, explain.ExplainFrame(m.Address.Request, m.Exact, explain.Options{})
}

// ready is a state in which every latch but the read-back words is in line.
func ready(now time.Time) State {
	r := func(v float64) *Reading { return &Reading{Value: v, At: now.Add(-2 * time.Second), Source: FromCar} }
	return State{Speed: r(0), Motor: r(0), Supply: r(12.7), Charging: r(0),
		Record: &RecordFacts{At: now.Add(-2 * time.Minute), Complete: true, Codes: 9, Snapshots: 4, Modules: 11},
		Safety: SafetyFacts{Read: true}, Reaches: []string{"Charging", "Brakes"}}
}

func propose(now time.Time) Proposal {
	m, e := clearing()
	return Proposal{Message: m, Explanation: e, State: ready(now), Words: e.Words[0]}
}

func TestSendForwardsLooksOnly(t *testing.T) {
	w := &wire{}
	g := New(w, Options{})
	g.Hear(link.ID11(0x7E3))
	at := func(id uint32, data, exact []byte) link.Message {
		return link.Message{Address: link.Address{Request: link.ID11(id)}, Data: data, Exact: exact}
	}
	for _, c := range []struct {
		name string
		m    link.Message
		want bool
	}{
		{"a reading", at(0x7E5, []byte{0x19, 0x02, 0xFF}, nil), true},
		{"a reading, exact", at(0x7E5, []byte{0x19, 0x02, 0xFF}, []byte{3, 0x19, 2, 0xFF, 0x55, 0x55, 0x55, 0x55}), true},
		{"exact says something else", at(0x7E5, []byte{0x19, 0x02, 0xFF}, []byte{4, 0x14, 0xFF, 0xFF, 0xFF, 0, 0, 0}), false},
		{"exact counts more", at(0x7E5, []byte{0x19, 0x02, 0xFF}, []byte{4, 0x19, 2, 0xFF, 0, 0, 0, 0}), false},
		{"exact counts less", at(0x7E5, []byte{0x19, 0x0A}, []byte{1, 0x19, 0x0A}), false},
		{"exact of nine bytes", at(0x7E5, []byte{0x19, 0x0A}, []byte{2, 0x19, 0x0A, 0, 0, 0, 0, 0, 0}), false},
		{"exact of no bytes", at(0x7E5, []byte{0x19, 0x0A}, []byte{}), false},
		{"erasing", at(0x7E5, []byte{0x14, 0xFF, 0xFF, 0xFF}, nil), false},
		{"erasing, OBD", at(0x7DF, []byte{0x04}, nil), false},
		{"programming", at(0x7E5, []byte{0x10, 0x02}, nil), false},
		{"nothing", at(0x7E5, nil, nil), false},
		{"too long", at(0x7E5, []byte{0x22, 0xF1, 0x90, 0xF1, 0x90, 0xF1, 0x90, 0xF1, 0x90}, nil), false},
		{"on an answer identifier", at(0x7ED, []byte{0x3E, 0x00}, nil), false},
		{"on an identifier of the running car", at(0x123, []byte{0x3E, 0x00}, nil), false},
		{"on an identifier heard from the car", at(0x7E3, []byte{0x3E, 0x00}, nil), false},
	} {
		before, sent := g.Tally(), len(w.sent)
		err := g.Send(ctx, c.m)
		after := g.Tally()
		var refused *Refusal
		switch {
		case c.want && (err != nil || len(w.sent) != sent+1 || after.Reads != before.Reads+1 || after.Refused != before.Refused):
			t.Errorf("%s: %v, %d sent, %+v", c.name, err, len(w.sent)-sent, after)
		case !c.want && (!errors.As(err, &refused) || refused.Reason == "" || len(w.sent) != sent || after.Refused != before.Refused+1 || after.Reads != before.Reads):
			t.Errorf("%s: %v, %d sent, %+v", c.name, err, len(w.sent)-sent, after)
		}
	}
}

// TestKnow: a value of service 22 that no standard names passes once it is known, and only that one.
func TestKnow(t *testing.T) {
	g := New(&wire{}, Options{})
	ask := func(id uint16) error {
		return g.Send(ctx, link.Message{Address: link.Address{Request: link.ID11(0x7E5)}, Data: []byte{0x22, byte(id >> 8), byte(id)}})
	}
	if ask(0x1234) == nil {
		t.Error("it passes before it is known")
	}
	g.Know(0x1234)
	if err := ask(0x1234); err != nil {
		t.Error(err)
	}
	if ask(0x1235) == nil || ask(0x3412) == nil {
		t.Error("another one passes")
	}
	if got := g.Tally(); got.Reads != 1 || got.Refused != 3 {
		t.Errorf("%+v", got)
	}
}

func TestWhatNeverGetsAPermit(t *testing.T) {
	with := func(change func(*Proposal)) Proposal {
		p := propose(t0)
		change(&p)
		return p
	}
	frame := func(id link.ID, data ...byte) func(*Proposal) {
		return func(p *Proposal) {
			p.Message.Address.Request, p.Message.Exact, p.Message.Data = id, data, data[1:1+data[0]]
			p.Explanation = explain.ExplainFrame(id, data, explain.Options{})
			p.Words = strings.Join(p.Explanation.Words[:], " ")
		}
	}
	own := link.ID11(0x7E5)
	for _, c := range []struct {
		name, reason string
		p            Proposal
	}{
		{"a look", "only looks", with(frame(own, 3, 0x19, 2, 0xFF))},
		{"a restart", "restarts", with(frame(own, 2, 0x11, 1))},
		{"writing", "writes", with(frame(own, 4, 0x2E, 0xF1, 0x90, 1))},
		{"the workshop mode, silent", "not to answer", with(frame(own, 2, 0x10, 0x83))},
		{"storing again, silent", "not to answer", with(frame(own, 2, 0x85, 0x81))},
		{"on an answer identifier", "7ED", with(frame(link.ID11(0x7ED), 4, 0x14, 0xFF, 0xFF, 0xFF))},
		{"on a heard identifier", "itself sends", with(frame(link.ID11(0x7E6), 4, 0x14, 0xFF, 0xFF, 0xFF))},
		{"a mistyped request", "not well formed", with(func(p *Proposal) {
			p.Explanation = explain.Explain("7E5 03 14 FF FF FF 55 55 55", explain.Options{})
			p.Message.Exact, p.Message.Data = p.Explanation.Frame.Data, p.Explanation.Frame.Data[1:4]
		})},
		{"another wish", "not well formed", with(func(p *Proposal) {
			p.Explanation = explain.Explain("7E5 04 14 FF FF FF 55 55 55", explain.Options{Wish: explain.WishRead})
		})},
		{"no frame", "whole frame", with(func(p *Proposal) { p.Message.Exact = nil })},
		{"nothing explained", "whole frame", with(func(p *Proposal) { p.Explanation = explain.Explanation{} })},
		{"explained for another module", "not the one that was explained", with(func(p *Proposal) {
			p.Explanation = explain.ExplainFrame(link.ID11(0x7E4), p.Message.Exact, explain.Options{})
		})},
		{"explained with other filling", "not the one that was explained", with(func(p *Proposal) {
			p.Explanation = explain.ExplainFrame(own, []byte{4, 0x14, 0xFF, 0xFF, 0xFF, 0, 0, 0}, explain.Options{})
		})},
		{"a frame that says something else", "do not agree", with(func(p *Proposal) { p.Message.Data = []byte{0x14, 0xFF, 0xFF, 0x33} })},
		{"an explanation that was improved", "erases", with(func(p *Proposal) {
			p.Explanation.Class, p.Explanation.Reason = explain.Never, "It erases."
		})},
	} {
		w := &wire{}
		g := New(w, Options{})
		g.Hear(link.ID11(0x7E6))
		got, err := g.Permit(c.p, t0)
		var refused *Refusal
		if got != nil || !errors.As(err, &refused) || !strings.Contains(refused.Reason, c.reason) || g.Tally().Refused != 1 || len(w.sent) != 0 {
			t.Errorf("%s: permit %v, %v", c.name, got, err)
		}
	}
	if _, err := New(&wire{}, Options{}).Permit(propose(t0), t0); err != nil {
		t.Errorf("the proposal that the others are made of is refused: %v", err)
	}
}

func TestAPermitIsForOneUseOfTheseBytes(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(m *link.Message, now *time.Time)
		want error
	}{
		{"as given", func(*link.Message, *time.Time) {}, nil},
		{"just in time", func(_ *link.Message, now *time.Time) { *now = t0.Add(30*time.Second - 1) }, nil},
		{"too late", func(_ *link.Message, now *time.Time) { *now = t0.Add(30 * time.Second) }, ErrPermitExpired},
		{"before it was given", func(_ *link.Message, now *time.Time) { *now = t0.Add(-1) }, ErrPermitExpired},
		{"another group", func(m *link.Message, _ *time.Time) {
			m.Data, m.Exact = []byte{0x14, 0xFF, 0xFF, 0x33}, []byte{4, 0x14, 0xFF, 0xFF, 0x33, 0x55, 0x55, 0x55}
		}, ErrPermitOther},
		{"other filling", func(m *link.Message, _ *time.Time) { m.Exact[7] = 0x54 }, ErrPermitOther},
		{"not exact", func(m *link.Message, _ *time.Time) { m.Exact = nil }, ErrPermitOther},
		{"another module", func(m *link.Message, _ *time.Time) { m.Address = link.Physical(link.ID11(0x7E4), link.ID11(0x7EC)) }, ErrPermitOther},
		{"another answer", func(m *link.Message, _ *time.Time) { m.Address.Answer = link.ID11(0x7EE) }, ErrPermitOther},
		{"all modules", func(m *link.Message, _ *time.Time) { m.Address = link.Functional11() }, ErrPermitOther},
	} {
		w := &wire{}
		g := New(w, Options{})
		p, err := g.Permit(propose(t0), t0)
		if err != nil {
			t.Fatal(err)
		}
		m, _ := clearing()
		now := t0.Add(time.Second)
		c.do(&m, &now)
		if err := g.Pass(ctx, p, m, now); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
		want := Tally{Refused: 1}
		if c.want == nil {
			want = Tally{Changes: 1}
		}
		if got := g.Tally(); got != want || len(w.sent) != want.Changes {
			t.Errorf("%s: %+v, %d sent", c.name, got, len(w.sent))
		}
		if c.want != nil {
			continue
		}
		if !slices.Equal(w.sent[0].Exact, m.Exact) {
			t.Errorf("%s: sent % X", c.name, w.sent[0].Exact)
		}
		if err := g.Pass(ctx, p, m, now); !errors.Is(err, ErrPermitUsed) || len(w.sent) != 1 {
			t.Errorf("%s, again: %v, %d sent", c.name, err, len(w.sent))
		}
	}
}

func TestAPermitStaysUsedWhateverTheAdapterSaid(t *testing.T) {
	for _, c := range []struct {
		err   error
		count int // changes that may have left
	}{{link.ErrNotExact, 0}, {link.ErrTooLong, 0}, {link.ErrClosed, 0}, {link.ErrGone, 1}, {errors.New("unplugged"), 1}} {
		w := &wire{err: c.err}
		g := New(w, Options{})
		p, err := g.Permit(propose(t0), t0)
		if err != nil {
			t.Fatal(err)
		}
		m, _ := clearing()
		if err := g.Pass(ctx, p, m, t0); !errors.Is(err, c.err) {
			t.Errorf("%v: %v", c.err, err)
		}
		if err := g.Pass(ctx, p, m, t0); !errors.Is(err, ErrPermitUsed) {
			t.Errorf("%v, again: %v", c.err, err)
		}
		if got := g.Tally().Changes; got != c.count || len(w.sent) != 1 {
			t.Errorf("%v: %d changes counted, %d handed over", c.err, got, len(w.sent))
		}
	}
}

func TestPermitsThatAreNotThisGates(t *testing.T) {
	w := &wire{}
	g := New(w, Options{})
	m, _ := clearing()
	other, err := New(&wire{}, Options{}).Permit(propose(t0), t0)
	if err != nil {
		t.Fatal(err)
	}
	for name, p := range map[string]*Permit{"none": nil, "made up": {}, "of another gate": other} {
		if err := g.Pass(ctx, p, m, t0); !errors.Is(err, ErrPermitOther) || len(w.sent) != 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestAnIdentifierHeardAfterThePermit(t *testing.T) {
	w := &wire{}
	g := New(w, Options{})
	p, err := g.Permit(propose(t0), t0)
	if err != nil {
		t.Fatal(err)
	}
	g.Hear(link.ID11(0x7E5))
	m, _ := clearing()
	var refused *Refusal
	if err := g.Pass(ctx, p, m, t0); !errors.As(err, &refused) || len(w.sent) != 0 {
		t.Errorf("passed: %v, %d sent", err, len(w.sent))
	}
}

func TestBytesChangedAfterThePermit(t *testing.T) {
	w := &wire{}
	g := New(w, Options{})
	pr := propose(t0)
	p, err := g.Permit(pr, t0)
	if err != nil {
		t.Fatal(err)
	}
	pr.Message.Data[3], pr.Message.Exact[4] = 0x33, 0x33 // the proposal's own bytes, not the permit's
	if err := g.Pass(ctx, p, pr.Message, t0); !errors.Is(err, ErrPermitOther) || len(w.sent) != 0 {
		t.Errorf("passed: %v", err)
	}
}

func TestOnePermitFromManyGoroutines(t *testing.T) {
	w := &wire{}
	g := New(w, Options{})
	p, err := g.Permit(propose(t0), t0)
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	for range 32 {
		wg.Go(func() {
			m, _ := clearing()
			if err := g.Pass(ctx, p, m, t0); err != nil && !errors.Is(err, ErrPermitUsed) {
				t.Error(err)
			}
			if err := g.Send(ctx, link.Message{Address: m.Address, Data: []byte{0x3E, 0x00}}); err != nil {
				t.Error(err)
			}
			g.Hear(link.ID11(0x7E1))
			g.Tally()
		})
	}
	wg.Wait()
	if got := g.Tally(); got != (Tally{Reads: 32, Changes: 1, Refused: 31}) || len(w.sent) != 33 {
		t.Errorf("%+v, %d sent", got, len(w.sent))
	}
}

func TestTheEndedContext(t *testing.T) {
	w := &wire{}
	g := New(w, Options{})
	ended, cancel := context.WithCancel(ctx)
	cancel()
	p, err := g.Permit(propose(t0), t0)
	if err != nil {
		t.Fatal(err)
	}
	m, _ := clearing()
	if err := g.Pass(ended, p, m, t0); !errors.Is(err, context.Canceled) || len(w.sent) != 0 || g.Tally() != (Tally{}) {
		t.Errorf("%v, %d sent, %+v", err, len(w.sent), g.Tally())
	}
	if err := g.Send(ended, link.Message{Address: m.Address, Data: []byte{0x3E, 0}}); !errors.Is(err, context.Canceled) || len(w.sent) != 0 {
		t.Errorf("%v, %d sent", err, len(w.sent))
	}
}

func TestWhatPassesUnchanged(t *testing.T) {
	g := New(&wire{}, Options{})
	if m, err := g.Receive(ctx); err != nil || m.Data[0] != 0x7E {
		t.Errorf("received %v, %v", m, err)
	}
	if err := g.Close(); !errors.Is(err, link.ErrClosed) {
		t.Errorf("close: %v", err)
	}
}
