package practice

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/bus/bustest"
	"readback/diag/simcar"

	"go.einride.tech/can"
)

// open opens a place and closes it at the end of the test.
func open(t *testing.T, p adapter.Place) *Connection {
	t.Helper()
	c, err := adapter.Open(t.Context(), []adapter.Driver{Driver()}, p, adapter.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return c.(*Connection)
}

func TestPlaces(t *testing.T) {
	for _, p := range []adapter.Place{"practice:", "practice:courier", "practice:low-supply"} {
		synctest.Test(t, func(t *testing.T) {
			c := open(t, p)
			want := 12.6
			if p == "practice:low-supply" {
				want = 11.8
			}
			if v, err := c.SupplyVolts(t.Context()); err != nil || v != want {
				t.Errorf("%s: supply %g V, %v; want %g V", p, v, err, want)
			}
		})
	}
	for _, p := range []adapter.Place{"practice:nobody", "practice:nowhere.json"} {
		_, err := Driver().Open(t.Context(), p, adapter.Options{})
		var oe *adapter.OpenError
		if !errors.As(err, &oe) || oe.Place != p {
			t.Errorf("%s: error %v", p, err)
		}
	}
	if _, err := Driver().Open(t.Context(), "practice:nobody", adapter.Options{}); !errors.Is(err, simcar.ErrUnknownScenario) {
		t.Errorf("error %v", err)
	}
}

func TestFind(t *testing.T) {
	found, err := Driver().Find(t.Context())
	if err != nil || len(found) != 1 || !found[0].Ready || found[0].Place != "practice:" {
		t.Errorf("found %+v, %v", found, err)
	}
	if !slices.Equal(Driver().Schemes(), []string{"practice"}) {
		t.Error("schemes", Driver().Schemes())
	}
}

func TestConnection(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := open(t, "practice:")
		var _ adapter.Frames = c
		var _ adapter.Supply = c
		a := c.Abilities()
		if !a.Practice || !a.Raw || !a.Exact || !a.Wide || !a.Listens || a.BitRate != 500000 || a.Protocol != "11-bit, 500 kbit/s" {
			t.Errorf("abilities %+v", a)
		}
		// 3E 00 to the drive module, answered by 7E 00 (ISO 14229-1, TesterPresent).
		if err := c.Bus().Send(t.Context(), can.Frame{ID: 0x7E0, Length: 8, Data: can.Data{0x02, 0x3E}}); err != nil {
			t.Fatal(err)
		}
		begun := time.Now()
		ordinary := 0
		for {
			r, err := c.Bus().Receive(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if r.Frame.ID < 0x600 {
				ordinary++
				continue
			}
			if r.Frame.ID != 0x7E8 || r.Frame.Data != (can.Data{0x02, 0x7E, 0, 0xAA, 0xAA, 0xAA, 0xAA, 0xAA}) {
				t.Errorf("answer %v", r.Frame)
			}
			break
		}
		if d := time.Since(begun); d > 50*time.Millisecond || ordinary == 0 {
			t.Errorf("answered after %v, with %d ordinary frames before", d, ordinary)
		}
	})
}

// Closing ends every goroutine: a bubble with one left would not end.
func TestCloseTwice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := open(t, "practice:quiet")
		for range 2 {
			if err := c.Close(); err != nil {
				t.Error(err)
			}
		}
		if _, err := c.Bus().Receive(t.Context()); err == nil {
			t.Error("a closed practice car still hands out frames")
		}
	})
}

// The bus of a connection keeps the contract of the seam, with the kit in the car's place.
func TestConform(t *testing.T) {
	bustest.Conform(t, func(t testing.TB) (under, peer bus.Bus) {
		others := make(chan bus.Bus)
		c := connect(func(_ context.Context, b bus.Bus) error {
			others <- b
			return nil
		})
		t.Cleanup(func() { c.Close() })
		return c.Bus(), <-others
	})
}
