package trace

import (
	"bytes"
	"testing"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
)

// million is a recording of a million frames of eight bytes.
func million(b *testing.B) []byte {
	var out bytes.Buffer
	w, err := NewWriter(&out)
	if err != nil {
		b.Fatal(err)
	}
	e := Entry{At: time.Unix(1_700_000_000, 0), Direction: bus.In, Level: Frame, Frames: make([]can.Frame, 1)}
	for i := range uint32(1_000_000) {
		e.At = e.At.Add(250 * time.Microsecond)
		e.Frames[0] = can.Frame{ID: i & can.MaxID, Length: 8, Data: can.Data{byte(i), byte(i >> 8), byte(i >> 16)}}
		if err := w.Write(e); err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	return out.Bytes()
}

func BenchmarkRead(b *testing.B) {
	file := million(b)
	b.SetBytes(int64(len(file)))
	b.ReportAllocs()
	for b.Loop() {
		n := 0
		for _, err := range Read(bytes.NewReader(file), "million") {
			if err != nil {
				b.Fatal(err)
			}
			n++
		}
		if n != 1_000_000 {
			b.Fatal(n)
		}
	}
}
