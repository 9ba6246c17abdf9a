package isotp

import (
	"context"
	"testing"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// passing is a Link on a wire, and the car's end of it.
func passing(t testing.TB) (l *Link, car bus.Bus) {
	near, far := bus.Pair()
	l = New(near, Options{})
	t.Cleanup(func() { l.Close() })
	return l, far
}

// busFrames are what a running car says, and an answer of one frame at the end.
func busFrames() []can.Frame {
	out := make([]can.Frame, 32)
	for i := range out {
		out[i] = can.Frame{ID: uint32(0x100 + i), Length: 8}
	}
	return append(out, can.Frame{ID: 0x7E8, Length: 8, Data: can.Data{3, 0x7F, 0x22, 0x78}})
}

// pass sends frames, the last of which is an answer, and receives that.
func pass(ctx context.Context, t testing.TB, l *Link, car bus.Bus, frames []can.Frame) {
	for _, f := range frames {
		if err := car.Send(ctx, f); err != nil {
			t.Fatal(err)
		}
	}
	if m, err := l.Receive(ctx); err != nil || len(m.Data) != 3 || len(m.Frames) != 1 {
		t.Fatalf("%+v, %v", m, err)
	}
}

// Frames of the running car and answers of one frame take no memory on their way: what is made for answers is made for many
// at once.
func TestFramesTakeNothing(t *testing.T) {
	l, car := passing(t)
	frames := busFrames()
	pass(t.Context(), t, l, car, frames)
	if n := testing.AllocsPerRun(200, func() { pass(t.Context(), t, l, car, frames) }); n != 0 {
		t.Errorf("%v allocations for %d frames", n, len(frames))
	}
}

// BenchmarkPassing lets 32 frames of the running car and an answer of one frame come in over a wire.
func BenchmarkPassing(b *testing.B) {
	l, car := passing(b)
	frames := busFrames()
	ctx := b.Context()
	b.ReportAllocs()
	for b.Loop() {
		pass(ctx, b, l, car, frames)
	}
}

// BenchmarkAsk asks three bytes and is answered twenty over a wire, by a car that is played frame by frame: a single frame
// there; a first frame, flow control and two consecutive frames back.
func BenchmarkAsk(b *testing.B) {
	l, car := passing(b)
	a := link.Physical(link.ID11(0x7E0), link.ID11(0x7E8))
	ask := link.Message{Address: a, Data: []byte{0x22, 0xF1, 0x90}}
	ctx := b.Context()
	b.ReportAllocs()
	for b.Loop() {
		if err := l.Send(ctx, ask); err != nil {
			b.Fatal(err)
		}
		for _, step := range []struct {
			takes bool
			data  can.Data
		}{{true, can.Data{}}, {false, can.Data{0x10, 20, 0x62, 0xF1, 0x90}}, {true, can.Data{}}, {false, can.Data{0x21}}, {false, can.Data{0x22}}} {
			if step.takes {
				if _, err := car.Receive(ctx); err != nil {
					b.Fatal(err)
				}
			} else if err := car.Send(ctx, can.Frame{ID: 0x7E8, Length: 8, Data: step.data}); err != nil {
				b.Fatal(err)
			}
		}
		if m, err := l.Receive(ctx); err != nil || len(m.Data) != 20 {
			b.Fatal(len(m.Data), err)
		}
	}
}
