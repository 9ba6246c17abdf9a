//go:build linux

package socketcan

import (
	"context"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.einride.tech/can"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/simcar"
)

// practiceLine is a practice car with a serial-line CAN adapter, whose line the kernel's slcan driver has taken: it returns
// the name of the interface.
func practiceLine(t *testing.T, o simcar.SLCANOptions, listenOnly bool) string {
	t.Helper()
	s, err := simcar.Load("")
	if err != nil {
		t.Fatal(err)
	}
	master, line, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- simcar.New(s).ServeSLCAN(ctx, master, o) }()
	t.Cleanup(func() {
		stop()
		line.Close()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	name := attach(t, line, disciplineSLCAN)
	configure(t, name, listenOnly)
	return name
}

// TestPracticeLineKernel reads the practice car through its serial-line adapter and the kernel's driver for such adapters:
// a peer for our device that nobody here wrote.
func TestPracticeLineKernel(t *testing.T) {
	needKernel(t)
	name := practiceLine(t, simcar.SLCANOptions{Reports: true}, false)
	store, err := garage.Open(t.Context(), filepath.Join(t.TempDir(), "readback.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	v, err := diag.Open(t.Context(), diag.Options{Place: adapter.Place("can:" + name), Drivers: []adapter.Driver{Driver()}, Store: store})
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	begun := time.Now()
	for _, err := range v.Look(t.Context(), "") {
		if err != nil {
			t.Fatal(err)
		}
	}
	r, _ := v.Record()
	if len(r.Modules) != 11 || !r.Complete {
		t.Errorf("%d modules, complete %v", len(r.Modules), r.Complete)
	}
	h, ok, err := v.Health(t.Context())
	if err != nil || !ok || h.Verdict != diag.HealthAlive || h.StopSending {
		t.Errorf("%+v, %v, %v", h, ok, err)
	}
	t.Logf("%d reads in %v", v.Tally().Reads, time.Since(begun).Round(time.Millisecond))
}

// Listening only, the kernel opens the adapter with L: the car is heard, and nothing can be sent.
func TestPracticeLineListensKernel(t *testing.T) {
	needKernel(t)
	name := practiceLine(t, simcar.SLCANOptions{}, true)
	b, err := Open(t.Context(), name, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if r, err := next(t, b); err != nil || r.Fault != 0 {
		t.Errorf("%+v, %v", r, err)
	}
	if err := b.Send(t.Context(), can.Frame{ID: 0x7E4, Length: 1}); !errors.Is(err, bus.ErrOff) {
		t.Errorf("Send: %v, want ErrOff", err)
	}
}

// Nobody acknowledges, and a bus with another bit rate: what the device tells of it reaches our reports through the
// kernel's driver.
func TestPracticeLineTroubleKernel(t *testing.T) {
	needKernel(t)
	for name, c := range map[string]struct {
		device  simcar.SLCANOptions
		want    bus.Fault
		state   bus.State
		verdict diag.HealthVerdict
	}{
		"alone":      {simcar.SLCANOptions{Reports: true, Alone: true}, bus.FaultNoAck, bus.StatePassive, diag.HealthAlone},
		"wrong rate": {simcar.SLCANOptions{Reports: true, BusRate: 250_000}, bus.FaultProtocol, bus.StateOff, diag.HealthOff},
	} {
		t.Run(name, func(t *testing.T) {
			b, err := Open(t.Context(), practiceLine(t, c.device, false), Options{})
			if err != nil {
				t.Fatal(err)
			}
			defer b.Close()
			if err := b.Send(t.Context(), can.Frame{ID: 0x7E4, Length: 8, Data: can.Data{2, 0x3E}}); err != nil {
				t.Fatal(err)
			}
			var told bus.Fault
			for told&c.want == 0 {
				r, err := next(t, b)
				if err != nil {
					t.Fatal(err)
				}
				told |= r.Fault
			}
			ctx, cancel := context.WithTimeout(t.Context(), patience)
			defer cancel()
			for state := bus.StateUnknown; state != c.state; { // the report of the state is a line of its own
				if state, err = b.State(ctx); err != nil {
					t.Fatal(err)
				}
			}
			h := diag.JudgeBus(diag.BusFacts{State: c.state, Sent: 1, Unacknowledged: 1})
			if h.Verdict != c.verdict || !h.StopSending {
				t.Errorf("%+v", h)
			}
		})
	}
}
