package trace

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"testing"

	"github.com/google/go-cmp/cmp"
	"go.einride.tech/can"
)

// readWhole reads a recording in batches, or one entry at a time by the library alone.
func readWhole(b []byte, alone bool) (entries []Entry, err error) {
	r, err := newReader(bytes.NewReader(b), "some")
	if err != nil {
		return nil, err
	}
	if alone {
		r.plain.off = true
		r.each(func(e Entry, failed error) bool {
			if err = failed; failed == nil {
				entries = append(entries, e)
			}
			return true
		})
		return entries, err
	}
	for err == nil {
		var p Batch
		err = r.Fill(&p)
		entries = append(entries, p.Entries...)
	}
	if err == io.EOF {
		err = nil
	}
	return entries, err
}

// sameAsLibrary compares what is read with what is read by the library alone.
func sameAsLibrary(t *testing.T, b []byte) []Entry {
	t.Helper()
	got, err := readWhole(b, false)
	want, werr := readWhole(b, true)
	if d := cmp.Diff(want, got); d != "" {
		t.Fatal(d)
	}
	if (err == nil) != (werr == nil) || err != nil && err.Error() != werr.Error() {
		t.Fatalf("error %v, the library's %v", err, werr)
	}
	return got
}

// little writes blocks whose numbers have their least significant byte first (draft-ietf-opsawg-pcapng, from memory).
type little struct{ bytes.Buffer }

func (w *little) block(kind uint32, body ...byte) {
	le := binary.LittleEndian
	for len(body)%4 != 0 {
		body = append(body, 0)
	}
	size := uint32(len(body) + 12)
	b := le.AppendUint32(le.AppendUint32(nil, kind), size)
	w.Write(le.AppendUint32(append(b, body...), size))
}

func (w *little) section(version byte) {
	w.block(0x0A0D0D0A, 0x4D, 0x3C, 0x2B, 0x1A, version, 0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF)
}

func (w *little) port(link byte, options ...byte) {
	w.block(1, append([]byte{link, 0, 0, 0, 0, 0, 0, 0}, options...)...)
}

func (w *little) packet(port byte, at uint64, packet []byte, options ...byte) {
	le := binary.LittleEndian
	b := le.AppendUint32(le.AppendUint32([]byte{port, 0, 0, 0}, uint32(at>>32)), uint32(at))
	b = append(le.AppendUint32(le.AppendUint32(b, uint32(len(packet))), uint32(len(packet))), packet...)
	for len(b)%4 != 0 {
		b = append(b, 0)
	}
	w.block(6, append(b, options...)...)
}

// Blocks that are read without the library say what the library says of them, whatever stands around them.
func TestPlainBlocks(t *testing.T) {
	const at = 1_700_000_000_123_456
	f := appendPacket(nil, can.Frame{ID: 0x7E8, Length: 3, Data: can.Data{2, 0x7E, 0}})
	wide := appendPacket(nil, can.Frame{ID: 0x18DAF110, IsExtended: true, Length: 8, Data: can.Data{7, 1, 2, 3, 4, 5, 6, 7}})
	remote := appendPacket(nil, can.Frame{ID: 0x123, IsRemote: true, Length: 8})
	out, in, end := []byte{2, 0, 4, 0, 2, 0, 0, 0}, []byte{2, 0, 4, 0, 1, 0, 0, 0}, []byte{0, 0, 0, 0}
	nanos, binaryTimes := []byte{9, 0, 1, 0, 9, 0, 0, 0}, []byte{9, 0, 1, 0, 0x94, 0, 0, 0}
	for _, c := range []struct {
		name    string
		write   func(w *little)
		entries int
	}{
		{"no options", func(w *little) {
			w.section(1)
			w.port(227)
			w.packet(0, at, f)
			w.packet(0, at+1, wide)
			w.packet(0, at, remote)
		}, 3},
		{"flags", func(w *little) {
			w.section(1)
			w.port(227)
			w.packet(0, at, f, out...)
			w.packet(0, at, f, append(out, end...)...)
			w.packet(0, at, wide, append(in, end...)...)
		}, 3},
		{"flags that are none", func(w *little) {
			w.section(1)
			w.port(227)
			w.packet(0, at, f)
			w.packet(0, at, f, 4, 0, 4, 0, 2, 0, 0, 0)
			w.packet(0, at, f, append(out, out...)...)
			w.packet(0, at, f, append(out, 1, 0, 0, 0)...)
		}, 4},
		{"comments", func(w *little) {
			w.section(1)
			w.port(227)
			w.packet(0, at, f)
			w.packet(0, at, f, 1, 0, 4, 0, 'l', 'o', 's', 't')
			w.packet(0, at, f)
		}, 3},
		{"nanoseconds", func(w *little) { w.section(1); w.port(227, nanos...); w.packet(0, at, f); w.packet(0, at*1000, f) }, 2},
		{"halved seconds", func(w *little) { w.section(1); w.port(227, binaryTimes...); w.packet(0, at, f); w.packet(0, at, f) }, 2},
		{"shifted times", func(w *little) {
			w.section(1)
			w.port(227, 14, 0, 8, 0, 16, 0, 0, 0, 0, 0, 0, 0)
			w.packet(0, at, f)
			w.packet(0, at, f)
		}, 2},
		{"times beyond a calendar", func(w *little) { w.section(1); w.port(227); w.packet(0, at, f); w.packet(0, 1<<64-1, f) }, 2},
		{"another link type between", func(w *little) {
			w.section(1)
			w.port(227)
			w.port(1)
			w.packet(0, at, f)
			w.packet(1, at, make([]byte, 60))
			w.packet(0, at, f)
		}, 2},
		{"an interface that comes later", func(w *little) {
			w.section(1)
			w.port(227)
			w.packet(0, at, f)
			w.port(227, nanos...)
			w.packet(1, at*1000, f)
			w.packet(0, at, f)
			w.packet(1, at*1000, f)
		}, 4},
		{"an interface that is not there", func(w *little) { w.section(1); w.port(227); w.packet(0, at, f); w.packet(1, at, f) }, 1},
		{"trouble", func(w *little) {
			w.section(1)
			w.port(227)
			w.packet(0, at, f)
			w.packet(0, at, []byte{0x20, 0, 0, 4, 8, 0, 0, 0, 1, 2, 3, 4, 5, 6, 7, 8})
			w.packet(0, at, append([]byte{0, 0, 7, 0xE8, 64, 4, 0, 0}, make([]byte, 64)...))
			w.packet(0, at, f)
		}, 4},
		{"not a frame", func(w *little) {
			w.section(1)
			w.port(227)
			w.packet(0, at, f)
			w.packet(0, at, []byte{0, 0, 8, 0, 0, 0, 0, 0})
		}, 1},
		{"a packet too long", func(w *little) { w.section(1); w.port(227); w.packet(0, at, f); w.packet(0, at, make([]byte, 80)) }, 1},
		{"a packet longer than its block", func(w *little) {
			w.section(1)
			w.port(227)
			w.packet(0, at, f)
			w.block(6, append(make([]byte, 12), 16, 0, 0, 0, 16, 0, 0, 0)...)
		}, 1},
		{"other blocks", func(w *little) {
			w.section(1)
			w.port(227)
			w.packet(0, at, f)
			w.block(0xBAD, 1, 2, 3)
			w.packet(0, at, f)
		}, 2},
		{"a second section", func(w *little) {
			w.section(1)
			w.port(227)
			w.packet(0, at, f)
			w.section(1)
			w.port(227, nanos...)
			w.packet(0, at*1000, f)
			w.Write(big(f, wide))
		}, 4},
		{"a section of another version", func(w *little) { w.section(2); w.port(227); w.packet(0, at, f); w.Write(big(f, wide)) }, 2},
		{"most significant byte first", func(w *little) { w.Write(big(f, wide, remote)) }, 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			var w little
			c.write(&w)
			got := sameAsLibrary(t, w.Bytes())
			if len(got) != c.entries {
				t.Errorf("%d entries, want %d", len(got), c.entries)
			}
			for cut := range w.Len() { // wherever it ends
				sameAsLibrary(t, w.Bytes()[:cut])
			}
		})
	}
}

// A batch that is filled anew takes no memory; what is read into it is what is read one by one.
func TestFill(t *testing.T) {
	const n = 3*BatchSize + 5
	var w little
	w.section(1)
	w.port(227)
	for i := range uint32(n) {
		w.packet(0, uint64(i), appendPacket(nil, can.Frame{ID: i & can.MaxID, Length: 4, Data: can.Data{byte(i), byte(i >> 8), byte(i >> 16)}}))
	}
	want, err := readWhole(w.Bytes(), true)
	if err != nil || len(want) != n {
		t.Fatalf("%d entries, %v", len(want), err)
	}
	r, err := newReader(bytes.NewReader(w.Bytes()), "some")
	if err != nil {
		t.Fatal(err)
	}
	var b Batch
	for at := 0; ; at += len(b.Entries) {
		err := r.Fill(&b)
		if d := cmp.Diff(want[at:at+len(b.Entries)], b.Entries); d != "" {
			t.Fatal(d)
		}
		if err != nil {
			if !errors.Is(err, io.EOF) || at+len(b.Entries) != n {
				t.Fatalf("%d entries, then %v", at+len(b.Entries), err)
			}
			break
		}
	}
	if r, err = newReader(bytes.NewReader(w.Bytes()), "some"); err != nil {
		t.Fatal(err)
	}
	if err := r.Fill(&b); err != nil { // the first packet goes by the library
		t.Fatal(err)
	}
	if got := testing.AllocsPerRun(1, func() {
		if err := r.Fill(&b); err != nil || len(b.Entries) != BatchSize {
			t.Fatal(err)
		}
	}); got != 0 {
		t.Errorf("%v allocations for %d frames", got, BatchSize)
	}
}
