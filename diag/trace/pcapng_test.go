package trace

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

func frame(t testing.TB, text string) can.Frame {
	t.Helper()
	var f can.Frame
	if err := f.UnmarshalString(text); err != nil {
		t.Fatal(err)
	}
	return f
}

// The bytes are written down from the description of LINKTYPE_CAN_SOCKETCAN on tcpdump.org's page of link-layer header
// types (from memory): identifier and flags with the most significant byte first, length, FD flags, two reserved bytes, data.
func TestPacketBytes(t *testing.T) {
	for _, c := range []struct{ name, frame, want string }{
		{"11 bits", "7E5#0414FFFFFF555555", "000007E5 08 00 0000 0414FFFFFF555555"},
		{"29 bits sets the highest bit", "18DB33F1#02010C", "98DB33F1 03 00 0000 02010C"},
		{"no data", "123#", "00000123 00 00 0000"},
		{"remote: a length, no data", "7DF#R8", "400007DF 08 00 0000"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := frame(t, c.frame)
			want, err := hex.DecodeString(strings.ReplaceAll(c.want, " ", ""))
			if err != nil {
				t.Fatal(err)
			}
			got := appendPacket(nil, f)
			if !bytes.Equal(got, want) {
				t.Fatalf("packet %X, want %X", got, want)
			}
			var e Entry
			err = parsePacket(want, &e, new(carried))
			if err != nil || len(e.Frames) != 1 || e.Frames[0] != f {
				t.Fatalf("read back as %+v, %v", e, err)
			}
		})
	}
}

// The blocks are written down from the pcapng specification (draft-ietf-opsawg-pcapng, from memory): section header
// 0A0D0D0A, interface description 1 with link type 227 and if_tsresol 9, enhanced packet 6 with epb_flags (option 2).
func TestFileBytes(t *testing.T) {
	var out bytes.Buffer
	w, err := NewWriter(&out)
	if err != nil {
		t.Fatal(err)
	}
	at := time.Unix(0, 0x0000_0012_3456_789A)
	if err := w.Write(Entry{At: at, Direction: bus.Out, Level: Frame, Frames: []can.Frame{frame(t, "7E5#0414FFFFFF555555")}}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	b := out.Bytes()
	le := binary.LittleEndian
	if le.Uint32(b) != 0x0A0D0D0A || le.Uint32(b[8:]) != 0x1A2B3C4D || le.Uint16(b[12:]) != 1 || le.Uint16(b[14:]) != 0 {
		t.Fatalf("section header % X", b[:16])
	}
	b = b[le.Uint32(b[4:]):]
	if le.Uint32(b) != 1 || le.Uint16(b[8:]) != 227 {
		t.Fatalf("interface description % X", b[:16])
	}
	if !bytes.Contains(b[:le.Uint32(b[4:])], []byte{9, 0, 1, 0, 9, 0, 0, 0}) {
		t.Fatal("no if_tsresol of 9 (nanoseconds)")
	}
	b = b[le.Uint32(b[4:]):]
	want, err := hex.DecodeString(strings.ReplaceAll("06000000 3C000000 00000000 12000000 9A785634 10000000 10000000"+
		"000007E5 08000000 0414FFFF FF555555"+"02000400 02000000 00000000"+"3C000000", " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(b, want) {
		t.Fatalf("enhanced packet block\n% X, want\n% X", b, want)
	}
}

func TestFileRoundTrip(t *testing.T) {
	at := time.Date(2026, 11, 25, 9, 30, 0, 123456789, time.UTC)
	sent, came := frame(t, "7E0#021902FF"), frame(t, "18DAF110#0359020A")
	remote := frame(t, "100#R2")
	entries := []Entry{
		{At: at, Level: Trouble, Text: "before any frame"},
		{At: at, Direction: bus.Out, Level: Frame, ID: link.IDOf(sent), Frames: []can.Frame{sent}},
		{At: at.Add(1), Level: Message, Data: []byte{0x59}},
		{At: at.Add(2), Direction: bus.In, Level: Frame, ID: link.IDOf(came), Frames: []can.Frame{came}},
		{At: at.Add(3), Direction: bus.In, Level: Trouble, Text: "nobody acknowledged"},
		{At: at.Add(4), Direction: bus.In, Level: Frame, ID: link.IDOf(remote), Frames: []can.Frame{remote}},
	}
	path := filepath.Join(t.TempDir(), "talk.pcapng")
	if err := WriteFile(t.Context(), path, entries); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Fatalf("file mode %v, %v: others can read it", info.Mode(), err)
	}
	want := []Entry{
		{Seq: 1, At: at, Direction: bus.Out, Level: Frame, ID: link.ID11(0x7E0), Data: sent.Data[:4], Frames: []can.Frame{sent}, Text: "before any frame"},
		{Seq: 2, At: at.Add(2), Direction: bus.In, Level: Frame, ID: link.ID29(0x18DAF110), Data: came.Data[:4], Frames: []can.Frame{came}, Text: "nobody acknowledged"},
		{Seq: 3, At: at.Add(4), Direction: bus.In, Level: Frame, ID: link.ID11(0x100), Frames: []can.Frame{remote}},
	}
	var got []Entry
	for e, err := range ReadFile(path) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, e)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Fatal(d)
	}
	again := filepath.Join(t.TempDir(), "again.pcapng")
	if err := WriteFile(t.Context(), again, got); err != nil {
		t.Fatal(err)
	}
	first, _ := os.ReadFile(path)
	second, _ := os.ReadFile(again)
	if !bytes.Equal(first, second) {
		t.Fatal("a recording read and written again differs")
	}
}

// A long comment is cut between letters: comments of pcapng are UTF-8 (draft-ietf-opsawg-pcapng, 3.5).
func TestLongComments(t *testing.T) {
	for _, s := range []string{strings.Repeat("a", 4096), strings.Repeat("a", 4097), "a" + strings.Repeat("ä", 4000), strings.Repeat("°", 3000)} {
		got := shorten(s)
		if head, cut := strings.CutSuffix(got, "..."); !utf8.ValidString(got) || len(got) > 4099 || cut != (len(s) > 4096) || !strings.HasPrefix(s, head) {
			t.Errorf("%d bytes become %q...", len(s), got[:10])
		}
	}
}

func TestWriteFileLeavesNothingBehind(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "talk.pcapng")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := WriteFile(ctx, path, []Entry{{Level: Message}}); !errors.Is(err, context.Canceled) {
		t.Fatalf("error %v", err)
	}
	bad := []Entry{{Level: Frame, Frames: []can.Frame{{}}}} // the zero time
	if err := WriteFile(t.Context(), path, bad); err == nil || !strings.Contains(err.Error(), "time") {
		t.Fatalf("error %v", err)
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 0 {
		t.Fatalf("left behind: %v, %v", left, err)
	}
	if err := WriteFile(t.Context(), filepath.Join(dir, "no", "talk.pcapng"), nil); !errors.Is(err, os.ErrNotExist) {
		t.Fatalf("error %v", err)
	}
}

// big is a recording whose numbers have their most significant byte first: pcapng allows both orders.
func big(packets ...[]byte) []byte {
	be := binary.BigEndian
	b := []byte{0x0A, 0x0D, 0x0D, 0x0A, 0, 0, 0, 28, 0x1A, 0x2B, 0x3C, 0x4D, 0, 1, 0, 0}
	b = append(b, bytes.Repeat([]byte{0xFF}, 8)...)
	b = append(b, 0, 0, 0, 28)
	b = append(b, 0, 0, 0, 1, 0, 0, 0, 20, 0, 227, 0, 0, 0, 0, 0, 0, 0, 0, 0, 20)
	for _, p := range packets {
		n := uint32(len(p))
		padded := (len(p) + 3) &^ 3
		total := uint32(28 + padded + 12 + 4)
		b = be.AppendUint32(b, 6)
		b = be.AppendUint32(b, total)
		b = append(b, make([]byte, 12)...)
		b = be.AppendUint32(b, n)
		b = be.AppendUint32(b, n)
		b = append(b, p...)
		b = append(b, make([]byte, padded-len(p))...)
		b = append(b, 0, 2, 0, 4, 0, 0, 0, 2, 0, 0, 0, 0) // epb_flags: outbound
		b = be.AppendUint32(b, total)
	}
	return b
}

func TestReadBigEndian(t *testing.T) {
	f := frame(t, "7E0#0210030000000000")
	n := 0
	for e, err := range Read(bytes.NewReader(big(appendPacket(nil, f))), "big") {
		if err != nil {
			t.Fatal(err)
		}
		if n++; e.Frames[0] != f || e.Direction != bus.Out {
			t.Fatalf("read %+v", e)
		}
	}
	if n != 1 {
		t.Fatalf("%d frames", n)
	}
}

func TestReadWhatIsNotAFrame(t *testing.T) {
	fd := append([]byte{0, 0, 7, 0xE8, 12, 4, 0, 0}, make([]byte, 12)...)
	report := append([]byte{0x20, 0, 0, 0x40, 8, 0, 0, 0}, make([]byte, 8)...)
	var levels []Level
	for e, err := range Read(bytes.NewReader(big(fd, report)), "odd") {
		if err != nil {
			t.Fatal(err)
		}
		if e.Text == "" || len(e.Data) == 0 {
			t.Errorf("nothing told of %+v", e)
		}
		levels = append(levels, e.Level)
	}
	if d := cmp.Diff([]Level{Trouble, Trouble}, levels); d != "" {
		t.Fatal(d)
	}
}

func TestReadRefuses(t *testing.T) {
	good := big(appendPacket(nil, can.Frame{ID: 0x123, Length: 2}))
	ethernet := bytes.Clone(good)
	ethernet[28+9] = 1 // link type 1
	for _, c := range []struct {
		name, text string
		b          []byte
	}{
		{"empty", "not a pcapng", nil},
		{"a text", "not a pcapng", []byte("can0 7E0#021902FF and more of it")},
		{"compressed", "not a pcapng", append([]byte{0x1F, 0x8B, 8}, make([]byte, 30)...)},
		{"cut off", "cut off", good[:len(good)-20]},
		{"another link type", "link type 227", ethernet},
		{"packet too short", "too short", big([]byte{0, 0, 7, 0xE8})},
		{"packet too long", "too long", big(make([]byte, 80))},
		{"fewer data than announced", "announces", big([]byte{0, 0, 7, 0xE8, 8, 0, 0, 0, 1})},
		{"12 bits in an 11-bit identifier", "11 bits", big([]byte{0, 0, 8, 0, 0, 0, 0, 0})},
	} {
		t.Run(c.name, func(t *testing.T) {
			var last error
			for _, err := range Read(bytes.NewReader(c.b), "bad.pcapng") {
				last = err
			}
			var f *FormatError
			if !errors.As(last, &f) || !strings.Contains(last.Error(), c.text) || !strings.Contains(last.Error(), "bad.pcapng") {
				t.Fatalf("error %v", last)
			}
		})
	}
	for _, err := range ReadFile(filepath.Join(t.TempDir(), "none")) {
		if !errors.Is(err, os.ErrNotExist) {
			t.Fatalf("error %v", err)
		}
	}
	for _, err := range ReadFile(t.TempDir()) {
		if err == nil {
			t.Fatal("a folder was read")
		}
	}
}

// Whatever the bytes are, reading ends, without a panic and as the library alone reads them.
func FuzzRead(f *testing.F) {
	f.Add(big(appendPacket(nil, can.Frame{ID: 0x7E8, Length: 8})))
	var out bytes.Buffer
	w, err := NewWriter(&out)
	if err != nil {
		f.Fatal(err)
	}
	if err := w.Write(Entry{At: time.Unix(1, 0), Level: Frame, Frames: []can.Frame{{ID: 1}}, Text: "a comment"}); err != nil {
		f.Fatal(err)
	}
	if err := w.Close(); err != nil {
		f.Fatal(err)
	}
	f.Add(out.Bytes())
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, e := range sameAsLibrary(t, b) {
			if e.Level == Frame && len(e.Frames) != 1 {
				t.Fatalf("a frame entry with %d frames", len(e.Frames))
			}
		}
	})
}

func BenchmarkWrite(b *testing.B) {
	w, err := NewWriter(io.Discard)
	if err != nil {
		b.Fatal(err)
	}
	e := Entry{At: time.Unix(1, 0), Level: Frame, Frames: []can.Frame{{ID: 0x7E8, Length: 8}}}
	b.ReportAllocs()
	for b.Loop() {
		if err := w.Write(e); err != nil {
			b.Fatal(err)
		}
	}
}
