package diag_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/link"
	"readback/diag/simcar"
)

// sick is an adapter of frames at a practice car whose controller is in the state that a test sets.
type sick struct {
	adapter.Driver
	t     *testing.T
	state *atomic.Int32 // a bus.State
	sent  *atomic.Int32 // frames that left
	each  func(n int32) // called with the number of each frame, before it leaves; may be nil
}

func newSick(t *testing.T) sick { return sick{t: t, state: &atomic.Int32{}, sent: &atomic.Int32{}} }

func (d sick) set(s bus.State) { d.state.Store(int32(s)) }

func (d sick) Schemes() []string { return []string{"sick"} }

func (d sick) Open(context.Context, adapter.Place, adapter.Options) (adapter.Connection, error) {
	mine, cars := bus.Pair()
	ctx, cancel := context.WithCancel(context.Background())
	var served sync.WaitGroup
	served.Go(func() { _ = simcar.New(scenario(d.t, "")).Serve(ctx, cars) }) // it ends with the test
	d.t.Cleanup(func() {
		cancel()
		served.Wait()
	})
	return sickConnection{&sickBus{Bus: mine, sick: d}}, nil
}

type sickConnection struct{ b *sickBus }

func (c sickConnection) Bus() bus.Bus    { return c.b }
func (c sickConnection) Close() error    { return c.b.Close() }
func (c sickConnection) Recover() string { return "sudo make it well" }
func (sickConnection) Abilities() adapter.Abilities {
	return adapter.Abilities{Name: "Sick", Raw: true, Parallel: 8, Exact: true, Wide: true, BitRate: 500_000, Practice: true}
}

type sickBus struct {
	bus.Bus
	sick sick
}

func (b *sickBus) State(context.Context) (bus.State, error) {
	return bus.State(b.sick.state.Load()), nil
}

func (b *sickBus) Send(ctx context.Context, f can.Frame) error {
	if n := b.sick.sent.Add(1); b.sick.each != nil {
		b.sick.each(n)
	}
	return b.Bus.Send(ctx, f)
}

// stopsAt are the acts of a visit that send, and the error that each ends with.
var stopsAt = map[string]func(context.Context, *diag.Visit) error{
	"look": func(ctx context.Context, v *diag.Visit) (failed error) {
		for _, err := range v.Look(ctx, "") {
			failed = errors.Join(failed, err)
		}
		return failed
	},
	"a look of the owner": func(ctx context.Context, v *diag.Visit) (failed error) {
		for _, err := range v.Send(ctx, v.Explain("7E5 03 22 F1 90 55 55 55 55", "")) {
			failed = errors.Join(failed, err)
		}
		return failed
	},
	"a change": func(ctx context.Context, v *diag.Visit) (failed error) {
		e := v.Explain(clearCharging, "")
		v.Say(gate.NotCharging)
		v.Say(gate.SafetyRead)
		v.SayBack(strings.Join(e.Words[:], " "))
		for _, err := range v.Send(ctx, e) {
			failed = errors.Join(failed, err)
		}
		return failed
	},
	"link test": func(ctx context.Context, v *diag.Visit) error { return v.LinkTest(ctx, func(adapter.Rung) {}) },
	"offered": func(ctx context.Context, v *diag.Visit) error {
		_, err := v.Offered(ctx)
		return err
	},
	"meet": func(ctx context.Context, v *diag.Visit) error {
		_, err := v.Meet(ctx, "")
		return err
	},
	"watch": func(ctx context.Context, v *diag.Visit) error {
		speed := diag.LiveKey{Kind: diag.LiveParameter, Address: link.Physical(link.ID11(0x7E4), link.ID11(0x7EC)), Number: 0x0D}
		for _, err := range v.Watch(ctx, []diag.LiveKey{speed}) {
			return err // the first sample will do
		}
		return nil
	},
}

// Error passive and bus off mean: stop sending, one retry once the cause is gone (row "CAN ERROR, error passive, bus-off"
// of the table of symptoms: S41, S15). So every act that sends refuses while the controller says so, and goes on after.
func TestStopSending(t *testing.T) {
	for name, act := range stopsAt {
		for state, verdict := range map[bus.State]diag.HealthVerdict{
			bus.StatePassive: diag.HealthDisturbed, bus.StateOff: diag.HealthOff, bus.StateStopped: diag.HealthDown,
		} {
			t.Run(name+" "+state.String(), func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					s := openStore(t)
					defer s.Close()
					known(t, s, "")
					d := newSick(t)
					d.set(bus.StateActive)
					v := openVisit(t, s, "sick:", d)
					defer v.Close()
					look(t, v)
					changes := v.Tally().Changes

					d.set(state)
					before := d.sent.Load()
					err := act(t.Context(), v)
					var stop *diag.StopSendingError
					if !errors.As(err, &stop) || stop.Verdict != verdict || stop.Reason == "" || stop.Next == "" {
						t.Fatalf("%v", err)
					}
					if n := d.sent.Load() - before; n != 0 {
						t.Errorf("%d frames left", n)
					}
					if said := diag.Sentence(err); !strings.Contains(said, stop.Reason) || !strings.Contains(said, stop.Next) || !strings.Contains(said, stop.Command) {
						t.Error(said)
					}
					if row, ok := diag.TroubleOf(err); !ok || row.Key != diag.BusErrors || row.Seen != stop.Reason {
						t.Errorf("%+v", row)
					}
					if open, err := s.Unknown(t.Context()); err != nil || len(open) != 0 {
						t.Errorf("open questions: %v, %v", open, err)
					}

					d.set(bus.StateActive)
					if err := act(t.Context(), v); err != nil {
						t.Errorf("once it is well again: %v", err)
					}
					if d.sent.Load() == before {
						t.Error("nothing left once it was well again")
					}
					if want := map[string]int{"a change": 1}[name]; v.Tally().Changes-changes != want {
						t.Errorf("%d changes, want %d", v.Tally().Changes-changes, want)
					}
				})
			})
		}
	}
}

// A bus that falls ill in the middle ends a look: what is in the air goes out, nothing new is begun.
func TestStopSendingInTheMiddle(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		d := newSick(t)
		d.set(bus.StateActive)
		var at atomic.Int64
		d.each = func(n int32) {
			if n == 100 {
				d.set(bus.StatePassive)
				at.Store(time.Now().UnixNano())
			}
		}
		v := openVisit(t, s, "sick:", d)
		defer v.Close()
		var failed error
		for _, err := range v.Look(t.Context(), "") {
			failed = errors.Join(failed, err)
		}
		var stop *diag.StopSendingError
		if !errors.As(failed, &stop) {
			t.Fatal(failed)
		}
		if after := time.Since(time.Unix(0, at.Load())); after > time.Second {
			t.Errorf("noticed after %v", after)
		}
		if r, ok := v.Record(); ok && r.Complete {
			t.Error("the record counts as complete")
		}
	})
}

// Nobody acknowledges: a serial-line adapter that tells so stops the look at once, and what was asked of the owner counts
// as never sent.
func TestStopSendingAlone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "slcan:pipe", lineDriver{t: t, device: simcar.SLCANOptions{Alone: true, Reports: true, NoListen: true}})
		defer v.Close()
		var stop *diag.StopSendingError
		if err := stopsAt["look"](t.Context(), v); !errors.As(err, &stop) || stop.Verdict != diag.HealthAlone {
			t.Fatal(err)
		}
		reads := v.Tally().Reads
		if err := stopsAt["a look of the owner"](t.Context(), v); !errors.As(err, &stop) {
			t.Fatal(err)
		}
		if r := v.Result(); r.Sent || r.Outcome != garage.NeverSent || v.Tally().Reads != reads {
			t.Errorf("%+v", r)
		}
		var told []adapter.Rung
		if err := v.LinkTest(t.Context(), func(r adapter.Rung) { told = append(told, r) }); !errors.As(err, &stop) {
			t.Fatal(err)
		}
		if len(told) != 1 || told[0].Step != adapter.StepBus || told[0].State != adapter.RungFailed || told[0].Seen == "" || told[0].Err == nil {
			t.Errorf("%+v", told)
		}
	})
}
