package explain

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"readback/diag/dtc"
	"readback/diag/link"
)

func codesOf(e Explanation) []string {
	var out []string
	for _, f := range e.Findings {
		out = append(out, f.Code)
	}
	return out
}

func van() Options {
	at := func(request uint32) link.Address { return link.Physical(link.ID11(request), link.ID11(request+8)) }
	return Options{Modules: []Module{
		{Name: "Charging", Address: at(0x7E5), Codes: 2, Snapshots: 2, Now: 1, Protocol: "UDS", Held: []dtc.Code{dtc.From3(0x0A, 0x80, 0x13), dtc.From3(0xC1, 0x40, 0x87)}},
		{Name: "Body", Address: at(0x7E2), Codes: 0, Protocol: "KWP"},
		{Name: "Brakes", Address: at(0x7E1), Codes: 1, Now: 1, Safety: true},
	}, Heard: []link.ID{link.ID11(0x7ED), link.ID11(0x7EA)}}
}

// The worked example of this program: a clear of one module, byte by byte.
func TestTheWorkedExample(t *testing.T) {
	e := Explain("7E5  04 14 FF FF FF 55 55 55", van())
	want := []Field{
		{-1, 0, "7E5", "Who is asked", "The Charging module only. It answers at 7ED. Other modules ignore this.", srcIDs},
		{0, 1, "04", "How long", "One short message: the next 4 bytes count, the rest is filling.", srcSingle},
		{1, 2, "14", "What to do", "Forget stored trouble codes. If it agrees, the answer begins with 54 (14 + 40).", "ISO 14229-1, service 14"},
		{2, 5, "FF FF FF", "Which ones", "All groups: every code in this module, with its stored snapshots.", "ISO 14229-1, service 14"},
		{5, 8, "55 55 55", "Filling", "No meaning. It only makes the frame 8 bytes long.", srcSingle},
	}
	if !slices.Equal(e.Fields, want) {
		t.Errorf("fields\n%+v\nwant\n%+v", e.Fields, want)
	}
	if e.Class != Change || e.Direction != Request || e.Service != "14" || len(e.Findings) != 0 {
		t.Errorf("%s %s %s %v", e.Class, e.Direction, e.Service, e.Findings)
	}
	if e.Summary != "Ask the Charging module to forget every stored trouble code. It holds 2 codes. One of them is there now and will come back." {
		t.Errorf("summary %q", e.Summary)
	}
	if !slices.Equal(e.Cannot[:2], []string{"It repairs nothing.", "It changes no settings and no software."}) || len(e.Lost) == 0 || e.Lost[0] != "The 2 stored snapshots in that module." {
		t.Errorf("lost %q, cannot %q", e.Lost, e.Cannot)
	}
	if e.Source != "ISO 14229-1, service 14; ISO 15765-2, single frame; ISO 15765-4, identifiers." {
		t.Errorf("source %q", e.Source)
	}
	if e.Sure != sureClear {
		t.Errorf("sure %q", e.Sure)
	}
	if got := Explain("7E5 04 14 FF FF FF 55 55 55", Options{}).Fields[0].Text; got != "The module that listens at 7E5. It answers at 7ED. Other modules ignore this." {
		t.Errorf("an unknown module: %q", got)
	}
}

func TestWhatTheCarsRecordTells(t *testing.T) {
	for _, c := range []struct{ text, code string }{
		{"7E5 03 14 FF 00 55 55 55 55", "kwp-form"},
		{"7E2 04 14 FF FF FF 55 55 55", "kwp-form"},
		{"7E5 04 14 80 0A 13 55 55 55", "bytes-swapped"},
		{"7E5 04 14 0A 81 13 55 55 55", "code-not-held"},
		{"7E7 04 14 FF FF FF 55 55 55", "id-unknown"},
		{"7D5 04 14 FF FF FF 55 55 55", "id-not-for-requests"},
		{"7ED 04 14 FF FF FF 55 55 55", "heard-id"},
		{"7EA 04 14 FF FF FF 55 55 55", "heard-id"},
	} {
		e := Explain(c.text, van())
		i := slices.Index(codesOf(e), c.code)
		if i < 0 || e.Findings[i].Level == Note {
			t.Errorf("%s: %+v, want %s", c.text, e.Findings, c.code)
		}
	}
	for _, fine := range []string{"7E5 04 14 0A 80 13 55 55 55", "7E5 04 14 C1 40 87 55 55 55", "7E2 03 14 FF 00 55 55 55 55"} {
		for _, f := range Explain(fine, van()).Findings {
			if f.Level != Note {
				t.Errorf("%s: %+v", fine, f)
			}
		}
	}
}

func TestWhereAFindingPoints(t *testing.T) {
	for _, c := range []struct {
		text, code string
		at         int
	}{
		{"7E5 O4 14", "letter-for-digit", 4},
		{"„7E5“ 04 l4", "letter-for-digit", 9},
		{"7E5 0x03 0x14 0xFF 0xFF 0xFF", "length-small", 6},
		{"7E5\n04 04 14 FF FF FF 55 55", "length-doubled", 7},
		{"2015 02 01 0C", "id-decimal", 0},
		{"7DF 02 01 0C\n7E0 02 10 03", "two-requests", 13},
	} {
		e := Explain(c.text, Options{})
		i := slices.Index(codesOf(e), c.code)
		if i < 0 || e.Findings[i].At != c.at {
			t.Errorf("%q: %+v, want %s at %d", c.text, e.Findings, c.code, c.at)
		}
	}
}

func TestNearest(t *testing.T) {
	texts := func(s string, o Options) []string {
		var out []string
		last := 0
		for _, n := range Explain(s, o).Nearest {
			if n.Distance < last {
				t.Errorf("%s: not in order of distance", s)
			}
			last = n.Distance
			out = append(out, n.Text)
		}
		return out
	}
	for _, c := range []struct{ typed, near string }{
		{"7E5 03 19 02 FF 55 55 55 55", "7E5 03 14 02 FF 55 55 55 55"},
		{"7E5 02 10 03 55 55 55 55 55", "7E5 02 10 02 55 55 55 55 55"},
		{"7DF 01 03 00 00 00 00 00 00", "7DF 01 04 00 00 00 00 00 00"},
		{"7E5 14 FF FF FF 55 55 55 55", "7E5 04 14 FF FF FF 55 55 55"},
		{"7E5 04 04 14 FF FF FF 55 55", "7E5 04 14 FF FF FF 55 55 55"},
		{"7E5 04 41 FF FF FF 55 55 55", "7E5 04 14 FF FF FF 55 55 55"},
		{"7E5 O4 l4 FF FF FF 55 55 55", "7E5 04 14 FF FF FF 55 55 55"},
		{"7FD 02 3E 00 00 00 00 00 00", "7DF 02 3E 00 00 00 00 00 00"},
	} {
		if got := texts(c.typed, Options{}); !slices.Contains(got, c.near) {
			t.Errorf("%s: %q, want %s among them", c.typed, got, c.near)
		}
	}
	if got := texts("7E6 04 14 FF FF FF 55 55 55", van()); !slices.Contains(got, "7E5 04 14 FF FF FF 55 55 55") {
		t.Errorf("an unknown identifier: %q", got)
	}
	near := Explain("7E5 02 10 03 55 55 55 55 55", Options{}).Nearest
	classes := make([]int, 0, len(near))
	for _, n := range near {
		classes = append(classes, danger(Explain(n.Text, Options{}).Class))
	}
	if !slices.IsSortedFunc(classes, func(a, b int) int { return b - a }) {
		t.Errorf("the more dangerous come first: %v", classes)
	}
}

func TestCompare(t *testing.T) {
	a := "7E5 04 14 FF FF FF 55 55 55"
	for _, c := range []struct {
		b       string
		same    bool
		n       int
		summary string
	}{
		{"7E5#0414FFFFFF555555", true, 0, "the same, byte for byte"},
		{"7E5 04 14 FF FF FE 55 55 55", false, 1, "One digit differs: byte 5."},
		{"7E4 04 14 FF FF FF 55 55 55", false, 1, "One digit differs: the identifier."},
		{"7E5 04 14 FF FF FF 00 00 00", false, 3, "3 places differ."},
		{"7E5 04 14 FF FF FF", false, 3, "3 places differ."},
		{"7E5 03 19 02 FF 55 55 55 55", false, 4, "The second: Ask the module at 7E5 to tell its trouble codes."},
		{"7E5 O4", false, 0, "The second can't be read"},
	} {
		got := Compare(a, c.b, Options{})
		if got.Same != c.same || len(got.Differences) != c.n || !strings.Contains(got.Summary, c.summary) {
			t.Errorf("%s: %v, %d differences, %q", c.b, got.Same, len(got.Differences), got.Summary)
		}
		for _, d := range got.Differences {
			if d.Text == "" || d.A == d.B {
				t.Errorf("%s: %+v", c.b, d)
			}
		}
	}
	d := Compare(a, "7E5 04 14 FF FF FE 55 55 55", Options{}).Differences[0]
	if d.Byte != 4 || d.A != "FF" || d.B != "FE" || !strings.Contains(d.Text, "Which ones") {
		t.Errorf("%+v", d)
	}
}

// A pasted book is one clear finding, and the work is bounded.
func TestLongInput(t *testing.T) {
	for _, s := range []string{strings.Repeat("7E5 04 14 FF FF FF 55 55 55\n", 400_000), strings.Repeat("x", 10<<20), strings.Repeat("0", 10<<20), strings.Repeat("0x", 5<<20), strings.Repeat("\n", 1<<20)} {
		e := Explain(s, Options{})
		if e.Class != Never || e.Frame != nil || !slices.Contains(codesOf(e), "too-long") || len(e.Input) > 4*maxRunes || len(e.Findings) > maxRunes {
			t.Errorf("%.20q: %s, frame %v, %d findings", s, e.Class, e.Frame, len(e.Findings))
		}
	}
}

func TestTheDocument(t *testing.T) {
	check := func(e Explanation) {
		b, err := json.Marshal(e)
		if err != nil {
			t.Fatal(err)
		}
		var m map[string]json.RawMessage
		if err := json.Unmarshal(b, &m); err != nil {
			t.Fatal(err)
		}
		for _, k := range []string{"fields", "findings", "nearest"} {
			if !strings.HasPrefix(string(m[k]), "[") {
				t.Errorf("%s is %s, want a list", k, m[k])
			}
		}
		for _, k := range []string{"input", "frame", "direction", "service", "summary", "fields", "findings", "class", "reason", "words", "nearest"} {
			if _, ok := m[k]; !ok {
				t.Errorf("no %q", k)
			}
		}
	}
	check(Explain("7E5 04 14 FF FF FF 55 55 55", Options{}))
	check(Explain("nonsense", Options{}))
	check(ExplainFrame(link.ID11(0x7E5), nil, Options{}))
	check(ExplainFrame(link.ID11(0x7E5), make([]byte, 9), Options{}))
}

func TestFlowControl(t *testing.T) {
	// Separation times: 00-7F ms, F1-F9 hundreds of microseconds, the rest reserved (ISO 15765-2).
	for data, want := range map[string]string{"300000": "At least 0 ms", "30080A": "At least 10 ms", "3000F5": "At least 500 µs", "300080": "127 ms"} {
		e := ExplainFrame(link.ID11(0x7E5), unhex(data), Options{})
		if e.Direction != Flow || e.Class != Never || !strings.Contains(e.Fields[3].Text, want) {
			t.Errorf("%s: %s %s %+v", data, e.Direction, e.Class, e.Fields)
		}
		soundExplanation(t, data, e)
	}
}
