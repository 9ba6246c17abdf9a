package bus_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
)

// question is 111 bits and 13 stuff bits long: 124 bits, or 248 µs at 500 kbit/s (testdata.BusFrameBits).
var question = can.Frame{ID: 0x7DF, Length: 8, Data: can.Data{0x02, 0x09, 0x02}}

func TestBudgetKeepsTheShare(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := bus.NewBudget(500000, 0.1)
		if c := b.Cost(question); c != 2480*time.Microsecond {
			t.Fatalf("a frame of 124 bits costs %v, want 2.48ms", c)
		}
		began := time.Now()
		var sent []time.Time
		var mu sync.Mutex
		var wg sync.WaitGroup
		for range 4 { // several searchers share one budget
			wg.Go(func() {
				for range 100 {
					if err := b.Wait(t.Context(), question); err != nil {
						t.Error(err)
					}
					mu.Lock()
					sent = append(sent, time.Now())
					mu.Unlock()
				}
			})
		}
		wg.Wait()
		if d := time.Since(began); d != 399*2480*time.Microsecond {
			t.Errorf("400 frames took %v, want 989.52ms", d)
		}
		// No 100 ms hold more than a tenth and one frame: 10 ms of bus time are 40.3 frames.
		for i := range sent {
			n := 0
			for _, at := range sent[i:] {
				if at.Sub(sent[i]) < 100*time.Millisecond {
					n++
				}
			}
			if n > 41 {
				t.Fatalf("%d frames within 100ms", n)
			}
		}
	})
}

func TestBudgetPaysForWhatIsHeard(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := bus.NewBudget(500000, 0.1)
		at := time.Now()
		for range 10 {
			b.Count(question, at)
		}
		if d := b.Delay(at); d != 24800*time.Microsecond {
			t.Errorf("held back for %v, want 24.8ms", d)
		}
		if d := b.Delay(at.Add(20 * time.Millisecond)); d != 4800*time.Microsecond {
			t.Errorf("20 ms later held back for %v, want 4.8ms", d)
		}
		if d := b.Delay(at.Add(time.Minute)); d != 0 {
			t.Errorf("a minute later held back for %v", d)
		}
		<-time.After(time.Minute) // quiet is not saved up
		b.Count(question, time.Now())
		if d := b.Delay(time.Now()); d != 2480*time.Microsecond {
			t.Errorf("after a quiet minute held back for %v, want 2.48ms", d)
		}
	})
}

// TestBudgetStarvesNobody: on a bus that is busy all the time, one frame a second goes.
func TestBudgetStarvesNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := bus.NewBudget(500000, 0.1)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		go func() {
			tick := time.NewTicker(250 * time.Microsecond)
			defer tick.Stop()
			for {
				b.Count(question, time.Now())
				select {
				case <-ctx.Done():
					return
				case <-tick.C:
				}
			}
		}()
		<-time.After(5 * time.Second)
		for range 3 {
			began := time.Now()
			must(t, b.Wait(ctx, question))
			if d := time.Since(began); d > time.Second {
				t.Fatalf("waited for %v", d)
			}
		}
	})
}

func TestBudgetWaitEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := bus.NewBudget(125000, 0.01)
		must(t, b.Wait(t.Context(), question))
		before := b.Delay(time.Now())
		ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
		defer cancel()
		done := make(chan error)
		for range 2 { // one whose turn it is, and one behind it
			go func() { done <- b.Wait(ctx, question) }()
		}
		for range 2 {
			if err := <-done; !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("got %v, want that the context has ended", err)
			}
		}
		if err := b.Wait(ctx, question); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("got %v with an ended context", err)
		}
		if d := b.Delay(time.Now()); d != before-time.Millisecond {
			t.Errorf("held back for %v, want %v: a frame that did not go was counted", d, before-time.Millisecond)
		}
	})
}
