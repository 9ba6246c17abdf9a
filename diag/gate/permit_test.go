package gate

import (
	"errors"
	"testing"
	"time"

	"readback/diag/link"
)

// Each latch alone holds a permit back, and the refusal names it and no other.
func TestEveryLatchHoldsThePermitBack(t *testing.T) {
	for k, open := range map[Key]func(*Proposal){
		Standing:    func(p *Proposal) { p.State.Speed.Value = 3 },
		DriveOff:    func(p *Proposal) { p.State.Motor.Value = 800 },
		SupplyGood:  func(p *Proposal) { p.State.Supply.Value = 12.1 },
		NotCharging: func(p *Proposal) { p.State.Charging.Value = 1 },
		RecordSaved: func(p *Proposal) { p.State.Record.At = t0.Add(-6 * time.Minute) },
		SafetyRead:  func(p *Proposal) { p.State.Safety.Now = []string{"Airbag B0001-11"} },
		SaidBack:    func(p *Proposal) { p.Words = "" },
	} {
		w := &wire{}
		g := New(w, Options{})
		p := propose(t0)
		open(&p)
		permit, err := g.Permit(p, t0)
		var refused *Refusal
		if permit != nil || !errors.As(err, &refused) || len(refused.Latches) != 1 || refused.Latches[0].Key != k || len(w.sent) != 0 {
			t.Errorf("%s: %v, %+v", k, permit, err)
		}
	}
}

// Every misuse of a permit, after each of three beginnings: fresh, tried and failed, used. None of them sends.
func TestMisuse(t *testing.T) {
	other := link.Physical(link.ID11(0x7E4), link.ID11(0x7EC))
	for _, c := range []struct {
		name   string
		misuse func(g *Gate, p *Permit) (on *Gate, permit *Permit, m link.Message, now time.Time)
		fresh  error // what a permit that was not used yet is answered
	}{
		{"expired", func(g *Gate, p *Permit) (*Gate, *Permit, link.Message, time.Time) {
			m, _ := clearing()
			return g, p, m, t0.Add(permitLife)
		}, ErrPermitExpired},
		{"used before it was given", func(g *Gate, p *Permit) (*Gate, *Permit, link.Message, time.Time) {
			m, _ := clearing()
			return g, p, m, t0.Add(-time.Nanosecond)
		}, ErrPermitExpired},
		{"altered bytes", func(g *Gate, p *Permit) (*Gate, *Permit, link.Message, time.Time) {
			m, _ := clearing()
			m.Data[2], m.Exact[3] = 0, 0
			return g, p, m, t0
		}, ErrPermitOther},
		{"altered filling", func(g *Gate, p *Permit) (*Gate, *Permit, link.Message, time.Time) {
			m, _ := clearing()
			m.Exact[5] = 0xAA
			return g, p, m, t0
		}, ErrPermitOther},
		{"shortened frame", func(g *Gate, p *Permit) (*Gate, *Permit, link.Message, time.Time) {
			m, _ := clearing()
			m.Exact = m.Exact[:5]
			return g, p, m, t0
		}, ErrPermitOther},
		{"another address", func(g *Gate, p *Permit) (*Gate, *Permit, link.Message, time.Time) {
			m, _ := clearing()
			m.Address = other
			return g, p, m, t0
		}, ErrPermitOther},
		{"another mode of addressing", func(g *Gate, p *Permit) (*Gate, *Permit, link.Message, time.Time) {
			m, _ := clearing()
			m.Address.Functional = true
			return g, p, m, t0
		}, ErrPermitOther},
		{"another gate", func(_ *Gate, p *Permit) (*Gate, *Permit, link.Message, time.Time) {
			m, _ := clearing()
			return New(&wire{}, Options{}), p, m, t0
		}, ErrPermitOther},
		{"a copy, expired", func(g *Gate, p *Permit) (*Gate, *Permit, link.Message, time.Time) {
			m, _ := clearing()
			twin := *p
			return g, &twin, m, t0.Add(time.Hour)
		}, ErrPermitExpired},
		{"through the way of the looks", nil, nil},
	} {
		for beginning, broken := range map[string]error{"fresh": nil, "failed": errors.New("unplugged"), "used": nil} {
			w := &wire{err: broken}
			g := New(w, Options{})
			p, err := g.Permit(propose(t0), t0)
			if err != nil {
				t.Fatal(err)
			}
			want := c.fresh
			if beginning != "fresh" {
				m, _ := clearing()
				if err := g.Pass(ctx, p, m, t0); !errors.Is(err, broken) {
					t.Fatal(err)
				}
				if want = ErrPermitUsed; c.name == "another gate" {
					want = ErrPermitOther
				}
			}
			sent := len(w.sent)
			if c.misuse == nil {
				m, _ := clearing()
				var refused *Refusal
				if err := g.Send(ctx, m); !errors.As(err, &refused) || len(w.sent) != sent {
					t.Errorf("%s, %s: %v", c.name, beginning, err)
				}
				continue
			}
			on, permit, m, now := c.misuse(g, p)
			before := on.Tally().Refused
			if err := on.Pass(ctx, permit, m, now); !errors.Is(err, want) || len(w.sent) != sent || on.Tally().Refused != before+1 {
				t.Errorf("%s, %s: %v, want %v; %d sent", c.name, beginning, err, want, len(w.sent)-sent)
			}
		}
	}
	// A copy is the same permit: one of the two passes.
	w := &wire{}
	g := New(w, Options{})
	p, err := g.Permit(propose(t0), t0)
	if err != nil {
		t.Fatal(err)
	}
	twin := *p
	m, _ := clearing()
	if err := g.Pass(ctx, &twin, m, t0); err != nil {
		t.Error(err)
	}
	if err := g.Pass(ctx, p, m, t0); !errors.Is(err, ErrPermitUsed) || len(w.sent) != 1 {
		t.Errorf("the original after its copy: %v, %d sent", err, len(w.sent))
	}
}
