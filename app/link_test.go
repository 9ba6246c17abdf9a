package app

import (
	"context"
	"iter"
	"testing"

	"readback/diag"
	"readback/diag/adapter"
)

func climbed() []adapter.Rung {
	return []adapter.Rung{{Step: adapter.StepPort, State: adapter.RungHeld, Seen: "The port is open."}, {Step: adapter.StepAdapter, State: adapter.RungHeld, Seen: "An adapter answers at 38,400 bit/s."},
		{Step: adapter.StepSupply, State: adapter.RungDoubtful, Seen: "12.1 V. That is low."}, {Step: adapter.StepBus, State: adapter.RungHeld, Seen: "11-bit, 500 kbit/s."}, {Step: adapter.StepModule, State: adapter.RungHeld, Seen: "7E8 answers."}}
}

// gradedVisit is a visit with an adapter that loses bytes, on a bus where nobody acknowledges.
func gradedVisit() *fakeVisit {
	v := vanVisit()
	v.abilities.Grade = adapter.Grade{Word: adapter.GradeReads, Can: []string{"It sets every identifier."}, Cannot: []string{"It loses bytes of long answers."}}
	v.abilities.ReadOnly = "It loses bytes, so an answer to a change might not be seen."
	v.health = diag.Health{Verdict: diag.HealthAlone, Text: "Nobody acknowledges what is sent.", Causes: []string{"The car is asleep.", "The wires are swapped."}, Next: "Switch the ignition on and wait 20 seconds.", StopSending: true, Command: "sudo ip link set can0 down"}
	return v
}

// TestPlugging: adapters that come and go show by themselves, what is new is marked, and the command that is needed
// stands beside it.
func TestPlugging(t *testing.T) {
	b := newBench(t, setup{})
	b.until("found", func() bool { return len(b.w.link.seen.Found) == 3 })
	lists := make(chan []adapter.Found, 3)
	b.w.engine.Watch = func(ctx context.Context) iter.Seq2[diag.Seen, error] {
		return func(yield func(diag.Seen, error) bool) {
			var before []adapter.Found
			for {
				select {
				case <-ctx.Done():
					return
				case now := <-lists:
					s := diag.CompareAdapters(before, now)
					if before == nil {
						s.Appeared = nil
					}
					before = now
					if !yield(s, nil) {
						return
					}
				}
			}
		}
	}
	b.w.watchAdapters()
	all := fakeFound()
	all[1].Fix = "sudo ip link set can0 up type can bitrate 500000"
	lists <- all[1:]
	b.until("first", func() bool { return len(b.w.link.seen.Found) == 2 })
	b.says("sudo ip link set can0 up")
	b.saysNot("just plugged in")
	lists <- all
	b.until("plugged", func() bool { return len(b.w.link.seen.Found) == 3 })
	b.says("just plugged in", "serial:/dev/ttyUSB0")
	lists <- all[1:]
	b.until("unplugged", func() bool { return len(b.w.link.seen.Vanished) == 1 })
	b.says("USB serial adapter (serial:/dev/ttyUSB0) was unplugged.")
	b.saysNot("a service of this computer takes it")
	b.w.link.seen.Taken = b.w.link.seen.Vanished
	b.w.draw()
	b.says("a service of this computer takes it")
	b.w.link.tried = "serial:/dev/ttyUSB0"
	b.w.draw()
	b.saysNot("a service of this computer takes it")
}

// TestRungs: the link test shows each step as it is taken, and what was seen.
func TestRungs(t *testing.T) {
	b := newBench(t, setup{rungs: climbed()[:2], hold: true})
	b.w.connect("serial:/dev/ttyUSB0")
	b.until("told", func() bool { return b.w.link.opening != nil && len(b.w.link.opening.rungs) == 2 })
	b.says("An adapter answers at 38,400 bit/s.", "not tried")
	b.tap("stop-opening")
	b.until("stopped", func() bool { return b.w.link.opening == nil })
}

// TestGrade: what can't be done with an adapter is said before it matters, and a bus in trouble stops the sending.
func TestGrade(t *testing.T) {
	b := newBench(t, setup{visit: gradedVisit(), rungs: climbed()})
	b.connect()
	b.until("asked", func() bool { return b.w.link.health != nil })
	b.says("This adapter can be used for reading only.", "It loses bytes of long answers.", "This adapter can't send a change", "Stop sending", "Nobody acknowledges", "sudo ip link set can0 down", "12.1 V. That is low.", "not as it should be")
}
