package heard

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/signal"
	"readback/diag/trace"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func entry(at time.Duration, text string) trace.Entry {
	var f can.Frame
	if err := f.UnmarshalString(text); err != nil {
		panic(err)
	}
	return trace.Entry{At: noon.Add(at), Direction: bus.In, Level: trace.Frame, ID: link.IDOf(f), Frames: []can.Frame{f}}
}

const ms = time.Millisecond

func TestRows(t *testing.T) {
	c := New(Options{})
	for _, e := range []trace.Entry{
		entry(0, "200#0011"), entry(10*ms, "18FEF100#01"), entry(10*ms, "100#AABBCC"), entry(20*ms, "200#0111"), entry(30*ms, "200#0111"),
		entry(60*ms, "200#011122"), {Level: trace.Message, At: noon, Data: []byte{1}}, entry(70*ms, "300#R2"),
	} {
		c.Add([]trace.Entry{e})
	}
	var got []string
	for i := range c.Len() {
		r := c.Row(i)
		got = append(got, fmt.Sprintf("%s %d %X %03b %03b %v %v %v %v", r.ID, r.Count, r.Data[:r.Length], r.Changed, r.Newly, r.Period, r.Jitter.Round(time.Microsecond), r.Shortest, r.Longest))
	}
	// Gaps of 200: 20, 10, 30 ms; their mean is 20 ms, their standard deviation the square root of 200/3.
	want := []string{
		"100 1 AABBCC 000 000 0s 0s 0s 0s",
		"200 4 011122 101 100 20ms 8.165ms 10ms 30ms",
		"300 1 0000 000 000 0s 0s 0s 0s",
		"18FEF100 1 01 000 000 0s 0s 0s 0s",
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("%s", strings.Join(got, "\n"))
	}
	if r := c.Row(1).Rate(); r != 50 {
		t.Errorf("%v frames a second", r)
	}
	if c.Frames() != 7 || c.Lasted() != 70*ms {
		t.Errorf("%d frames in %v", c.Frames(), c.Lasted())
	}
}

// The load is that of the exact lengths, whose own test compares them with canframelen.c of can-utils.
func TestLoad(t *testing.T) {
	c := New(Options{})
	bits := 0
	for i := range 3001 { // three seconds and a moment; the last one carries twice as much
		e := entry(time.Duration(i)*ms, fmt.Sprintf("100#%016X", i/7*0x0123456789AB))
		n := 1
		if i >= 2000 {
			n = 2
		}
		for range n {
			c.Add([]trace.Entry{e})
			bits += bus.FrameBits(e.Frames[0])
		}
	}
	now, mean := c.Load(500_000)
	if want := float64(bits) / 500_000 / c.Lasted().Seconds(); math.Abs(mean-want) > 1e-9 {
		t.Errorf("mean load %v, want %v", mean, want)
	}
	if ratio := now / mean; ratio < 1.45 || ratio > 1.55 { // 2 to the mean of 1, 1 and 2
		t.Errorf("load now %v, on the whole %v", now, mean)
	}
	if r := c.Row(0); r.Share != 1 {
		t.Errorf("share %v", r.Share)
	}
	// After a pause nothing of before counts as now.
	c.Add([]trace.Entry{entry(time.Minute, "100#00")})
	if now, _ := c.Load(500_000); now > 0.001 {
		t.Errorf("load after a pause %v", now)
	}
	if now, mean := c.Load(0); now != 0 || mean != 0 {
		t.Error("a load without a bit rate")
	}
}

// On a bus that is evenly busy the load of now is that of all the time, whenever one looks.
func TestLoadIsEven(t *testing.T) {
	c := New(Options{})
	for i := range 5000 {
		c.Add([]trace.Entry{entry(time.Duration(i)*ms, "100#0011223344556677")})
		if now, mean := c.Load(500_000); i > 1100 && math.Abs(now/mean-1) > 0.01 {
			t.Fatalf("after %d ms the load is %v, on the whole %v", i, now, mean)
		}
	}
}

func TestValues(t *testing.T) {
	f, err := signal.Read(strings.NewReader("BO_ 256 Motor: 2 X\n SG_ Speed : 0|8@1+ (0.5,0) [0|0] \"km/h\" X\nBA_ \"GenMsgCycleTime\" BO_ 256 20;\n"), "van.dbc")
	if err != nil {
		t.Fatal(err)
	}
	c := New(Options{Signals: f})
	c.Add([]trace.Entry{entry(0, "100#0A00"), entry(ms, "101#0A"), entry(2*ms, "100#0B00")})
	if r := c.Row(0); r.Name != "Motor" || r.Expected != 20*ms {
		t.Errorf("%+v", r)
	}
	if v := c.Values(nil, 0); len(v) != 1 || v[0].String() != "5.5 km/h" {
		t.Errorf("%v", v)
	}
	if v := c.Values(nil, 1); len(v) != 0 {
		t.Errorf("%v", v)
	}
}

// More identifiers than rows, and frames that are none, are counted.
func TestBounded(t *testing.T) {
	c := New(Options{})
	for i := range uint32(MaxRows + 10) {
		c.Add([]trace.Entry{{At: noon, Level: trace.Frame, Frames: []can.Frame{{ID: i, IsExtended: true, Length: 1}}}})
	}
	c.Add([]trace.Entry{{At: noon, Level: trace.Frame, Frames: []can.Frame{{ID: 1, Length: 9}}}})
	if c.Len() != MaxRows || c.Unlisted() != 11 || c.Frames() != MaxRows+10 {
		t.Errorf("%d rows, %d frames, %d without a row", c.Len(), c.Frames(), c.Unlisted())
	}
}

// Times before 1970, which a recording may hold when its own are beyond what 64 bits of nanoseconds tell.
func TestTimesBefore1970(t *testing.T) {
	for _, begin := range []time.Duration{-500 * ms, -50 * ms, -2 * time.Second, -time.Hour, math.MinInt64} {
		c := New(Options{})
		for i := range 30 {
			c.Add([]trace.Entry{{At: time.Unix(0, int64(begin)).Add(time.Duration(i) * 100 * ms), Level: trace.Frame, Frames: []can.Frame{{ID: 1, Length: 8}}}})
		}
		if now, mean := c.Load(500_000); c.Frames() != 30 || math.Abs(now-10*float64(c.bits)/30/500_000) > 1e-9 || mean <= 0 {
			t.Errorf("from %v: %d frames, load %v and %v", begin, c.Frames(), now, mean)
		}
	}
}

func FuzzAdd(f *testing.F) {
	f.Add([]byte("0123456789abcdef0123456789abcdef"), noon.UnixNano())
	f.Add([]byte("0123456789abcdef0123456789abcdef"), int64(-500_000_000))
	f.Fuzz(func(t *testing.T, script []byte, begin int64) {
		c := New(Options{})
		for ; len(script) >= 12; script = script[12:] {
			fr := can.Frame{ID: uint32(script[0]), Length: script[1] % 10, IsRemote: script[2]&1 != 0}
			copy(fr.Data[:], script[4:])
			at := time.Unix(0, begin).Add(time.Duration(int8(script[3])) * 100 * ms)
			c.Add([]trace.Entry{{At: at, Level: trace.Frame, Frames: []can.Frame{fr}}})
		}
		sum := 0
		for i := range c.Len() {
			r := c.Row(i)
			sum += r.Count
			if r.Shortest > r.Longest || r.Period < 0 || r.Share < 0 || r.Share > 1 {
				t.Fatalf("%+v", r)
			}
		}
		if sum != c.Frames() {
			t.Fatalf("%d frames in rows of %d", sum, c.Frames())
		}
		if now, mean := c.Load(500_000); now < 0 || mean < 0 {
			t.Fatal(now, mean)
		}
	})
}

// BenchmarkAdd takes in a million frames of 100 identifiers whose data change.
func BenchmarkAdd(b *testing.B) {
	all := make([]trace.Entry, 1_000_000)
	frames := make([]can.Frame, len(all))
	for i := range all {
		frames[i] = can.Frame{ID: uint32(0x100 + i%100), Length: 8, Data: can.Data{byte(i), byte(i >> 8), byte(i >> 16), 1, 2, 3, 4, 5}}
		all[i] = trace.Entry{At: noon.Add(time.Duration(i) * 250 * time.Microsecond), Level: trace.Frame, Frames: frames[i : i+1]}
	}
	b.ReportAllocs()
	for b.Loop() {
		c := New(Options{})
		c.Add(all)
		if c.Len() != 100 {
			b.Fatal(c.Len())
		}
	}
}
