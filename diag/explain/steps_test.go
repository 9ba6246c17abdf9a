package explain

import (
	"slices"
	"strings"
	"testing"

	"readback/diag/link"
)

func TestSteps(t *testing.T) {
	for _, c := range []struct {
		text  string
		class Class
		wrong bool
		steps []Step
	}{
		{"ATSH7E5\n0322F190\n031902FF", Look, true, []Step{
			{Text: "7E5 03 22 F1 90", Direction: Request, Class: Look, Taken: true}, {Text: "7E5 03 19 02 FF", Direction: Request, Class: Look}}},
		{"ATSH7E5\n1003\nATSH7E2\n14FFFFFF", Never, true, []Step{
			{Text: "7E5 10 03", Direction: Request, Class: Change, Taken: true}, {Text: "7E2 14 FF FF FF", Direction: Request, Class: Change}}},
		{"7E5 03 19 02 FF 55 55 55 55\n7E5 02 10 02 55 55 55 55 55", Never, true, []Step{
			{Text: "7E5 03 19 02 FF 55 55 55 55", Direction: Request, Class: Look, Taken: true}, {Text: "7E5 02 10 02 55 55 55 55 55", Direction: Request, Class: Never}}},
		{"7E5 03 19 02 FF 55 55 55 55\n7E5 10 02 55 55 55 55 55 55", Never, true, []Step{
			{Text: "7E5 03 19 02 FF 55 55 55 55", Direction: Request, Class: Look, Taken: true}, {Text: "7E5 10 02 55 55 55 55 55 55", Direction: Request, Class: Never}}},
		{"7E5 03 19 02 FF 55 55 55 55\n123 10 20", Never, true, []Step{
			{Text: "7E5 03 19 02 FF 55 55 55 55", Direction: Request, Class: Look, Taken: true}, {Text: "123 10 20", Direction: Other, Class: Never}}},
		{"7ED 01 54\n7E5 04 14 FF FF FF 55 55 55\n7ED 03 7F 14 78", Change, false, []Step{
			{Text: "7ED 01 54", Direction: Answer, Class: Never}, {Text: "7E5 04 14 FF FF FF 55 55 55", Direction: Request, Class: Change, Taken: true},
			{Text: "7ED 03 7F 14 78", Direction: Answer, Class: Never}}},
	} {
		e := Explain(c.text, Options{})
		got := slices.Clone(e.Steps)
		for i := range got {
			if got[i].Summary == "" || got[i].Reason == "" || got[i].At < 0 {
				t.Errorf("%q: step %+v", c.text, got[i])
			}
			got[i].Summary, got[i].Reason, got[i].At, got[i].request = "", "", 0, false
		}
		if e.Class != c.class || e.Wrong() != c.wrong || !slices.Equal(got, c.steps) {
			t.Errorf("%q: %s %v\n%+v\nwant %s\n%+v", c.text, e.Class, codesOf(e), got, c.class, c.steps)
		}
	}
	if e := Explain("7E5 03 22 F1 90 55 55 55 55", Options{}); e.Steps != nil {
		t.Errorf("one frame has steps: %+v", e.Steps)
	}
}

// A long answer that was pasted frame by frame is read as the one message that it is (the VIN is a published sample of
// 49 CFR 565 check digits).
func TestAnAnswerInParts(t *testing.T) {
	e := Explain("7ED 10 14 62 F1 90 31 4D 38\n7ED 21 47 44 4D 39 41 58 4B\n7ED 22 50 30 34 32 37 38 38", Options{})
	i := slices.Index(codesOf(e), "answers-among")
	if i < 0 || !strings.Contains(e.Findings[i].Text, "1M8GDM9AXKP042788") || e.Class != Never {
		t.Errorf("%s %+v", e.Class, e.Findings)
	}
}

func TestManySteps(t *testing.T) {
	e := Explain(strings.Repeat("7E5 03 22 F1 90 55 55 55 55\n", 500), Options{})
	if len(e.Steps) != maxSteps || e.Class != Never || !slices.Contains(codesOf(e), "two-requests") {
		t.Errorf("%d steps, %s, %v", len(e.Steps), e.Class, codesOf(e))
	}
}

func TestTakenOutOfAText(t *testing.T) {
	text := "Hallo, bei mir half 7e5 04 14 ff ff ff 55 55 55 de facto.\nDanach ID: 7E2 DATA: 03 19 02 FF und gut."
	e := Explain(text, Options{})
	if e.Frame == nil || Canonical(e.Frame.ID, e.Frame.Data) != "7E5#0414FFFFFF555555" {
		t.Fatalf("%+v", e.Frame)
	}
	if e.Cleaned.Text != "7E5 04 14 FF FF FF 55 55 55\n7E2 03 19 02 FF" {
		t.Errorf("%q", e.Cleaned.Text)
	}
	if len(e.Steps) != 2 || !e.Steps[0].Taken || e.Steps[0].At != 20 || e.Steps[1].At != 69 {
		t.Errorf("%+v", e.Steps)
	}
	s := e.Cleaned.Segments
	if s[0] != (Segment{From: 20, To: 23, Step: 0, Byte: -1, Hex: "7E5"}) || s[2] != (Segment{From: 27, To: 29, Step: 0, Byte: 1, Hex: "14"}) || s[9].Step != 1 {
		t.Errorf("%+v", s)
	}
}

// The place of a finding among the bytes, and -1 where it is about none of them.
func TestTheByteOfAFinding(t *testing.T) {
	for _, c := range []struct {
		text, code string
		at, byte   int
	}{
		{"7E5 0x03 0x14 0xFF 0xFF 0xFF", "length-small", 6, 0},
		{"7E50414FFFFFE555655", "filler-mixed", 13, 5},
		{"7E5 03 91 02 FF 55 55 55 55", "service-unknown", 7, 1},
		{"7E5 02 10 83 55 55 55 55 55", "no-answer-wanted", 10, 2},
		{"7E8 02 10 03 55 55 55 55 55", "answer-id", 0, -1},
		{"18 DA 10 F2 02 10 03 55 55 55 55 55", "id-missing", 0, 0},
		{"ATSH7E5\n14FFFFFF", "length-missing", 8, 0},
		{"hello", "no-request", -1, -1},
	} {
		e := Explain(c.text, Options{})
		i := slices.Index(codesOf(e), c.code)
		if i < 0 || e.Findings[i].At != c.at || e.Findings[i].Byte != c.byte {
			t.Errorf("%q: %+v, want %s at %d, byte %d", c.text, e.Findings, c.code, c.at, c.byte)
		}
	}
}

// Neighbours are offered where something speaks for a slip, not where a request is only unwise or incomplete.
func TestWhenNeighboursAreOffered(t *testing.T) {
	for text, want := range map[string]bool{
		"7E5 04 14 FF FF FF 55 55 55":            false,
		"7E5 04 14 FF FF FF":                     false,
		"7DF 04 14 FF FF FF 00 00 00":            false,
		"then send 7E5 04 14 FF FF FF 55 55 55":  false,
		"ID: 7E5 DLC: 8 04 14 FF FF FF 55 55 55": false,
		"7E5 03 91 02 FF 55 55 55 55":            true,
		"7E5 03 22 1F 90 55 55 55 55":            true,
		"7E5 03 22 F1 9O 55 55 55 55":            true,
		"7FD 02 01 0C 00 00 00 00 00":            true,
		"7E5 04 14 FF FE FF 55 55 55":            true,
	} {
		if e := Explain(text, Options{}); e.Slipped() != want {
			t.Errorf("%s: %v, want %v: %+v", text, e.Slipped(), want, e.Findings)
		}
	}
}

func TestWhatTheModuleSpeaks(t *testing.T) {
	o := van()
	o.Filler = []byte{0xAA}
	o.Modules = append(o.Modules, Module{Name: "Motor", Address: link.Physical(link.ID11(0x7E0), link.ID11(0x7E8)), Protocol: "OBD"})
	for _, c := range []struct{ text, code, fix string }{
		{"7E5 04 18 02 FF 00 AA AA AA", "kwp-form", "19 02 FF"},
		{"7E5 02 1A 90 AA AA AA AA AA", "kwp-form", "22 F1 90"},
		{"7E5 01 13 AA AA AA AA AA AA", "kwp-form", "19 02 FF"},
		{"7E2 03 19 02 FF AA AA AA AA", "kwp-form", "18 02 FF 00"},
		{"7E0 03 19 02 FF AA AA AA AA", "not-offered", "03"},
		{"7E5 06 19 04 80 0A 13 FF AA", "bytes-swapped", "0A 80 13"},
		{"7E5 06 19 06 0A 81 13 FF AA", "code-not-held", "P0A80-13"},
		{"7E5 03 19 02 FF 55 55 55 55", "filler-unlike", "words"},
		{"7E5 03 19 02 FF", "short-frame", "AA"},
	} {
		e := Explain(c.text, o)
		i := slices.Index(codesOf(e), c.code)
		if i < 0 || !strings.Contains(e.Findings[i].Fix, c.fix) {
			t.Errorf("%s: %+v, want %s with %s", c.text, e.Findings, c.code, c.fix)
		}
	}
	for _, fine := range []string{"7E5 03 19 02 FF AA AA AA AA", "7E2 04 18 02 FF 00 AA AA AA", "7E0 01 03 AA AA AA AA AA AA", "7E5 06 19 04 0A 80 13 FF AA"} {
		if e := Explain(fine, o); len(e.Findings) > 0 {
			t.Errorf("%s: %+v", fine, e.Findings)
		}
	}
}

// TestFillerOfTheModule: what the module that is asked fills up with counts, not what others of the car do. Common practice,
// no source.
func TestFillerOfTheModule(t *testing.T) {
	o := van()
	o.Filler = []byte{0xAA, 0x55}
	i := slices.IndexFunc(o.Modules, func(m Module) bool { return m.Address.Request == link.ID11(0x7E5) })
	o.Modules[i].Filler = []byte{0x00}
	for _, c := range []struct{ text, code, says string }{
		{"7E5 03 19 02 FF 00 00 00 00", "", ""},
		{"7E5 03 19 02 FF AA AA AA AA", "filler-unlike", "The filling is AA. The Charging module fills up with 00."},
		{"7E5 03 19 02 FF", "short-frame", "00, which the Charging module uses"},
		{"7E2 04 18 02 FF 00 AA AA AA", "", ""},
		{"7E2 04 18 02 FF 00 CC CC CC", "filler-unlike", "This car fills up with AA."},
	} {
		e := Explain(c.text, o)
		at := slices.Index(codesOf(e), c.code)
		switch {
		case c.code == "" && len(e.Findings) > 0:
			t.Errorf("%s: %+v", c.text, e.Findings)
		case c.code != "" && (at < 0 || !strings.Contains(e.Findings[at].Text+" "+e.Findings[at].Fix, c.says)):
			t.Errorf("%s: %+v, want %s with %q", c.text, e.Findings, c.code, c.says)
		}
	}
}

// soundComparison: the rows pair every byte of both frames once and in order, and the differences are the rows that differ.
func soundComparison(t *testing.T, c Comparison) {
	t.Helper()
	if c.A.Frame == nil || c.B.Frame == nil {
		return
	}
	a, b, n := -1, -1, 0
	for _, r := range c.Rows {
		if r.A != Gap {
			if r.A != a {
				t.Fatalf("rows %+v", c.Rows)
			}
			a++
		}
		if r.B != Gap {
			if r.B != b {
				t.Fatalf("rows %+v", c.Rows)
			}
			b++
		}
		if r.Same {
			continue
		}
		d := c.Differences[n]
		n++
		if x := rowText(c.A.Frame, r.A); d.A != x || d.A != "" && d.Byte != r.A {
			t.Errorf("%+v in row %+v", d, r)
		}
		if x := rowText(c.B.Frame, r.B); d.B != x || d.B != "" && d.Byte+d.Shift != r.B {
			t.Errorf("%+v in row %+v", d, r)
		}
		if d.Text == "" || d.Kind == "" || d.A == d.B {
			t.Errorf("%+v", d)
		}
	}
	if a != len(c.A.Frame.Data) || b != len(c.B.Frame.Data) || n != len(c.Differences) || c.Same != (n == 0) {
		t.Errorf("%d and %d bytes, %d differences in %+v", a, b, n, c)
	}
}

func TestAlignment(t *testing.T) {
	a := "7E5 04 14 FF FF FF 55 55 55"
	for _, c := range []struct {
		b    string
		want []Difference
		says string
	}{
		{"7E5 04 04 14 FF FF FF 55 55", []Difference{{Byte: 1, Shift: 0, B: "04"}, {Byte: 7, A: "55"}}, "refused"},
		{"7E5 14 FF FF FF 55 55 55 55", []Difference{{Byte: 0, A: "04"}, {Byte: 8, Shift: -1, B: "55"}}, "refused"},
		{"7E5 04 14 FF FF FF AA AA AA", []Difference{{Byte: 5, A: "55", B: "AA"}, {Byte: 6, A: "55", B: "AA"}, {Byte: 7, A: "55", B: "AA"}}, "only the filling"},
		{"7E5 04 14 FF FF FF", []Difference{{Byte: 5, A: "55"}, {Byte: 6, A: "55"}, {Byte: 7, A: "55"}}, "only the filling"},
		{"7E5 04 34 FF FF FF 55 55 55", []Difference{{Byte: 1, A: "14", B: "34"}}, "the second is refused"},
	} {
		got := Compare(a, c.b, Options{})
		soundComparison(t, got)
		var d []Difference
		for _, x := range got.Differences {
			x.Text, x.Kind = "", ""
			if x.B == "" {
				x.Shift = 0 // there is no place in the second
			}
			d = append(d, x)
		}
		if !slices.Equal(d, c.want) || !strings.Contains(got.Summary, c.says) {
			t.Errorf("%s: %+v\nwant %+v\n%s", c.b, d, c.want, got.Summary)
		}
	}
}
