package bus_test

import (
	"bytes"
	"compress/gzip"
	"encoding/hex"
	"io"
	"strconv"
	"strings"
	"testing"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/testdata"
)

// TestFrameBits compares lengths with those of testdata.BusFrameBits (canframelen.c of can-utils and an independent
// serialiser).
func TestFrameBits(t *testing.T) {
	z, err := gzip.NewReader(bytes.NewReader(testdata.BusFrameBits))
	must(t, err)
	text, err := io.ReadAll(z)
	must(t, err)
	rows := 0
	for line := range strings.Lines(string(text)) {
		c := strings.Split(strings.TrimSpace(line), "\t")
		id, err := strconv.ParseUint(c[0], 16, 32)
		if err != nil {
			continue // the head
		}
		rows++
		f := can.Frame{ID: uint32(id), IsExtended: c[1] == "1"}
		if c[3] != "-" {
			data, err := hex.DecodeString(c[3])
			must(t, err)
			f.Length = uint8(copy(f.Data[:], data))
		}
		must(t, f.Validate())
		plain, _ := strconv.Atoi(c[4])
		exact, _ := strconv.Atoi(c[5])
		worst, _ := strconv.Atoi(c[6])
		got := bus.FrameBits(f)
		if got != exact {
			t.Errorf("%v takes %d bits, want %d", f, got, exact)
		}
		if got < plain || got > worst {
			t.Errorf("%v takes %d bits, which is not within %d and %d", f, got, plain, worst)
		}
	}
	if rows != 3009 {
		t.Fatalf("%d rows, want 3009", rows)
	}
}

// TestRemoteFrameBits: a remote frame has no data field, whatever its length code says (ISO 11898-1). 47 and 67 bits
// are the lengths without stuffing; at most one bit in four of the 34 or 54 stuffed ones is added.
func TestRemoteFrameBits(t *testing.T) {
	for _, f := range []can.Frame{
		{ID: 0x555, IsRemote: true, Length: 8},
		{ID: 0x155AA55, IsExtended: true, IsRemote: true, Length: 8},
	} {
		least, most := 47, 47+(34-1)/4
		if f.IsExtended {
			least, most = 67, 67+(54-1)/4
		}
		if n := bus.FrameBits(f); n < least || n > most {
			t.Errorf("%v takes %d bits, want %d to %d", f, n, least, most)
		}
	}
}

func BenchmarkFrameBits(b *testing.B) {
	f := can.Frame{ID: 0x18DAF110, IsExtended: true, Length: 8, Data: can.Data{0x10, 0x14, 0x49, 0x02, 0x01, 0x31, 0x44, 0x34}}
	b.ReportAllocs()
	for b.Loop() {
		bus.FrameBits(f)
	}
}
