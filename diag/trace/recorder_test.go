package trace

import (
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func atNoon() time.Time { return noon }

func TestEntriesByTime(t *testing.T) {
	r := NewRecorder(atNoon)
	answer, request := frame(t, "7E8#065902FF0A081300"), frame(t, "7E0#031902FF")
	// The answer was recorded before Send of the request had returned.
	r.Frame(bus.In, answer, noon.Add(2*time.Millisecond))
	r.Frame(bus.Out, request, noon.Add(time.Millisecond))
	r.Frame(bus.In, frame(t, "100#"), time.Time{}) // no time of its own: now
	got := r.Entries()
	if len(got) != 3 || got[0].ID != link.ID11(0x100) || got[1].Frames[0] != request || got[2].Frames[0] != answer {
		t.Fatalf("entries %+v", got)
	}
	if got[1].Level != Frame || got[1].Direction != bus.Out || !slices.Equal(got[1].Data, []byte{3, 0x19, 2, 0xFF}) {
		t.Fatalf("request recorded as %+v", got[1])
	}
	if out, in := r.Frames(); out != 1 || in != 2 {
		t.Fatalf("%d out, %d in", out, in)
	}
}

func TestEntriesAreTheReceivers(t *testing.T) {
	r := NewRecorder(atNoon)
	r.Frame(bus.In, frame(t, "7E8#0102"), noon)
	r.add(Entry{At: noon.Add(1), Level: Message, Data: []byte{0x54}, Frames: []can.Frame{{ID: 1}}})
	for _, e := range r.Entries() {
		e.Data[0], e.Frames[0].ID = 0xEE, 0x7FF
		_ = append(e.Data, 0xEE)
		_ = append(e.Frames, can.Frame{})
	}
	got := r.Entries()
	if got[0].Data[0] != 1 || got[0].Frames[0].ID != 0x7E8 || got[1].Data[0] != 0x54 || got[1].Frames[0].ID != 1 {
		t.Fatalf("a reader changed the record: %+v", got)
	}
}

func TestSince(t *testing.T) {
	r := NewRecorder(atNoon)
	if got, seq := r.Since(0); len(got) != 0 || seq != 0 {
		t.Fatalf("an empty recorder gave %v, %d", got, seq)
	}
	r.Frame(bus.In, can.Frame{ID: 1}, noon)
	_, seq := r.Since(0)
	r.Frame(bus.In, can.Frame{ID: 2}, noon)
	r.add(Entry{Level: Trouble, Text: "x"})
	got, newest := r.Since(seq)
	if len(got) != 2 || got[0].ID.Value != 2 || got[1].Text != "x" || newest != 3 {
		t.Fatalf("since %d: %+v, %d", seq, got, newest)
	}
}

func TestFullRecorderKeepsTheNewest(t *testing.T) {
	r := NewRecorder(atNoon)
	r.add(Entry{Level: Message, Data: []byte{0x54}})
	const extra = 1000
	for i := range maxFrames + extra {
		r.Frame(bus.In, can.Frame{ID: uint32(i) & can.MaxID, Length: 8}, noon)
	}
	got := r.Entries()
	if len(got) != maxFrames+1 || r.Dropped() != extra {
		t.Fatalf("%d entries kept, %d dropped", len(got), r.Dropped())
	}
	if got[0].Level != Message {
		t.Error("frames pushed a message out")
	}
	if first := got[1].Seq; first != extra+2 {
		t.Errorf("oldest frame kept is number %d, want %d", first, extra+2)
	}
	if _, in := r.Frames(); in != maxFrames+extra {
		t.Errorf("%d frames counted", in)
	}
}

func TestMessagesAreBoundedInBytes(t *testing.T) {
	r := NewRecorder(atNoon)
	const size = 1 << 20
	for range 40 {
		r.add(Entry{Level: Message, Data: make([]byte, size)})
	}
	if got := len(r.Entries()); got != maxPayload/size || r.Dropped() != 40-got {
		t.Fatalf("%d messages of 1 MiB kept, %d dropped", got, r.Dropped())
	}
	for range maxMessages + 5 {
		r.add(Entry{Level: Trouble, Text: "x"})
	}
	if got := len(r.Entries()); got != maxMessages {
		t.Fatalf("%d troubles kept", got)
	}
}

func TestWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := NewRecorder(time.Now)
		var wg sync.WaitGroup
		woken := make([]error, 3)
		for i := range woken {
			wg.Go(func() { woken[i] = r.Wait(t.Context(), 0) })
		}
		synctest.Wait() // all of them wait
		r.Frame(bus.In, can.Frame{ID: 1}, time.Now())
		wg.Wait()
		for _, err := range woken {
			if err != nil {
				t.Error(err)
			}
		}
		if err := r.Wait(t.Context(), 0); err != nil { // newer already
			t.Error(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := r.Wait(ctx, 1); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("waiting for nothing ended with %v", err)
		}
	})
}

// A frame costs no allocation once the ring is full.
func TestFramePathAllocatesNothing(t *testing.T) {
	r := NewRecorder(atNoon)
	f := frame(t, "7E8#0102030405060708")
	for range maxFrames {
		r.Frame(bus.In, f, noon)
	}
	if n := testing.AllocsPerRun(1000, func() { r.Frame(bus.In, f, noon) }); n != 0 {
		t.Fatalf("%v allocations a frame", n)
	}
}

// A full Recorder takes no memory for a frame, and none for one that passes the bus that it watches.
func TestFramesTakeNothing(t *testing.T) {
	r := NewRecorder(atNoon)
	near, far := bus.Pair()
	defer near.Close()
	b := WrapBus(near, r)
	f := frame(t, "7E8#0102030405060708")
	for range maxFrames {
		r.Frame(bus.In, f, noon)
	}
	if n := testing.AllocsPerRun(100, func() {
		if err := far.Send(t.Context(), f); err != nil {
			t.Fatal(err)
		}
		if _, err := b.Receive(t.Context()); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func BenchmarkFrame(b *testing.B) {
	r := NewRecorder(atNoon)
	f := frame(b, "7E8#0102030405060708")
	for range maxFrames {
		r.Frame(bus.In, f, noon)
	}
	b.ReportAllocs()
	for b.Loop() {
		r.Frame(bus.In, f, noon)
	}
}

func BenchmarkEntries(b *testing.B) {
	r := NewRecorder(atNoon)
	f := frame(b, "7E8#0102030405060708")
	for i := range maxFrames {
		r.Frame(bus.In, f, noon.Add(time.Duration(i)))
	}
	b.ReportAllocs()
	for b.Loop() {
		if len(r.Entries()) != maxFrames {
			b.Fatal("entries lost")
		}
	}
}
