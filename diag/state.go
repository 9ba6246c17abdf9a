package diag

import (
	"context"
	"errors"
	"strings"
	"time"

	"readback/diag/adapter"
	"readback/diag/explain"
	"readback/diag/garage"
	"readback/diag/gate"
)

// OBD parameters that tell the car's state (SAE J1979 service 01).
const (
	paramMotor   = 0x0C // motor speed, 1/min
	paramSpeed   = 0x0D // vehicle speed, km/h
	paramRunTime = 0x1F // time since the drive was switched on, s; for electric drives too (from memory of SAE J1979)
	paramSupply  = 0x42 // supply of the module that answers, V
)

// Measure measures the state that the latches of the gate need, with whatever this adapter and this car offer. What
// can't be measured stays unknown and is left to the owner's own statement.
func (v *Visit) Measure(ctx context.Context) error {
	var s gate.State
	if volts, ok := v.Supply(ctx); ok {
		s.Supply = &gate.Reading{Value: volts, At: time.Now(), Source: gate.Measured}
	}
	from, err := v.findSource(ctx)
	if err != nil {
		return err
	}
	err = v.at(from, func(c parameterReader) error {
		read := func(param byte, into **gate.Reading) error {
			if !from.offered[param] || *into != nil {
				return nil
			}
			value, ok, err := c.Value(ctx, param)
			if err != nil || !ok {
				return err
			}
			*into = &gate.Reading{Value: value, At: time.Now(), Source: gate.FromCar}
			return nil
		}
		return errors.Join(
			read(paramSpeed, &s.Speed),
			read(paramMotor, &s.Motor),
			read(paramRunTime, &s.RunTime),
			read(paramSupply, &s.Supply),
		)
	})
	v.mu.Lock()
	defer v.mu.Unlock()
	v.state.Speed, v.state.Motor, v.state.RunTime, v.state.Supply = s.Speed, s.Motor, s.RunTime, s.Supply
	v.rememberSupply(s.Supply)
	return err
}

// rememberSupply keeps what is known of the supply over time, so that the gate sees a supply that sags. v.mu is held.
func (v *Visit) rememberSupply(now *gate.Reading) {
	if w, ok := v.conn.(adapter.SupplyWatch); ok {
		v.state.Supplies = nil
		for _, r := range w.SupplyReadings() {
			v.state.Supplies = gate.Remember(v.state.Supplies, gate.Reading{Value: r.Volts, At: r.At, Source: gate.Measured})
		}
	}
	if now != nil {
		v.state.Supplies = gate.Remember(v.state.Supplies, *now)
	}
}

// Say is the owner's own statement about a latch; it expires after five minutes. Unsay takes it back.
func (v *Visit) Say(k gate.Key) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.state.Said == nil {
		v.state.Said = map[gate.Key]time.Time{}
	}
	v.state.Said[k] = time.Now()
}

func (v *Visit) Unsay(k gate.Key) {
	v.mu.Lock()
	defer v.mu.Unlock()
	delete(v.state.Said, k)
}

// SayBack is what the owner typed as read-back words: the first word or all three.
func (v *Visit) SayBack(words string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.words = strings.TrimSpace(words)
}

// Latches are the conditions of the gate for one request, from the last measurement. The call is cheap.
func (v *Visit) Latches(e explain.Explanation) []gate.Latch {
	s, words := v.gateState(e)
	return gate.Line(e, s, words, time.Now())
}

// gateState completes the measured state by what the record says.
func (v *Visit) gateState(e explain.Explanation) (gate.State, string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	s := v.state
	s.Said = map[gate.Key]time.Time{}
	for k, t := range v.state.Said {
		s.Said[k] = t
	}
	if v.last == nil {
		return s, v.words
	}
	r := *v.last
	facts := gate.RecordFacts{At: r.Ended.Add(-v.opt.Ahead), Complete: r.Complete, Modules: answered(r.Modules)}
	s.Safety = gate.SafetyFacts{Read: r.Complete, Acknowledged: v.state.Said[gate.SafetyRead]}
	for _, m := range r.Modules {
		for _, c := range m.Codes {
			if !faulty(m, c) {
				continue
			}
			facts.Codes++
			facts.Snapshots += len(c.Snapshots)
			if m.Safety && thereNow(m, c) {
				s.Safety.Now = append(s.Safety.Now, m.Name+" "+c.Code.String())
			}
		}
		if m.Answered == garage.Yes {
			s.Reaches = append(s.Reaches, m.Name)
		}
	}
	s.Record = &facts
	if e.Frame != nil {
		for _, m := range r.Modules {
			if m.Safety && m.Address.Request == e.Frame.ID {
				s.Safety.Target = m.Name
			}
		}
	}
	return s, v.words
}
