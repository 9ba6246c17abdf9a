//go:build linux || darwin

package diag_test

import (
	"context"
	"errors"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/elm"
	"readback/diag/adapter/practice"
	"readback/diag/link"
	"readback/diag/simcar"
)

// TestSupplyOffset: what is added to the adapter's voltmeter counts for the reading of now and for those kept. The car has
// 11.8 V (the invented scenario "low-supply").
func TestSupplyOffset(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: "low-supply"})
		defer v.Close()
		if !v.SetSupplyOffset(0.5) {
			t.Fatal("the adapter takes no offset")
		}
		if volts, ok := v.Supply(t.Context()); !ok || math.Abs(volts-12.3) > 0.001 {
			t.Errorf("%g V, %v", volts, ok)
		}
		<-time.After(11 * time.Second) // of fake time: it measures by itself meanwhile
		readings, ok := v.SupplyReadings()
		if !ok || len(readings) < 3 {
			t.Fatalf("readings %v, %v", readings, ok)
		}
		for _, r := range readings {
			if math.Abs(r.Volts-12.3) > 0.001 {
				t.Errorf("a reading of %g V", r.Volts)
			}
		}
	})
}

// TestNoSupplyOffset: a voltmeter that is exact has none.
func TestNoSupplyOffset(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:", practice.Driver())
		defer v.Close()
		if v.SetSupplyOffset(0.5) {
			t.Error("it takes an offset")
		}
		if readings, ok := v.SupplyReadings(); ok {
			t.Errorf("readings %v", readings)
		}
	})
}

// TestWait: an adapter that is pulled while nobody asks anything is noticed at once, and a visit that is closed is not one
// whose adapter has gone.
func TestWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		var pull func()
		for _, pulled := range []bool{true, false} {
			v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, pull: &pull})
			ended := make(chan error, 1)
			go func() { ended <- v.Wait(t.Context()) }()
			synctest.Wait()
			select {
			case err := <-ended:
				t.Fatalf("it has ended: %v", err)
			default:
			}
			want, begun := link.ErrClosed, time.Now()
			if pulled {
				want = link.ErrGone
				pull()
			} else if err := v.Close(); err != nil {
				t.Error(err)
			}
			if err := <-ended; !errors.Is(err, want) {
				t.Errorf("pulled %v: %v", pulled, err)
			}
			if d := time.Since(begun); d > time.Second {
				t.Errorf("pulled %v: noticed after %v", pulled, d)
			}
			v.Close()
		}
	})
}

// TestOpeningNoCar: an adapter with nobody at its other end ends at the step and in the row of the table that it belongs to.
// The cars are invented.
func TestOpeningNoCar(t *testing.T) {
	for name, want := range map[string]diag.Symptom{"asleep": diag.NoConnection, "no-car": diag.NoSupply} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				opens(t, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: name}, adapter.StepBus, want)
			})
		})
	}
}

// TestUnusualLine: the same of an adapter that can't be understood, in real time, because a pipe has no speed.
func TestUnusualLine(t *testing.T) {
	t.Parallel()
	master, path, err := simcar.OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	ctx, pull := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		done <- simcar.New(scenario(t, "unusual-line")).ServeSerial(ctx, master, simcar.SerialOptions{})
	}()
	defer func() { pull(); <-done }()
	opens(t, adapter.Place("serial:"+path), elm.Driver(), adapter.StepAdapter, diag.AdapterSilent)
}

// opens opens an adapter that can't be used.
func opens(t *testing.T, p adapter.Place, d adapter.Driver, step adapter.Step, key diag.Symptom) {
	t.Helper()
	_, err := diag.Open(t.Context(), diag.Options{Place: p, Drivers: []adapter.Driver{d}})
	var open *adapter.OpenError
	if !errors.As(err, &open) || open.Step != step {
		t.Fatalf("%v, want step %s", err, step)
	}
	if trouble, ok := diag.TroubleOf(err); !ok || trouble.Key != key {
		t.Errorf("row %q, %v, want %q", trouble.Key, ok, key)
	}
}
