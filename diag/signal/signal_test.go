package signal

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"readback/diag/link"
)

// van is an invented file with one of everything.
const van = `VERSION "1"
NS_ :
	CM_
	VAL_

BS_:
BU_: Drive Body
VAL_TABLE_ OnOff 0 "off" 1 "on" ;
BO_ 256 Motor: 8 Drive
 SG_ Speed : 7|16@0+ (0.1,0) [0|200] "km/h" Body
 SG_ Torque : 16|12@1- (0.5,-10) [-100|100] "Nm" Body
 SG_ Ready : 28|1@1+ (1,0) [0|1] "" Body
 SG_ Pages M : 32|4@1+ (1,0) [0|0] "" Body
 SG_ Cell m0 : 40|8@1+ (1,0) [0|0] "mV" Body
 SG_ Heat m1 : 40|8@1- (1,0) [0|0] "°C" Body
BO_ 2566844693 Wide: 4 Body
 SG_ Power : 0|32@1- (2,0) [0|0] "W" Body
CM_ BO_ 256 "What the motor does,
in two lines; and a \"word\".";
CM_ SG_ 256 Speed "Of the wheels";
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 10000;
BA_DEF_ BO_ "VFrameFormat" ENUM "StandardCAN","StandardCAN_FD";
BA_ "GenMsgCycleTime" BO_ 256 20;
BA_ "VFrameFormat" BO_ 2566844693 1;
VAL_ 256 Ready 1 "ready" 0 "not ready" ;
VAL_ 256 Heat -1 "frost" ;
SIG_VALTYPE_ 2566844693 Power : 1;
`

func load(t testing.TB, text string) *File { return parse(t, "van.dbc", []byte(text)) }

func TestRead(t *testing.T) {
	f := load(t, van)
	if len(f.Problems) != 0 || len(f.Messages) != 2 {
		t.Fatalf("problems %v, %d messages", f.Problems, len(f.Messages))
	}
	m, ok := f.Message(link.ID11(0x100))
	if !ok || m.Name != "Motor" || m.Sender != "Drive" || m.Cycle != 20*time.Millisecond || m.FD || m.Comment != "What the motor does,\nin two lines; and a \"word\"." {
		t.Errorf("message %+v", m)
	}
	if s, ok := m.Signal("Speed"); !ok || s.Comment != "Of the wheels" || s.Unit != "km/h" || s.Max != 200 {
		t.Errorf("signal %+v", s)
	}
	w, ok := f.Message(link.ID29(0x18FEF115))
	if !ok || !w.FD || !w.Signals[0].Float {
		t.Errorf("wide message %+v", w)
	}
	if _, ok := f.Message(link.ID29(0x100)); ok {
		t.Error("an identifier of 29 bits is taken for one of 11")
	}
}

// decode is what a file says of a data field; ok is false where it does not know the identifier.
func decode(f *File, id link.ID, data []byte) (values []Value, ok bool) {
	m, ok := f.Message(id)
	if !ok {
		return nil, false
	}
	return m.Append(nil, data), true
}

// The values are worked out by hand.
func TestDecode(t *testing.T) {
	f := load(t, van)
	for _, c := range []struct {
		data string
		want string
	}{
		// 04D2 = 1234; FFE = -2: -11; bit 28 set; page 0, 7F
		{"04D2FE1F007F0000", "Speed 123.4 km/h; Torque -11.0 Nm; Ready 1 (ready); Pages 0; Cell 127 mV"},
		{"04D2FE0F01FF0000", "Speed 123.4 km/h; Torque -11.0 Nm; Ready 0 (not ready); Pages 1; Heat -1 °C (frost)"},
		// A page that nothing belongs to; FFFF is above the range and stays what it is.
		{"FFFF000002FF0000", "Speed 6553.5 km/h!; Torque -10.0 Nm; Ready 0 (not ready); Pages 2"},
		// Cut short: what is not there is not told, nor guessed.
		{"04D2FE", "Speed 123.4 km/h; Torque not in this frame; Ready not in this frame; Pages not in this frame"},
		{"", "Speed not in this frame; Torque not in this frame; Ready not in this frame; Pages not in this frame"},
	} {
		var data []byte
		if _, err := fmt.Sscanf(c.data, "%x", &data); err != nil && c.data != "" {
			t.Fatal(err)
		}
		values, ok := decode(f, link.ID11(0x100), data)
		var got []string
		for _, v := range values {
			s := v.Signal.Name + " " + v.String()
			if v.Outside() {
				s += "!"
			}
			got = append(got, s)
		}
		if !ok || strings.Join(got, "; ") != c.want {
			t.Errorf("%s: %s, want %s", c.data, strings.Join(got, "; "), c.want)
		}
	}
	// 1.5 in IEEE 754 is 3FC00000.
	if v, _ := decode(f, link.ID29(0x18FEF115), []byte{0, 0, 0xC0, 0x3F}); len(v) != 1 || v[0].String() != "3 W" {
		t.Errorf("%v", v)
	}
	if _, ok := decode(f, link.ID11(0x101), nil); ok {
		t.Error("an unknown identifier was decoded")
	}
}

// binary16 of IEEE 754-2008: examples of its table of encodings.
func TestHalf(t *testing.T) {
	for bits, want := range map[uint16]string{0x3C00: "1", 0xC000: "-2", 0x7BFF: "65504", 0x0001: "5.960464477539063e-08", 0x0400: "6.103515625e-05",
		0x0000: "0", 0x7C00: "+Inf", 0xFC00: "-Inf", 0x7E00: "NaN", 0x3555: "0.333251953125"} {
		if got := fmt.Sprint(half(bits)); got != want {
			t.Errorf("%04X is %s, want %s", bits, got, want)
		}
	}
}

// One bad line costs that line alone, and the problem says where it is and what is wrong.
func TestProblems(t *testing.T) {
	for _, c := range []struct{ bad, want string }{
		{` SG_ Bad : 0|0@1+ (1,0) [0|0] "" X`, "line 16: SG_: the number of bits is 0"},
		{` SG_ Bad : 0|65@1+ (1,0) [0|0] "" X`, "65, which is not between 1 and 64"},
		{` SG_ Bad : 0|8@2+ (1,0) [0|0] "" X`, `"2+" stands where 0 or 1 and a sign should be`},
		{` SG_ Bad : 0|8@1+ (x,0) [0|0] "" X`, `"x" stands where the factor should be`},
		{` SG_ Bad : 0|8@1+ (NaN,0) [0|0] "" X`, `"NaN" stands where the factor`},
		{` SG_ Bad : 0|8@1+ (1,0) [0|0]`, "where a text in quotation marks should be"},
		{` SG_ Bad n0 : 0|8@1+ (1,0) [0|0] "" X`, `"n0" is neither M nor m`},
		{` SG_ Speed : 0|8@1+ (1,0) [0|0] "" X`, "there twice"},
		{` SG_ Bad : 60|8@1+ (1,0) [0|0] "" X`, "ends behind the 8 bytes of its message"},
		{` SG_ Bad : 511|8@1+ (1,0) [0|0] "" X`, "behind the longest data field"},
		{`BO_ 256 Again: 8 X`, "described twice"},
		{`BO_ 2048 High: 8 X`, "more than 11 bits"},
		{`BO_ 3758096384 High: 8 X`, "more than 29 bits"},
		{`BO_ 300 Long: 65 X`, "65, which is not between 0 and 64"},
		{`BO_ 300: 8 X`, `":" stands where a name should be`},
		{`CM_ BO_ 999 "x";`, "describes no message 3E7"},
		{`CM_ SG_ 256 Nobody "x";`, "no signal Nobody"},
		{`VAL_ 256 Speed 1 2 ;`, "where a text in quotation marks should be"},
		{`VAL_ 256 Speed Nowhere ;`, "no table Nowhere"},
		{`VAL_ 256 Nobody 1 "x" ;`, "no signal Nobody"},
		{`SIG_VALTYPE_ 256 Speed : 1;`, "has 16 bits"[:4]},
		{`SIG_VALTYPE_ 256 Torque : 1;`, "has 12 bits, not the 32"},
		{`SIG_VALTYPE_ 256 Torque : 3;`, "not between 0 and 2"},
		{`SG_MUL_VAL_ 256 Heat Pages 3-1;`, `"3-1" is not a range`},
		{`SG_MUL_VAL_ 256 Pages Pages 0-1;`, "selects itself"},
		{`CM_ "no end`, "a quotation mark has no partner"},
	} {
		if c.want == "has " { // a number of 16 bits may be a floating one, whatever its kind says
			if f := load(t, van+c.bad); len(f.Problems) != 0 {
				t.Errorf("%s: %v", c.bad, f.Problems)
			}
			continue
		}
		text := strings.Replace(van, "BO_ 2566844693", c.bad+"\nBO_ 2566844693", 1)
		f := load(t, text)
		var all []string
		for _, p := range f.Problems {
			all = append(all, p.String())
		}
		if !strings.Contains(strings.Join(all, "\n"), c.want) {
			t.Errorf("%s: problems %q, want %q", c.bad, all, c.want)
		}
		for _, id := range []link.ID{link.ID11(0x100), link.ID29(0x18FEF115)} {
			if m, ok := f.Message(id); !ok || len(m.Signals) == 0 {
				t.Errorf("%s: the message %s is lost", c.bad, id)
			}
		}
	}
}

// Windows-1252: 80 is the euro sign, B0 the degree sign, FC a letter with two dots.
func TestLetters(t *testing.T) {
	text := "BO_ 1 M: 8 X\n SG_ K\xFChl : 0|8@1+ (1,0) [0|0] \"\xB0C\x80\" X\n SG_ B : 8|8@1+ (1,0) [0|0] \"°\" X\n"
	f := load(t, text)
	if len(f.Problems) != 0 || f.Messages[0].Signals[0].Name != "Kühl" || f.Messages[0].Signals[0].Unit != "°C€" || f.Messages[0].Signals[1].Unit != "°" {
		t.Errorf("%+v %v", f.Messages, f.Problems)
	}
}

// Two switches that select each other would never be there.
func TestSwitchesInACircle(t *testing.T) {
	f := load(t, `BO_ 1 M: 8 X
 SG_ A m1M : 0|8@1+ (1,0) [0|0] "" X
 SG_ B m1M : 8|8@1+ (1,0) [0|0] "" X
SG_MUL_VAL_ 1 A B 1-1;
SG_MUL_VAL_ 1 B A 1-1;
`)
	if len(f.Problems) != 1 || !strings.Contains(f.Problems[0].Text, "selects itself") {
		t.Errorf("%v", f.Problems)
	}
	if v, _ := decode(f, link.ID11(1), []byte{1, 1, 0, 0, 0, 0, 0, 0}); len(v) == 0 {
		t.Error("nothing is shown")
	}
}

func TestLimits(t *testing.T) {
	var many strings.Builder
	for i := range 300 {
		fmt.Fprintf(&many, "BO_ %d M: 99 X\n", i)
	}
	if f := load(t, "garbage here\n"+van); len(f.Problems) != 1 || f.Problems[0].String() != `line 1: "garbage" begins no statement` || len(f.Messages) != 2 {
		t.Errorf("problems %v", f.Problems)
	}
	if f := load(t, many.String()); len(f.Problems) != MaxProblems {
		t.Errorf("%d problems", len(f.Problems))
	}
	for _, c := range []struct{ name, text string }{
		{"empty", ""}, {"a text", "Dear all,\nthis is no such file.\n"}, {"binary", "\x0A\x0D\x0D\x0A\x00\x01"},
		{"too large", strings.Repeat("BO_ 1 M: 8 X\n", MaxFileSize/13+1)},
	} {
		var fe *FormatError
		if _, err := Read(strings.NewReader(c.text), c.name); !errors.As(err, &fe) || !strings.Contains(err.Error(), c.name) {
			t.Errorf("%s: error %v", c.name, err)
		}
	}
	if _, err := ReadFile(filepath.Join(t.TempDir(), "none.dbc")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("error %v", err)
	}
	if _, err := ReadFile(t.TempDir()); err == nil {
		t.Error("a folder was read")
	}
}

// lines is a definition file that never ends, and counts what is taken of it.
type lines struct{ taken int }

func (l *lines) Read(p []byte) (int, error) {
	const line = "BO_ 1 M: 8 X\n"
	n := 0
	for n < len(p) {
		n += copy(p[n:], line[(l.taken+n)%len(line):])
	}
	l.taken += n
	return n, nil
}

// TestEndlessFile: a file without an end is refused, and not taken into memory first.
func TestEndlessFile(t *testing.T) {
	var fe *FormatError
	var in lines
	if _, err := Read(&in, "endless.dbc"); !errors.As(err, &fe) || !strings.Contains(err.Error(), "16777216 bytes") {
		t.Errorf("error %v", err)
	}
	if in.taken > MaxFileSize+1<<20 {
		t.Errorf("%d bytes were taken", in.taken)
	}
}

// TestManySignals: what is beyond the most that a file may describe is left out and said, in all and in one message.
func TestManySignals(t *testing.T) {
	var many strings.Builder
	const each = 1000
	for m := range MaxSignals/each + 1 {
		fmt.Fprintf(&many, "BO_ %d M: 8 X\n", m)
		for s := range each {
			fmt.Fprintf(&many, " SG_ S%d : 0|1@1+ (1,0) [0|0] \"\" X\n", s)
		}
	}
	f := load(t, many.String())
	n := 0
	for _, m := range f.Messages {
		n += len(m.Signals)
	}
	if n != MaxSignals || len(f.Problems) == 0 || !strings.Contains(f.Problems[0].Text, "more than") {
		t.Errorf("%d signals, problems %v", n, f.Problems)
	}
	many.Reset()
	many.WriteString("BO_ 1 M: 8 X\n")
	for s := range maxInMessage + 1 {
		fmt.Fprintf(&many, " SG_ S%d : 0|1@1+ (1,0) [0|0] \"\" X\n", s)
	}
	if f := load(t, many.String()); len(f.Messages[0].Signals) != maxInMessage || len(f.Problems) != 1 {
		t.Errorf("%d signals in one message, problems %v", len(f.Messages[0].Signals), f.Problems)
	}
}

// Whatever the bytes are, reading ends; what was read can decode any frame.
func FuzzParse(f *testing.F) {
	f.Add([]byte(van))
	for _, text := range files(f) {
		if len(text) < 4096 {
			f.Add(text)
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		d, err := Read(bytes.NewReader(text), "fuzz")
		if err != nil {
			return
		}
		if len(d.Problems) > MaxProblems {
			t.Fatalf("%d problems", len(d.Problems))
		}
		data := bytes.Repeat([]byte{0xA5}, 64)
		for i := range d.Messages {
			for _, n := range []int{0, 1, 8, 64} {
				for _, v := range d.Messages[i].Append(nil, data[:n]) {
					_ = v.String()
				}
			}
		}
	})
}

// A signal is decoded from any bytes as a walk over single bits decodes it.
func FuzzDecode(f *testing.F) {
	f.Add(uint16(7), uint8(16), true, false, []byte{4, 0xD2})
	f.Add(uint16(3), uint8(64), false, true, []byte{1, 2, 3, 4, 5, 6, 7, 8, 9})
	f.Fuzz(func(t *testing.T, start uint16, bits uint8, big, signed bool, data []byte) {
		s := Signal{Start: int(start) % 512, Bits: int(bits)%64 + 1, BigEndian: big, Signed: signed, Factor: 1, whole: true}
		data = data[:min(len(data), maxLength)]
		want, fits := uint64(0), true
		at := s.Start
		for i := range s.Bits {
			if at/8 >= len(data) {
				fits = false
				break
			}
			b := uint64(data[at/8] >> (at % 8) & 1)
			if !big {
				want |= b << i
				at++
				continue
			}
			want = want<<1 | b
			if at--; at%8 == 7 || at < 0 {
				at += 16
			}
		}
		got, ok := s.raw(data)
		if ok != fits || ok && got != want {
			t.Fatalf("%+v in %X: %X, %v; bit by bit %X, %v", s, data, got, ok, want, fits)
		}
		if v := s.value(got, ok); ok && signed && v.Digits() != fmt.Sprint(s.signed(got)) {
			t.Fatalf("%+v in %X is shown as %s", s, data, v.Digits())
		}
	})
}

func BenchmarkRead(b *testing.B) {
	text := files(b)["vehicle.dbc"]
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if _, err := Read(bytes.NewReader(text), "vehicle.dbc"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	m, _ := load(b, van).Message(link.ID11(0x100))
	data := []byte{0x04, 0xD2, 0xFE, 0x1F, 0, 0x7F, 0, 0}
	var out []Value
	b.ReportAllocs()
	for b.Loop() {
		out = m.Append(out[:0], data)
	}
	if len(out) != 5 {
		b.Fatal(out)
	}
}
