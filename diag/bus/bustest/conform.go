// Package bustest helps to test what stands on a [bus.Bus], and holds the conformance kit that every Bus runs.
//
// [Conform] is the kit, [Play] a Bus that plays a script, [Record] one that keeps what went by. Buses in memory
// are [bus.Pair] and [bus.Wire].
package bustest

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
)

// patience is how long the kit waits for a frame that must come.
const patience = 5 * time.Second

// Conform checks that a Bus keeps the contract of the seam. open returns the Bus under test and a peer on the same
// channel; it is called once a check.
func Conform(t *testing.T, open func(t testing.TB) (under, peer bus.Bus)) {
	checks := []struct {
		name string
		run  func(t *testing.T, under, peer bus.Bus)
	}{
		{"carries every length and both identifier widths, in order", inOrder},
		{"receives what the peer sends, with a time", received},
		{"many senders lose nothing", manySenders},
		{"refuses a frame that is none", invalid},
		{"a cancelled context ends Receive", cancelled},
		{"an ended context sends nothing", endedSend},
		{"Close ends Receive and may be repeated", closes},
		{"Close ends every waiting sender", closesSenders},
		{"after Close nothing works", closed},
	}
	for _, c := range checks {
		t.Run(c.name, func(t *testing.T) {
			under, peer := open(t)
			defer under.Close()
			defer peer.Close()
			c.run(t, under, peer)
		})
	}
}

func frames() []can.Frame {
	var out []can.Frame
	for n := range uint8(9) {
		data := can.Data{1, 2, 3, 4, 5, 6, 7, 8}
		for i := n; i < 8; i++ {
			data[i] = 0
		}
		out = append(out,
			can.Frame{ID: 0x7E5, Length: n, Data: data},
			can.Frame{ID: 0x18DA10F1, Length: n, Data: data, IsExtended: true},
			can.Frame{ID: 0x7DF, Length: n, Data: data, IsExtended: true})
	}
	return out
}

func receive(t *testing.T, b bus.Bus) bus.Received {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	for {
		r, err := b.Receive(ctx)
		if err != nil {
			t.Fatalf("Receive: %v", err)
		}
		if r.Fault == 0 {
			return r
		}
	}
}

func send(t *testing.T, b bus.Bus, f can.Frame) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	if err := b.Send(ctx, f); err != nil {
		t.Fatalf("Send %v: %v", f, err)
	}
}

func inOrder(t *testing.T, under, peer bus.Bus) {
	for _, f := range frames() {
		send(t, under, f)
	}
	for _, want := range frames() {
		if got := receive(t, peer).Frame; got != want {
			t.Fatalf("got %v, want %v", got, want)
		}
	}
}

func received(t *testing.T, under, peer bus.Bus) {
	for _, f := range frames() {
		send(t, peer, f)
	}
	var last time.Time
	for _, want := range frames() {
		r := receive(t, under)
		if r.Frame != want {
			t.Fatalf("got %v, want %v", r.Frame, want)
		}
		if r.At.IsZero() || r.At.Before(last) {
			t.Fatalf("time %v after %v", r.At, last)
		}
		last = r.At
	}
}

func manySenders(t *testing.T, under, peer bus.Bus) {
	const senders, each = 4, 50
	var wg sync.WaitGroup
	for s := range senders {
		wg.Go(func() {
			for i := range each {
				if err := under.Send(context.Background(), can.Frame{ID: uint32(0x700 + s), Length: 1, Data: can.Data{byte(i)}}); err != nil {
					t.Errorf("Send: %v", err)
					return
				}
			}
		})
	}
	next := map[uint32]byte{}
	for range senders * each {
		f := receive(t, peer).Frame
		if f.Data[0] != next[f.ID] {
			t.Fatalf("%03X: frame %d, want %d", f.ID, f.Data[0], next[f.ID])
		}
		next[f.ID]++
	}
	wg.Wait()
}

func invalid(t *testing.T, under, _ bus.Bus) {
	for _, f := range []can.Frame{{ID: 0x800}, {ID: 0x20000000, IsExtended: true}, {ID: 1, Length: 9}} {
		if err := under.Send(context.Background(), f); err == nil {
			t.Errorf("Send of identifier %X, length %d: no error", f.ID, f.Length)
		}
	}
}

func cancelled(t *testing.T, under, _ bus.Bus) {
	ctx, cancel := context.WithCancel(context.Background())
	time.AfterFunc(10*time.Millisecond, cancel)
	for {
		_, err := under.Receive(ctx)
		if err == nil {
			continue // a report of the controller's
		}
		if !errors.Is(err, context.Canceled) {
			t.Fatalf("Receive: %v, want context.Canceled", err)
		}
		return
	}
}

func endedSend(t *testing.T, under, peer bus.Bus) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := under.Send(ctx, can.Frame{ID: 0x123, Length: 1}); !errors.Is(err, context.Canceled) {
		t.Fatalf("Send: %v, want context.Canceled", err)
	}
	send(t, under, can.Frame{ID: 0x124, Length: 1})
	if got := receive(t, peer).Frame.ID; got != 0x124 {
		t.Fatalf("got %X: the frame of the ended context went out", got)
	}
}

func closes(t *testing.T, under, _ bus.Bus) {
	time.AfterFunc(10*time.Millisecond, func() { under.Close() })
	for {
		_, err := under.Receive(context.Background())
		if err == nil {
			continue // a report of the controller's
		}
		if !errors.Is(err, bus.ErrClosed) {
			t.Fatalf("Receive: %v, want ErrClosed", err)
		}
		break
	}
	if err := under.Close(); err != nil {
		t.Errorf("second Close: %v", err)
	}
}

// closesSenders: senders that nobody reads from may wait for room, but not beyond Close.
func closesSenders(t *testing.T, under, _ bus.Bus) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for {
				if err := under.Send(ctx, can.Frame{ID: 0x701, Length: 8}); err != nil {
					if ctx.Err() != nil {
						t.Errorf("Send was still waiting %v after Close", patience)
					}
					return
				}
			}
		})
	}
	time.AfterFunc(10*time.Millisecond, func() { under.Close() })
	wg.Wait()
}

func closed(t *testing.T, under, peer bus.Bus) {
	send(t, peer, can.Frame{ID: 0x123, Length: 1})
	if err := under.Close(); err != nil {
		t.Errorf("Close: %v", err)
	}
	if err := under.Send(context.Background(), can.Frame{ID: 1}); !errors.Is(err, bus.ErrClosed) {
		t.Errorf("Send after Close: %v, want ErrClosed", err)
	}
	if _, err := under.Receive(context.Background()); !errors.Is(err, bus.ErrClosed) {
		t.Errorf("Receive after Close: %v, want ErrClosed", err)
	}
}

// ConformGone checks what a Bus does when its adapter vanishes. open returns the Bus under test and what makes the
// adapter vanish.
func ConformGone(t *testing.T, open func(t testing.TB) (under bus.Bus, vanish func())) {
	t.Run("a vanished adapter ends Receive and Send", func(t *testing.T) {
		under, vanish := open(t)
		defer under.Close()
		time.AfterFunc(10*time.Millisecond, vanish)
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		var err error
		for err == nil { // reports of the controller's may come first
			_, err = under.Receive(ctx)
		}
		if !errors.Is(err, bus.ErrGone) {
			t.Fatalf("Receive: %v, want ErrGone", err)
		}
		for err = nil; err == nil; { // an adapter may still take a frame or two into its buffer
			err = under.Send(ctx, can.Frame{ID: 0x700, Length: 8})
		}
		if !errors.Is(err, bus.ErrGone) {
			t.Errorf("Send: %v, want ErrGone", err)
		}
		if err := under.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
		if _, err := under.Receive(ctx); err == nil {
			t.Error("Receive after Close: no error")
		}
	})
}
