package bus_test

import (
	"context"
	"testing"

	"go.einride.tech/can"

	"readback/diag/bus"
)

// carry sends a frame over a wire and fetches it at the other end.
func carry(ctx context.Context, t testing.TB, a, b bus.Bus, f can.Frame) {
	if err := a.Send(ctx, f); err != nil {
		t.Fatal(err)
	}
	if r, err := b.Receive(ctx); err != nil || r.Frame != f {
		t.Fatalf("%+v, %v", r, err)
	}
}

// A frame on a wire takes no memory.
func TestWireTakesNothing(t *testing.T) {
	a, b := bus.Pair()
	defer a.Close()
	f := can.Frame{ID: 0x7E8, Length: 8}
	if n := testing.AllocsPerRun(100, func() { carry(t.Context(), t, a, b, f) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func BenchmarkWire(b *testing.B) {
	near, far := bus.Pair()
	defer near.Close()
	f := can.Frame{ID: 0x7E8, Length: 8}
	ctx := b.Context()
	b.ReportAllocs()
	for b.Loop() {
		carry(ctx, b, near, far, f)
	}
}
