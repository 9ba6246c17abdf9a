package isotp

import (
	"bytes"
	"encoding/hex"
	"errors"
	"testing"
	"time"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestSeparationTime is the table of ISO 15765-2 clause 9.6.5.4; that reserved values count as 127 ms is from memory.
func TestSeparationTime(t *testing.T) {
	for _, c := range []struct {
		b    byte
		want time.Duration
	}{
		{0x00, 0}, {0x01, time.Millisecond}, {0x7F, 127 * time.Millisecond},
		{0x80, 127 * time.Millisecond}, {0xF0, 127 * time.Millisecond},
		{0xF1, 100 * time.Microsecond}, {0xF5, 500 * time.Microsecond}, {0xF9, 900 * time.Microsecond},
		{0xFA, 127 * time.Millisecond}, {0xFF, 127 * time.Millisecond},
	} {
		if got := SeparationTime(c.b); got != c.want {
			t.Errorf("%02X: %v, want %v", c.b, got, c.want)
		}
	}
}

// TestVINAnswer is a published exchange: the answer with VIN 1D4GP00R55B123456 of the ELM327 data sheet, page 42.
func TestVINAnswer(t *testing.T) {
	r := NewReassembler(false, 4095)
	var got []byte
	for _, f := range []string{"1014490201314434", "2147503030523535", "2242313233343536"} {
		if s := r.Frame(unhex(t, f)); s.Event == Completed {
			got = s.Message
		}
	}
	if want := append([]byte{0x49, 0x02, 0x01}, "1D4GP00R55B123456"...); !bytes.Equal(got, want) {
		t.Fatalf("got % X, want % X", got, want)
	}
}

func TestReassemblerFaults(t *testing.T) {
	type frame struct {
		data  string
		event Event
		cause error
	}
	for _, c := range []struct {
		name   string
		frames []frame
	}{
		{"a consecutive frame alone is ignored", []frame{{"2101020304050607", Ignored, nil}}},
		{"an empty single frame is ignored", []frame{{"0000000000000000", Ignored, nil}}},
		{"a single frame that counts more than it has is ignored", []frame{{"0514FFFF", Ignored, nil}}},
		{"a single frame cannot count eight", []frame{{"0814FFFFFF000000", Ignored, nil}}},
		{"a first frame that would fit into a single one is ignored", []frame{{"1007010203040506", Ignored, nil}}},
		{"a short first frame is ignored", []frame{{"10140102", Ignored, nil}}},
		{"an escaped length that needs no escape is ignored", []frame{{"10000000000F0102", Ignored, nil}}},
		{"a skipped frame breaks the message", []frame{{"1014490201314434", Began, nil}, {"2242313233343536", Broke, ErrWrongSequence}, {"2147503030523535", Ignored, nil}}},
		{"a repeated frame breaks the message", []frame{{"1014490201314434", Began, nil}, {"2147503030523535", Continued, nil}, {"2147503030523535", Broke, ErrWrongSequence}}},
		{"a single frame ends the message in progress", []frame{{"1014490201314434", Began, nil}, {"023E00", Completed, ErrUnexpected}}},
		{"a first frame ends the message in progress", []frame{{"1014490201314434", Began, nil}, {"1014490201314434", Began, ErrUnexpected}}},
		{"a message beyond the limit is refused", []frame{{"1FFF010203040506", TooLong, nil}}},
		{"a long message beyond the limit is refused", []frame{{"1000FFFFFFFF0102", TooLong, nil}}},
		{"flow control does not touch a reception", []frame{{"1014490201314434", Began, nil}, {"300000", Flow, nil}, {"2147503030523535", Continued, nil}, {"2242313233343536", Completed, nil}}},
		{"a flow control of two bytes is ignored", []frame{{"3000", Ignored, nil}}},
		{"nothing is ignored", []frame{{"", Ignored, nil}}},
		{"an unknown kind of frame is ignored", []frame{{"4001020304050607", Ignored, nil}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := NewReassembler(false, 4000)
			for _, f := range c.frames {
				s := r.Frame(unhex(t, f.data))
				if s.Event != f.event || !errors.Is(s.Cause, f.cause) {
					t.Fatalf("%s: event %d, cause %v; want %d, %v", f.data, s.Event, s.Cause, f.event, f.cause)
				}
			}
		})
	}
}

func TestSinglePayload(t *testing.T) {
	for _, c := range []struct {
		data, want string
		ok         bool
	}{
		{"0414FFFFFF555555", "14FFFFFF", true},
		{"023E00", "3E00", true},
		{"0414FFFF", "", false},
		{"0014FFFFFF555555", "", false},
		{"14FFFFFF55555555", "", false},
		{"0814FFFFFF555555", "", false},
		{"", "", false},
	} {
		got, ok := SinglePayload(unhex(t, c.data), false)
		if ok != c.ok || hex.EncodeToString(bytes.ToUpper(got)) != hex.EncodeToString(bytes.ToUpper(unhex(t, c.want))) {
			t.Errorf("%s: % X, %v", c.data, got, ok)
		}
	}
}

// FuzzReassemble: whatever arrives, a reassembler does not panic and never delivers more than was announced.
func FuzzReassemble(f *testing.F) {
	f.Add([]byte("\x08\x10\x14\x49\x02\x01\x31\x44\x34\x08\x21\x47\x50\x30\x30\x52\x35\x35"), false)
	f.Add([]byte("\x03\x02\x3e\x00"), true)
	f.Fuzz(func(t *testing.T, in []byte, extended bool) {
		r := NewReassembler(extended, 300)
		for len(in) > 0 {
			n := min(int(in[0]%10), len(in)-1)
			s := r.Frame(in[1 : 1+n])
			in = in[1+n:]
			if s.Event == Completed && len(s.Message) > 300 {
				t.Fatalf("a message of %d bytes", len(s.Message))
			}
			if got, want, ok := r.Pending(); ok && got >= want {
				t.Fatalf("%d of %d bytes are still pending", got, want)
			}
		}
	})
}

func BenchmarkShortMessage(b *testing.B) {
	r := NewReassembler(false, 4095)
	f := unhex(b, "037F147855555555")
	b.ReportAllocs()
	for b.Loop() {
		if s := r.Frame(f); s.Event != Completed {
			b.Fatal(s)
		}
	}
}
