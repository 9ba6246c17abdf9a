package simcar

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/bus"
)

// One car on two buses has one memory.
func TestTwoBuses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := load(t, "quiet")
		a, b := serve(t, c), serve(t, c)
		a.say("7E5 02 10 03 00 00 00 00 00")
		a.expect(30*time.Millisecond, "7ED 06 50 03 00 32 01 F4 AA")
		b.say("7E5 03 22 F1 86 00 00 00 00")
		b.expect(30*time.Millisecond, "7ED 04 62 F1 86 03 AA AA AA")
		a.expect(30 * time.Millisecond)
	})
}

// gone is a bus whose adapter vanishes after a while.
type gone struct{ bus.Bus }

func (g gone) Receive(ctx context.Context) (bus.Received, error) {
	select {
	case <-ctx.Done():
		return bus.Received{}, ctx.Err()
	case <-time.After(time.Second):
		return bus.Received{}, bus.ErrGone
	}
}

func TestServeEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		mine, cars := bus.Pair()
		done := make(chan error)
		go func() { done <- load(t, "").Serve(t.Context(), cars) }()
		pass(time.Second)
		mine.Close()
		if err := <-done; err != nil {
			t.Errorf("closed bus: %v", err)
		}
		_, cars = bus.Pair()
		if err := load(t, "").Serve(t.Context(), gone{cars}); !errors.Is(err, bus.ErrGone) {
			t.Errorf("vanished adapter: %v", err)
		}
	})
}

// The car may be driven about while it is being asked.
func TestChangesWhileServing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := load(t, "")
		w := serve(t, c)
		done := make(chan bool)
		go func() {
			for i := range 50 {
				c.SetSpeed(i)
				c.SetSupply(11 + float64(i)/20)
				c.SetCharging(i%2 == 0)
				pass(7 * time.Millisecond)
				c.SetReady(i%3 == 0)
				c.Switch(i%10 != 9)
				if err := c.SetFault("drive", "P0A1B-00", i%4 == 0); err != nil {
					t.Error(err)
				}
			}
			close(done)
		}()
		for range 20 {
			w.say("7E0 03 19 02 FF", "7E0 30 00 00")
			w.hear(20 * time.Millisecond)
		}
		<-done
		c.Switch(true)
		c.SetSpeed(300)
		equal(t, "speed", asked(c, "drive", "01 0D"), "41 0D FF")
		c.SetReady(false)
		equal(t, "speed", asked(c, "drive", "01 0D"), "41 0D 00")
		c.Switch(false)
		c.SetSpeed(10)
		c.Switch(true)
		equal(t, "not driven while off", asked(c, "drive", "01 0D"), "41 0D 00")
	})
}
