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

// TestSeparation: what is asked for is never shorter than what is wanted, and reads back.
func TestSeparation(t *testing.T) {
	us, ms := time.Microsecond, time.Millisecond
	for _, c := range []struct {
		d    time.Duration
		want byte
	}{
		{-ms, 0}, {0, 0}, {1, 0xF1}, {100 * us, 0xF1}, {101 * us, 0xF2}, {500 * us, 0xF5}, {900 * us, 0xF9},
		{901 * us, 0x01}, {ms, 0x01}, {ms + 1, 0x02}, {20 * ms, 0x14}, {127 * ms, 0x7F}, {126*ms + 1, 0x7F}, {time.Hour, 0x7F},
	} {
		if got := Separation(c.d); got != c.want {
			t.Errorf("%v: %02X, want %02X", c.d, got, c.want)
		}
	}
	for b := range 0x100 {
		d := SeparationTime(byte(b))
		if back := SeparationTime(Separation(d)); back != d {
			t.Errorf("%02X is %v, and is written as %v", b, d, back)
		}
	}
}

// TestPublishedAnswers: answers with a car's identification number, and the bytes that came after their ends.
func TestPublishedAnswers(t *testing.T) {
	for _, c := range []struct {
		source string
		frames []string
		vin    string
	}{
		{"ELM327 data sheet DSJ, page 42", []string{"1014490201314434", "2147503030523535", "2242313233343536"}, "1D4GP00R55B123456"},
		{"public question and answer 51202387", []string{"10144902014C4656", "2133423238523841", "2233303235333130"}, "LFV3B28R8A3025310"},
	} {
		r := NewReassembler(false, 4095)
		var got []byte
		for _, f := range c.frames {
			if s := r.Frame(unhex(t, f)); s.Event == Completed {
				got = s.Message
			}
		}
		if want := append([]byte{0x49, 0x02, 0x01}, c.vin...); !bytes.Equal(got, want) {
			t.Errorf("%s: got % X, want % X", c.source, got, want)
		}
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
		{"the longest length that needs no escape is ignored with one", []frame{{"100000000FFF0102", Ignored, nil}}},
		{"the shortest length that needs the escape counts", []frame{{"1000000010000102", TooLong, nil}}},
		{"a skipped frame breaks the message", []frame{{"1014490201314434", Began, nil}, {"2242313233343536", Broke, ErrWrongSequence}, {"2147503030523535", Ignored, nil}}},
		{"a repeated frame breaks the message", []frame{{"1014490201314434", Began, nil}, {"2147503030523535", Continued, nil}, {"2147503030523535", Broke, ErrWrongSequence}}},
		{"a single frame ends the message in progress", []frame{{"1014490201314434", Began, nil}, {"023E00", Completed, ErrUnexpected}}},
		{"a first frame ends the message in progress", []frame{{"1014490201314434", Began, nil}, {"1014490201314434", Began, ErrUnexpected}}},
		{"a message beyond the limit is refused", []frame{{"1FFF010203040506", TooLong, nil}}},
		{"a long message beyond the limit is refused", []frame{{"1000FFFFFFFF0102", TooLong, nil}}},
		{"flow control does not touch a reception", []frame{{"1014490201314434", Began, nil}, {"300000", Flow, nil}, {"2147503030523535", Continued, nil}, {"2242313233343536", Completed, nil}}},
		{"a flow control of two bytes is ignored", []frame{{"3000", Ignored, nil}}},
		{"nothing is ignored", []frame{{"", Ignored, nil}}},
		{"nine bytes are no classical frame", []frame{{"027E00000000000000", Ignored, nil}}},
		{"a short frame in the middle is ignored", []frame{{"1014490201314434", Began, nil}, {"21475030", Ignored, nil}, {"2147503030523535", Continued, nil}, {"2242313233343536", Completed, nil}}},
		{"a last frame that lacks bytes is ignored", []frame{{"1008490201314434", Began, nil}, {"2147", Ignored, nil}, {"214750", Completed, nil}}},
		{"a message too long ends the one in progress", []frame{{"1014490201314434", Began, nil}, {"1FFF010203040506", TooLong, ErrUnexpected}, {"2147503030523535", Ignored, nil}}},
		{"a malformed frame does not touch a reception", []frame{{"1014490201314434", Began, nil}, {"0014FFFF", Ignored, nil}, {"1005490201314434", Ignored, nil}, {"F000", Ignored, nil}, {"2147503030523535", Continued, nil}}},
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
		{"0104", "04", true},
		{"01", "", false},
		{"0414FFFF", "", false},
		{"0014FFFFFF555555", "", false},
		{"14FFFFFF55555555", "", false},
		{"0814FFFFFF555555", "", false},
		{"", "", false},
	} {
		got, ok := SinglePayload(unhex(t, c.data), false)
		if ok != c.ok || !bytes.Equal(got, unhex(t, c.want)) {
			t.Errorf("%s: % X, %v", c.data, got, ok)
		}
	}
}

// TestSequenceNumbersWrap: after F comes 0 (clause 9.6.4).
func TestSequenceNumbersWrap(t *testing.T) {
	frames, err := Segment(make([]byte, 6+7*33), Layout{})
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range frames {
		want := byte(0x20 | i%16)
		if i == 0 {
			want = 0x10
		}
		if f[0] != want {
			t.Errorf("frame %d begins with %02X, want %02X", i, f[0], want)
		}
	}
}

// TestFramesDoNotOverlap: growing one frame of a message leaves the next as it is.
func TestFramesDoNotOverlap(t *testing.T) {
	frames, err := Segment(make([]byte, 30), Layout{Short: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range frames {
		_ = append(f, 0xEE)
	}
	if frames[1][0] != 0x21 || frames[2][0] != 0x22 {
		t.Errorf("frames % X", frames)
	}
}

func TestFlowControlReadsBack(t *testing.T) {
	for _, l := range []Layout{{}, {Short: true}, {Extended: true, Address: 0x30}, {Extended: true, Address: 0x30, Short: true}} {
		for _, c := range []FlowControl{{}, {Wait, 0xFF, 0xF9}, {Overflow, 1, 2}, {Status: 0xF}} {
			got, ok := ParseFlowControl(c.Encode(l), l.Extended)
			if !ok || got != c {
				t.Errorf("%+v in %+v reads back as %+v, %v", c, l, got, ok)
			}
		}
	}
}

func TestSegmentRefuses(t *testing.T) {
	if _, err := Segment(nil, Layout{}); err == nil {
		t.Error("an empty message: no error")
	}
}

// FuzzReassemble: whatever arrives, a reassembler does not panic, never delivers more or less than was announced, and
// never holds a message that is complete.
func FuzzReassemble(f *testing.F) {
	f.Add([]byte("\x08\x10\x14\x49\x02\x01\x31\x44\x34\x08\x21\x47\x50\x30\x30\x52\x35\x35\x08\x22\x42\x31\x32\x33\x34\x35\x36"), false)
	f.Add([]byte("\x08\xf1\x10\x08\x49\x02\x01\x31\x44\x05\xf1\x21\x47\x50\x30"), true)
	f.Add([]byte("\x03\x02\x3e\x00"), true)
	f.Add([]byte("\x08\x10\x00\xff\xff\xff\xff\x01\x02"), false)
	f.Add([]byte("\x08\x10\x00\x00\x00\x10\x00\x01\x02\x03\x30\x00\x00"), false)
	f.Add([]byte("\x01\x00\x00\x09\x09"), false)
	f.Fuzz(func(t *testing.T, in []byte, extended bool) {
		const most = 5000
		r := NewReassembler(extended, most)
		want := 0
		for len(in) > 0 {
			n := min(int(in[0]%10), len(in)-1)
			data := in[1 : 1+n]
			s := r.Frame(data)
			in = in[1+n:]
			single, isSingle := SinglePayload(data, extended)
			switch s.Event {
			case Began:
				want = s.Want
			case Completed:
				if isSingle {
					want = len(single)
				}
				if len(s.Message) != want || want > most {
					t.Fatalf("a message of %d bytes, %d were announced", len(s.Message), want)
				}
			}
			if s.Cause != nil && (s.Got <= 0 || s.Got >= s.Of) {
				t.Fatalf("broken after %d of %d bytes", s.Got, s.Of)
			}
			if got, of, ok := r.Pending(); ok && (got >= of || of != want) {
				t.Fatalf("%d of %d bytes are still pending, %d were announced", got, of, want)
			}
		}
	})
}

// FuzzRoundTrip: a message laid out in any way comes back whole.
func FuzzRoundTrip(f *testing.F) {
	f.Add([]byte{0x3E, 0x00}, false, byte(0), byte(0x55), false)
	f.Add(bytes.Repeat([]byte{0x21}, 4096), true, byte(0xF1), byte(0), true)
	f.Fuzz(func(t *testing.T, payload []byte, extended bool, address, pad byte, short bool) {
		frames, err := Segment(payload, Layout{Extended: extended, Address: address, Pad: pad, Short: short})
		if err != nil {
			if len(payload) > 0 {
				t.Fatal(err)
			}
			return
		}
		r := NewReassembler(extended, len(payload))
		for i, f := range frames {
			s := r.Frame(f)
			if last := i == len(frames)-1; last != (s.Event == Completed) || last && !bytes.Equal(s.Message, payload) {
				t.Fatalf("frame %d of %d: %+v", i, len(frames), s)
			}
		}
	})
}

// Messages of one frame take no memory of their own each, and none of them shares a byte with another.
func TestReassembleShortAllocates(t *testing.T) {
	r := NewReassembler(false, 4095)
	f := unhex(t, "037F147855555555")
	if n := testing.AllocsPerRun(10_000, func() { r.Frame(f) }); n != 0 {
		t.Errorf("%v allocations a message", n)
	}
	var all [][]byte
	for i := range 1000 {
		all = append(all, append(r.Frame([]byte{3, byte(i), byte(i >> 8), 0xFF, 0}).Message, 0xEE))
	}
	for i, m := range all {
		if want := []byte{byte(i), byte(i >> 8), 0xFF, 0xEE}; !bytes.Equal(m, want) {
			t.Fatalf("message %d is % X", i, m)
		}
	}
}

func BenchmarkReassembleShort(b *testing.B) {
	r := NewReassembler(false, 4095)
	f := unhex(b, "037F147855555555")
	b.ReportAllocs()
	for b.Loop() {
		if s := r.Frame(f); s.Event != Completed {
			b.Fatal(s)
		}
	}
}

func BenchmarkSegment(b *testing.B) {
	data := unhex(b, "14FFFFFF")
	b.ReportAllocs()
	for b.Loop() {
		if f, err := Segment(data, Layout{Pad: 0x55}); err != nil || len(f) != 1 {
			b.Fatal(err)
		}
	}
}

// BenchmarkLong lays out and reassembles 4095 bytes.
func BenchmarkLong(b *testing.B) {
	data := make([]byte, 4095)
	r := NewReassembler(false, 4095)
	b.ReportAllocs()
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		frames, err := Segment(data, Layout{Pad: 0x55})
		if err != nil {
			b.Fatal(err)
		}
		var s Step
		for _, f := range frames {
			s = r.Frame(f)
		}
		if s.Event != Completed {
			b.Fatal(s)
		}
	}
}
