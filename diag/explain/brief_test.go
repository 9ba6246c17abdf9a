package explain

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"strings"
	"testing"

	"readback/diag/link"
	"readback/testdata"
)

// What the short form says agrees with the long one, for frames of all kinds.
func TestSummaryAgreesWithTheExplanation(t *testing.T) {
	for _, o := range []Options{{}, van()} {
		for _, id := range []link.ID{link.ID11(0x7DF), link.ID11(0x7E5), link.ID11(0x7E2), link.ID11(0x7ED), link.ID11(0x7EA), link.ID11(0x123),
			link.ID29(0x18DA10F1), link.ID29(0x18DAF110), {}} {
			for first := range 256 {
				for _, rest := range []string{"", "22F190", "7F1422", "7F", "7F14", "5902FF0A801308", "14FFFFFF000000", "FF", "3E00"} {
					data := append([]byte{byte(first)}, unhex(rest)...)
					e, b := ExplainFrame(id, data, o), SummaryFrame(id, data, o)
					if b.Direction != e.Direction || b.Class != e.Class || b.Text == "" {
						t.Fatalf("%s % X: %+v, explained as %s %s", id, data, b, e.Direction, e.Class)
					}
					whole := ExplainMessage(link.Physical(id, id), data, o)
					if s := MessageSummary(link.Physical(id, id), data, o); s != whole.Summary {
						t.Fatalf("%s % X as a message: %q, explained as %q", id, data, s, whole.Summary)
					}
					c := Summary(link.Physical(id, id), data, o)
					if c.Direction != whole.Direction || c.Class != whole.Class || c.Text == "" {
						t.Fatalf("%s % X as a message: %+v, explained as %s %s", id, data, c, whole.Direction, whole.Class)
					}
				}
			}
		}
	}
}

func TestSummaryTexts(t *testing.T) {
	for _, c := range []struct {
		id   uint32
		data string
		want Brief
	}{
		{0x7E5, "0322F190", Brief{Request, 0x22, 0, Look, false, "Tell: vehicle identification number."}},
		{0x7E5, "03221234", Brief{Request, 0x22, 0, Change, false, "Tell a value."}},
		{0x7E5, "0522F190F187", Brief{Request, 0x22, 0, Look, false, "Tell a value."}},
		{0x7E5, "0414FFFFFF", Brief{Request, 0x14, 0, Change, false, "Forget stored trouble codes."}},
		{0x7E2, "023101", Brief{Request, 0x31, 0, Never, false, "Run a built-in job."}},
		{0x7ED, "0154", Brief{Answer, 0x14, 0, Never, false, "Done, codes are forgotten. This is no proof: read again."}},
		{0x7ED, "037F1478", Brief{Answer, 0x14, 0x78, Never, false, "Understood, needs a moment."}},
		{0x7ED, "037F1422", Brief{Answer, 0x14, 0x22, Never, false, "Refused: the car is not in the state it needs."}},
		{0x7ED, "027F14", Brief{Answer, 0x14, 0, Never, false, "A refusal cut short."}},
		{0x7ED, "10145902FF0A8013", Brief{Answer, 0x19, 0, Never, true, "Agreed: tell trouble codes."}},
		{0x7ED, "21085555", Brief{Answer, 0, 0, Never, true, "A later page of a long answer."}},
		{0x7E5, "300000", Brief{Flow, 0, 0, Never, false, "Go on: send the next pages."}},
		{0x7E5, "310000", Brief{Flow, 0, 0, Never, false, "Wait: do not send the next pages yet."}},
		{0x123, "0322F190", Brief{Other, 0, 0, Never, false, "A message of the running car, or one that can't be read."}},
		{0x7E5, "01BA", Brief{Request, 0xBA, 0, Never, false, "An unknown request."}},
		{0x7ED, "01FA", Brief{Answer, 0xBA, 0, Never, false, "An unknown answer."}},
	} {
		if got := SummaryFrame(link.ID11(c.id), unhex(c.data), van()); got != c.want {
			t.Errorf("%03X %s: %+v, want %+v", c.id, c.data, got, c.want)
		}
	}
}

func TestSummaryAllocatesNothing(t *testing.T) {
	o := van()
	answer := append(unhex("5902FF"), bytes.Repeat(unhex("0A801308"), 100)...)
	a := o.Modules[0].Address
	for _, frame := range recording() {
		if n := testing.AllocsPerRun(100, func() { SummaryFrame(frame.id, frame.data, o) }); n != 0 {
			t.Errorf("%s % X: %v allocations", frame.id, frame.data, n)
		}
	}
	for _, p := range [][]byte{answer, unhex("22F190"), unhex("7F1478"), unhex("2E12340102030405060708"), unhex("221234"), nil} {
		if n := testing.AllocsPerRun(100, func() { Summary(a, p, o) }); n != 0 {
			t.Errorf("% .8X: %v allocations", p, n)
		}
	}
}

type recorded struct {
	id   link.ID
	data []byte
}

// recording are frames as a visit has them: the running car, requests, answers in one frame and in several, flow control.
func recording() (out []recorded) {
	for _, f := range []struct {
		id   uint32
		data string
	}{
		{0x123, "8000FF0102030405"}, {0x2A0, "0102030405060708"}, {0x3E9, "FFFFFFFFFFFFFFFF"}, {0x7E5, "031902FFFFFFFFFF"},
		{0x7ED, "10145902FF0A8013"}, {0x7E5, "30000A5555555555"}, {0x7ED, "2108C14087090000"}, {0x7ED, "2200000000000000"},
		{0x7ED, "037F1978AAAAAAAA"}, {0x7DF, "02010C0000000000"}, {0x7E8, "04410C0B30000000"}, {0x7E5, "023E805555555555"},
	} {
		out = append(out, recorded{link.ID11(f.id), unhex(f.data)})
	}
	return out
}

func BenchmarkSummaryFrame(b *testing.B) {
	o, frames := van(), recording()
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		f := &frames[i%len(frames)]
		SummaryFrame(f.id, f.data, o)
	}
}

func BenchmarkExplainFrame(b *testing.B) {
	o, frames := van(), recording()
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		f := &frames[i%len(frames)]
		ExplainFrame(f.id, f.data, o)
	}
}

// The payloads of another library's tests.
func payloads(b testing.TB) (out [][]byte) {
	z, err := gzip.NewReader(bytes.NewReader(testdata.UDSExamples))
	if err != nil {
		b.Fatal(err)
	}
	for d := json.NewDecoder(z); d.More(); {
		var x struct{ Hex string }
		if err := d.Decode(&x); err != nil {
			b.Fatal(err)
		}
		out = append(out, unhex(strings.ToUpper(x.Hex)))
	}
	return out
}

func BenchmarkSummary(b *testing.B) {
	o, list := van(), payloads(b)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		Summary(o.Modules[0].Address, list[i%len(list)], o)
	}
}

func BenchmarkExplainMessage(b *testing.B) {
	o, list := van(), payloads(b)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		ExplainMessage(o.Modules[0].Address, list[i%len(list)], o)
	}
}

// The short forms take no memory, whatever a frame says: a recording has a million of them.
func TestSummariesTakeNothing(t *testing.T) {
	for _, o := range []Options{{}, van()} {
		for _, id := range []link.ID{link.ID11(0x7DF), link.ID11(0x7E5), link.ID11(0x7ED), link.ID11(0x123), link.ID29(0x18DA10F1), link.ID29(0x18DB33F1), link.ID29(0x18DAF110)} {
			a := link.Physical(id, id)
			for first := range 256 {
				b := byte(first)
				for _, data := range [][]byte{{1, b}, {2, b, 1}, {3, b, 0xF1, 0x90}, {4, b, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55}, {0x10, 20, b, 1, 2, 3, 4, 5}, {b}} {
					if n := testing.AllocsPerRun(1, func() { SummaryFrame(id, data, o); Summary(a, data[len(data)/2:], o) }); n != 0 {
						t.Fatalf("%s % X: %v allocations", id, data, n)
					}
				}
			}
		}
	}
}
