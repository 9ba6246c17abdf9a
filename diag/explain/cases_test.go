package explain

import (
	"slices"
	"strings"
	"testing"

	"readback/testdata"
)

// Every line of the corpus: its class, and exactly these findings of level wrong or doubt (a frame shorter than 8 is
// looked at in kind 15 only).
func TestMistypedRequests(t *testing.T) {
	n := 0
	for i, line := range strings.Split(strings.TrimRight(testdata.ExplainCases, "\n"), "\n") {
		if strings.HasPrefix(line, "#") {
			continue
		}
		f := strings.Split(line, "\t")
		if len(f) != 5 {
			t.Fatalf("line %d has %d columns", i+1, len(f))
		}
		n++
		input := unescaped(f[1])
		e := Explain(input, Options{Wish: Wish(f[2])})
		var codes []string
		for _, x := range e.Findings {
			if x.Level != Note && (x.Code != "short-frame" || f[0] == "15") {
				codes = append(codes, x.Code)
			}
			if x.Text == "" || x.At >= len([]rune(input)) || x.At < -1 {
				t.Errorf("line %d: %q: finding %+v", i+1, input, x)
			}
		}
		slices.Sort(codes)
		got := strings.Join(codes, ",")
		if got == "" {
			got = "-"
		}
		if got != f[4] || string(e.Class) != f[3] {
			t.Errorf("line %d: %q: %s %s, want %s %s (%s)", i+1, input, e.Class, got, f[3], f[4], e.Summary)
		}
		soundExplanation(t, input, e)
	}
	if n < 300 {
		t.Errorf("only %d lines", n)
	}
}

// unescaped is an input of the corpus as it was typed.
func unescaped(s string) string { return strings.NewReplacer(`\n`, "\n", `\t`, "\t").Replace(s) }

// soundExplanation checks what holds for every explanation.
func soundExplanation(t *testing.T, input string, e Explanation) {
	t.Helper()
	if e.Summary == "" || e.Reason == "" || e.Fields == nil || e.Findings == nil || e.Nearest == nil {
		t.Errorf("%q: an empty part: %+v", input, e)
	}
	switch e.Class {
	case Look, Change, Workshop, Never:
	default:
		t.Errorf("%q: class %q", input, e.Class)
	}
	if e.Frame == nil {
		if e.Class != Never || e.Words != nil || len(e.Fields) != 0 {
			t.Errorf("%q: no frame, but class %s, words %v, %d fields", input, e.Class, e.Words, len(e.Fields))
		}
		return
	}
	if len(e.Fields) == 0 || e.Fields[0].From != -1 || e.Fields[0].To != 0 || e.Fields[0].Hex != e.Frame.IDText {
		t.Fatalf("%q: no field for the identifier: %+v", input, e.Fields)
	}
	at := 0
	for _, f := range e.Fields[1:] {
		if f.From != at || f.To <= f.From || f.To > len(e.Frame.Data) || f.Hex != hexOf(e.Frame.Data[f.From:f.To]) ||
			f.Name == "" || f.Text == "" || f.Source == "" {
			t.Errorf("%q: field %+v, want it at %d", input, f, at)
		}
		at = f.To
	}
	if at != len(e.Frame.Data) {
		t.Errorf("%q: fields end at %d of %d", input, at, len(e.Frame.Data))
	}
	if w := Words(e.Frame.ID, e.Frame.Data); e.Words == nil || *e.Words != w {
		t.Errorf("%q: words %v, want %v", input, e.Words, w)
	}
	for _, n := range e.Nearest {
		x := Explain(n.Text, Options{})
		if n.Distance < 1 || n.Summary == "" || x.Frame == nil || Canonical(x.Frame.ID, x.Frame.Data) == Canonical(e.Frame.ID, e.Frame.Data) {
			t.Errorf("%q: neighbour %+v", input, n)
		}
	}
	if len(e.Nearest) > maxNear {
		t.Errorf("%q: %d neighbours", input, len(e.Nearest))
	}
}
