package bus_test

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/bus/bustest"
)

func TestPairConforms(t *testing.T) {
	bustest.Conform(t, func(testing.TB) (under, peer bus.Bus) { return bus.Pair() })
}

func TestWireConforms(t *testing.T) {
	bustest.Conform(t, func(testing.TB) (under, peer bus.Bus) {
		w := bus.NewWire()
		return w.Attach(), w.Attach()
	})
}

func TestRecorderConforms(t *testing.T) {
	bustest.Conform(t, func(testing.TB) (under, peer bus.Bus) {
		a, b := bus.Pair()
		return bustest.Record(a), b
	})
}

func frame(id uint32, b byte) can.Frame { return can.Frame{ID: id, Length: 1, Data: can.Data{b}} }

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestWireReachesAllOthersInOneOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx := t.Context()
		w := bus.NewWire()
		a, b, c, d := w.Attach(), w.Attach(), w.Attach(), w.Attach()
		for i := range byte(50) {
			go a.Send(ctx, frame(0x100, i))
			go b.Send(ctx, frame(0x200, i))
		}
		synctest.Wait()
		for range 100 {
			x, err := c.Receive(ctx)
			must(t, err)
			y, err := d.Receive(ctx)
			must(t, err)
			if x != y {
				t.Fatalf("one node got %v, another %v", x, y)
			}
		}
		for range 50 {
			x, err := a.Receive(ctx)
			must(t, err)
			if x.Frame.ID != 0x200 {
				t.Fatalf("a got %v: its own frame", x.Frame)
			}
		}
		short, cancel := context.WithTimeout(ctx, time.Second)
		defer cancel()
		if _, err := c.Receive(short); !errors.Is(err, context.DeadlineExceeded) {
			t.Fatalf("one more than was sent: %v", err)
		}
	})
}

func TestWireSenderWaitsForRoom(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx := t.Context()
		w := bus.NewWire()
		a, reading, slow := w.Attach(), w.Attach(), w.Attach()
		sent := 0
		for {
			short, cancel := context.WithTimeout(ctx, time.Second)
			err := a.Send(short, frame(0x100, byte(sent)))
			cancel()
			if errors.Is(err, context.DeadlineExceeded) {
				break
			}
			must(t, err)
			if sent++; sent > 10000 {
				t.Fatal("a queue without bound")
			}
			_, err = reading.Receive(ctx)
			must(t, err)
		}
		done := make(chan error)
		go func() { done <- a.Send(ctx, frame(0x101, 0)) }()
		synctest.Wait()
		select {
		case err := <-done:
			t.Fatalf("sent without room: %v", err)
		default:
		}
		for i := range sent {
			r, err := slow.Receive(ctx)
			must(t, err)
			if r.Frame != frame(0x100, byte(i)) {
				t.Fatalf("frame %d is %v", i, r.Frame)
			}
		}
		must(t, <-done)
		for _, n := range []bus.Bus{reading, slow} {
			r, err := n.Receive(ctx)
			must(t, err)
			if r.Frame.ID != 0x101 {
				t.Fatalf("got %v: a frame that was given up reached a node", r.Frame)
			}
		}
	})
}

func TestWireNodeThatLeavesHoldsNobodyUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx := t.Context()
		w := bus.NewWire()
		a, idle := w.Attach(), w.Attach()
		stuck := make(chan int)
		go func() {
			n := 0
			for ; n < 1000; n++ {
				if a.Send(ctx, frame(0x100, 0)) != nil {
					break
				}
			}
			stuck <- n
		}()
		synctest.Wait()
		must(t, idle.Close())
		if n := <-stuck; n != 1000 {
			t.Fatalf("%d frames, want 1000", n)
		}
		late := w.Attach()
		must(t, a.Send(ctx, frame(0x101, 0)))
		r, err := late.Receive(ctx)
		must(t, err)
		if r.Frame.ID != 0x101 {
			t.Fatalf("got %v, sent before it joined", r.Frame)
		}
	})
}

func TestPairEndsTogether(t *testing.T) {
	a, b := bus.Pair()
	must(t, b.Close())
	if err := a.Send(context.Background(), frame(1, 1)); !errors.Is(err, bus.ErrClosed) {
		t.Fatalf("Send: %v, want ErrClosed", err)
	}
	if _, err := a.Receive(context.Background()); !errors.Is(err, bus.ErrClosed) {
		t.Fatalf("Receive: %v, want ErrClosed", err)
	}
}

// A frame that passes takes no memory.
func TestWireAllocates(t *testing.T) {
	a, b := bus.Pair()
	defer a.Close()
	f := can.Frame{ID: 0x123, Length: 8}
	if n := testing.AllocsPerRun(10_000, func() {
		must(t, a.Send(t.Context(), f))
		if _, err := b.Receive(t.Context()); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations a frame", n)
	}
}
