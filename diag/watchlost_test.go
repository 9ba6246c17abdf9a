package diag_test

import (
	"context"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/bus"
	"readback/diag/garage"
)

// losing is a driver whose bus loses the next request that it is told to lose.
type losing struct {
	adapter.Driver
	lose atomic.Bool
	lost atomic.Int32
}

func (d *losing) Open(ctx context.Context, p adapter.Place, o adapter.Options) (adapter.Connection, error) {
	c, err := d.Driver.Open(ctx, p, o)
	if err != nil {
		return nil, err
	}
	return &losingFrames{c.(adapter.Frames), d}, nil
}

type losingFrames struct {
	adapter.Frames
	d *losing
}

func (c *losingFrames) Bus() bus.Bus { return &losingBus{c.Frames.Bus(), c.d} }

type losingBus struct {
	bus.Bus
	d *losing
}

func (b *losingBus) Send(ctx context.Context, f can.Frame) error {
	if f.ID == 0x7E0 && f.Data[0] > 2 && f.Data[1] == 0x01 && b.d.lose.CompareAndSwap(true, false) {
		b.d.lost.Add(1)
		return nil
	}
	return b.Bus.Send(ctx, f)
}

// TestWatchLosesOne: when one request for several values is lost, the module is still asked for several afterwards.
func TestWatchLosesOne(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		d := &losing{Driver: practice.Driver()}
		v := openVisit(t, s, "practice:runner-running", d)
		defer v.Close()
		values, err := v.Offered(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		keys := chosen(t, values, "0C", "0D", "05", "04", "0F", "11")
		answered := func(samples []diag.Sample) (n int) {
			for _, x := range samples {
				if x.State == garage.Yes {
					n++
				}
			}
			return n
		}
		before := answered(watch(t, v, keys, 10*time.Second))
		d.lose.Store(true)
		after := answered(watch(t, v, keys, 10*time.Second))
		if d.lost.Load() != 1 || after < before*8/10 {
			t.Errorf("%d readings in 10 s, and %d where %d requests were lost", before, after, d.lost.Load())
		}
	})
}
