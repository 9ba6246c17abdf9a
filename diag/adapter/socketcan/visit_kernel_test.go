//go:build linux

package socketcan

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/creack/pty"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/pause"
	"readback/diag/simcar"
)

// visitAt opens a visit at an interface, with a logbook of its own.
func visitAt(t *testing.T, name string) (*diag.Visit, *garage.Store) {
	t.Helper()
	store, err := garage.Open(t.Context(), filepath.Join(t.TempDir(), "readback.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	v, err := diag.Open(t.Context(), diag.Options{Place: adapter.Place("can:" + name), Drivers: []adapter.Driver{Driver()}, Store: store})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { v.Close() })
	return v, store
}

// carAt lets the practice car take part at an interface until the test ends.
func carAt(t *testing.T, name string) {
	t.Helper()
	s, err := simcar.Load("")
	if err != nil {
		t.Fatal(err)
	}
	b, err := Open(t.Context(), name, Options{})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	var served sync.WaitGroup
	served.Go(func() { _ = simcar.New(s).Serve(ctx, b) }) // it ends with the test, or with its interface
	t.Cleanup(func() {
		stop()
		b.Close()
		served.Wait()
	})
}

func lookAt(t *testing.T, v *diag.Visit, during func(diag.Progress)) (failed error) {
	t.Helper()
	for p, err := range v.Look(t.Context(), "") {
		failed = errors.Join(failed, err)
		if during != nil {
			during(p)
		}
	}
	return failed
}

// A visit follows the controller of its interface through the states of ISO 11898-1: it says how the bus does, sends
// nothing where that has to stop, and goes on once the interface has been restarted, as its owner is told to.
func TestHealthOfAControllerKernel(t *testing.T) {
	needKernel(t)
	master, line, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	var owned sync.WaitGroup
	device := &slcanDevice{}
	owned.Go(func() { device.run(master) })
	defer owned.Wait()
	defer master.Close()
	defer line.Close()
	name := attach(t, line, disciplineSLCAN)
	configure(t, name, false)
	v, _ := visitAt(t, name)
	if h, ok, err := v.Health(t.Context()); err != nil || !ok || h.Verdict != diag.HealthQuiet || h.StopSending {
		t.Errorf("active: %+v, %v", h, err)
	}
	for _, step := range []struct {
		says    string
		verdict diag.HealthVerdict
		stop    bool
	}{
		{"sw100000\r", diag.HealthDisturbed, false}, // what is sent after this finds nobody
		{"sp000130\r", diag.HealthAlone, true},
		{"sa000000\r", diag.HealthQuiet, false},
		{"sp130000\r", diag.HealthAlone, true},
		{"sb255000\r", diag.HealthOff, true},
	} {
		want := map[byte]bus.State{'a': bus.StateActive, 'w': bus.StateWarning, 'p': bus.StatePassive, 'b': bus.StateOff}[step.says[1]]
		if _, err := master.WriteString(step.says); err != nil {
			t.Fatal(err)
		}
		reaches(t, name, want)
		h, _, err := v.Health(t.Context())
		if err != nil || h.Verdict != step.verdict || h.StopSending != step.stop || step.stop && h.Next == "" {
			t.Errorf("%q: %+v, %v", step.says, h, err)
		}
		before := device.text()
		var stop *diag.StopSendingError
		err = v.LinkTest(t.Context(), func(adapter.Rung) {})
		if errors.As(err, &stop) != step.stop || !step.stop && err != nil {
			t.Errorf("%q: link test: %v", step.says, err)
		}
		if sent := strings.Contains(strings.TrimPrefix(device.text(), before), "t7DF"); sent == step.stop {
			t.Errorf("%q: sent %v", step.says, sent)
		}
		if step.stop && h.Command != "" && h.Command != "sudo ip link set "+name+" down && sudo ip link set "+name+" up" {
			t.Errorf("%q: %s", step.says, h.Command)
		}
	}
	setUpDown(t, name, false)
	reaches(t, name, bus.StateStopped)
	if h, _, err := v.Health(t.Context()); err != nil || h.Verdict != diag.HealthDown || !h.StopSending || h.Command == "" {
		t.Errorf("down: %+v, %v", h, err)
	}
	setUpDown(t, name, true)
	reaches(t, name, bus.StateActive)
	if h, _, err := v.Health(t.Context()); err != nil || h.StopSending {
		t.Errorf("up again: %+v, %v", h, err)
	}
	before := device.text()
	if err := v.LinkTest(t.Context(), func(adapter.Rung) {}); err != nil {
		t.Errorf("up again: %v", err)
	}
	if !strings.Contains(strings.TrimPrefix(device.text(), before), "t7DF") {
		t.Error("up again, and nothing was sent")
	}
}

// reaches waits until an interface has a state: what the adapter says of it comes in a line of its own.
func reaches(t *testing.T, name string, want bus.State) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	for {
		r, err := dialRoute()
		if err != nil {
			t.Fatal(err)
		}
		l, err := r.byName(name)
		if err := errors.Join(err, r.close(), ctx.Err()); err != nil {
			t.Fatalf("waiting for %s: %v", want, err)
		}
		if l.state == want {
			return
		}
		if err := pause.For(ctx, queueFull); err != nil {
			t.Fatalf("waiting for %s: it is %s", want, l.state)
		}
	}
}

// An interface that is removed in the middle of a look, and while a change waits for its answer: the adapter has gone, and
// of the change it is written down that nobody knows its answer.
func TestVisitRemovedKernel(t *testing.T) {
	needKernel(t)
	t.Run("looking", func(t *testing.T) {
		virtualCAN(t, "vcan5", true)
		carAt(t, "vcan5")
		v, _ := visitAt(t, "vcan5")
		removed := false
		err := lookAt(t, v, func(p diag.Progress) {
			if p.Stage == diag.StageSweep && !removed {
				removed = true
				if err := remove(t, "vcan5"); err != nil {
					t.Error(err)
				}
			}
		})
		if !removed || !errors.Is(err, bus.ErrGone) {
			t.Errorf("removed %v: %v", removed, err)
		}
		if s := diag.Sentence(err); !strings.Contains(s, "The adapter has gone") {
			t.Error(s)
		}
	})
	t.Run("sending", func(t *testing.T) {
		virtualCAN(t, "vcan6", true)
		carAt(t, "vcan6")
		v, store := visitAt(t, "vcan6")
		if err := lookAt(t, v, nil); err != nil {
			t.Fatal(err)
		}
		e := v.Explain("7E5 04 14 FF FF FF 55 55 55", "")
		v.Say(gate.NotCharging)
		v.Say(gate.SafetyRead)
		v.SayBack(strings.Join(e.Words[:], " "))
		var failed error
		for step, err := range v.Send(t.Context(), e) {
			failed = errors.Join(failed, err)
			if step.Stage == diag.SendAnswer { // "understood, wait"
				if err := remove(t, "vcan6"); err != nil {
					t.Error(err)
				}
			}
		}
		if r := v.Result(); !errors.Is(failed, bus.ErrGone) || !r.Sent || r.Outcome != garage.Unknown {
			t.Errorf("%v: sent %v, %s, refused %+v %s", failed, r.Sent, r.Outcome, r.Refused, r.Reason)
		}
		if open, err := store.Unknown(t.Context()); err != nil || len(open) != 1 {
			t.Errorf("open questions: %v, %v", open, err)
		}
	})
}

// A whole look over two controllers with the kernel's own drivers (kvaser_pci, sja1000): the practice car at one, the
// visit at the other, which has its bit rate. While it only listens, nothing can be sent, and that is no illness of the bus.
func TestVisitOverControllersKernel(t *testing.T) {
	needKernel(t)
	down(t, controller, neighbour)
	configure(t, neighbour, false)
	carAt(t, neighbour)
	configure(t, controller, true)
	deaf, _ := visitAt(t, controller)
	if err := lookAt(t, deaf, nil); !errors.Is(err, bus.ErrOff) || deaf.Tally().Reads > 1 {
		t.Errorf("listening only: %v after %d requests", err, deaf.Tally().Reads)
	}
	if h, _, err := deaf.Health(t.Context()); err != nil || h.Verdict != diag.HealthAlive {
		t.Errorf("listening only: %+v, %v", h, err)
	}
	deaf.Close()
	setUpDown(t, controller, false)
	r, err := dialRoute()
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(r.configure(infoOf(t, controller), timing{rate: 500_000}, flagListenOnly, 0), r.close()); err != nil {
		t.Fatal(err)
	}
	setUpDown(t, controller, true)
	v, _ := visitAt(t, controller)
	if a := v.Adapter(); a.BitRate != 500_000 || !a.Raw {
		t.Errorf("%+v", a)
	}
	if err := lookAt(t, v, nil); err != nil {
		t.Fatal(err)
	}
	if rec, _ := v.Record(); len(rec.Modules) != 11 || !rec.Complete {
		t.Errorf("%d modules, complete %v", len(rec.Modules), rec.Complete)
	}
	if h, _, err := v.Health(t.Context()); err != nil || h.StopSending || h.Verdict != diag.HealthAlive {
		t.Errorf("%+v, %v", h, err)
	}
}
