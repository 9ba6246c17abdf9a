package talk

import (
	"encoding/binary"
	"runtime"
	"testing"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/trace"
)

// busy is a recording of n frames: one question in five, answers of one frame and of three with flow control, and the
// traffic of a running car.
func busy(n int) []trace.Entry {
	var out []trace.Entry
	at := noon
	add := func(d bus.Direction, id uint32, data ...byte) {
		f := can.Frame{ID: id, Length: uint8(len(data))}
		copy(f.Data[:], data)
		at = at.Add(250 * time.Microsecond)
		out = append(out, trace.Entry{At: at, Direction: d, Level: trace.Frame, ID: link.ID11(id), Frames: []can.Frame{f}, Data: f.Data[:f.Length]})
	}
	for i := uint32(0); len(out) < n; i++ {
		m := i % 8
		add(bus.Out, 0x7E0+m, 3, 0x22, 0xF1, byte(0x80+i%16), 0x55, 0x55, 0x55, 0x55)
		if i%2 == 0 {
			add(bus.In, 0x7E8+m, 5, 0x62, 0xF1, byte(0x80+i%16), byte(i>>8), byte(i), 0xAA, 0xAA)
		} else {
			add(bus.In, 0x7E8+m, 0x10, 20, 0x62, 0xF1, byte(0x80+i%16), 1, 2, 3)
			add(bus.Out, 0x7E0+m, 0x30, 0, 0, 0x55, 0x55, 0x55, 0x55, 0x55)
			add(bus.In, 0x7E8+m, 0x21, 4, 5, 6, 7, 8, 9, 10)
			add(bus.In, 0x7E8+m, 0x22, 11, 12, 13, 14, 15, 16, 17)
		}
		for k := range uint32(2) {
			add(bus.In, 0x100+(i+k)%64, 1, 2, 3, 4, 5, 6, byte(i>>8), byte(i))
		}
	}
	return out[:n]
}

func held() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// BenchmarkAdd takes in a recording of a million frames; held-MB is what the conversation keeps of it.
func BenchmarkAdd(b *testing.B) {
	all := busy(1_000_000)
	b.ReportAllocs()
	for b.Loop() {
		before := held()
		c := New(Options{})
		c.Add(all)
		b.ReportMetric(float64(int64(held()-before))/1e6, "held-MB")
		b.ReportMetric(float64(c.Len()), "rows")
	}
}

func BenchmarkRow(b *testing.B) {
	c := New(Options{Explain: modules()})
	c.Add(busy(100_000))
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		c.Row(i % c.Len())
		i++
	}
}

// BenchmarkSearch looks for bytes and for words that are nowhere in a conversation of a million frames.
func BenchmarkSearch(b *testing.B) {
	c := New(Options{Explain: modules()})
	c.Add(busy(1_000_000))
	for name, f := range map[string]Filter{"bytes": {Text: "DEADBEEF"}, "words": {Text: "nothing like this"}, "told": {Text: "nichts dergleichen", Tell: other}} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if c.View(f).Len() != 0 {
					b.Fatal("found")
				}
			}
		})
	}
}

// Whatever the frames are, every frame is in one row at the most, every row can be shown, and nothing is invented.
func FuzzAdd(f *testing.F) {
	f.Add([]byte("\x00\x08\x03\x22\xF1\x90\x00\x00\x00\x00\x08\x08\x10\x14\x62\xF1\x90\x00\x00\x00"), uint8(0))
	f.Fuzz(func(t *testing.T, script []byte, limit uint8) {
		c := New(Options{Explain: modules(), Limit: int(limit)})
		ids := []uint32{0x7E0, 0x7E8, 0x7DF, 0x7E1, 0x7E9, 0x745, 0x765, 0x6F1, 0x640, 0x641, 0x18DA10F1, 0x18DAF110, 0x18DB33F1, 0x100, 0x7A0, 0x18DA22F1}
		total := 0
		for at := noon; len(script) >= 10; script = script[10:] {
			fr := can.Frame{ID: ids[script[0]&15], Length: script[1] & 15 % 9}
			fr.IsExtended = fr.ID > can.MaxID
			binary.BigEndian.PutUint64(fr.Data[:], binary.BigEndian.Uint64(script[2:]))
			at = at.Add(time.Duration(script[1]>>4) * 100 * time.Millisecond)
			d := bus.Direction(script[0] >> 7)
			c.Add([]trace.Entry{{At: at, Direction: d, Level: trace.Frame, Frames: []can.Frame{fr}}})
			total++
		}
		shown := 0
		for i := range c.Len() {
			x := c.Exchange(i)
			for _, m := range x.Messages {
				shown += len(m.Frames)
				if len(m.Payload) > m.Want || m.Whole && len(m.Payload) != m.Want {
					t.Fatalf("row %d: %d of %d bytes, whole: %v", x.Number, len(m.Payload), m.Want, m.Whole)
				}
				c.Explain(m)
			}
			if x.Words() == "" || x.Took < 0 {
				t.Fatalf("row %+v", x.Row)
			}
		}
		if shown+c.Other() > total || c.Lost() == 0 && shown+c.Other() != total {
			t.Fatalf("%d frames in rows and %d others of %d", shown, c.Other(), total)
		}
		c.View(Filter{Text: "62f1"})
	})
}
