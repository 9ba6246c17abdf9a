package gate

import (
	"errors"
	"testing"
	"time"
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
