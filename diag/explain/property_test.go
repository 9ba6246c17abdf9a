package explain

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"readback/diag/link"
	"readback/testdata"
)

// soundCleaning: what was read stands in the input digit by digit, and reading frames again changes nothing.
func soundCleaning(t *testing.T, input string, e Explanation) {
	t.Helper()
	if e.Cleaned == nil {
		return
	}
	runes := []rune(e.Input)
	for _, s := range e.Cleaned.Segments {
		if s.From < 0 || s.To > len(runes) || s.From >= s.To {
			t.Fatalf("%q: segment %+v of %d runes", input, s, len(runes))
		}
		if s.Byte == Gap {
			if s.Hex != "" {
				t.Errorf("%q: %+v", input, s)
			}
			continue
		}
		typed := strings.ToUpper(strings.Map(func(r rune) rune {
			if isHex(r) {
				return r
			}
			return -1
		}, strings.NewReplacer("0x", "", "0X", "").Replace(string(runes[s.From:s.To])))) // of an identifier in parts
		if s.Byte >= 0 && typed != s.Hex || s.Byte < 0 && !strings.HasSuffix(s.Hex, strings.TrimPrefix(typed, "0")) && !strings.Contains(typed, s.Hex) {
			t.Errorf("%q: %q was read as %s", input, string(runes[s.From:s.To]), s.Hex)
		}
	}
	named := map[int]bool{}
	for _, s := range e.Cleaned.Segments {
		named[s.Step] = named[s.Step] || s.Byte == -1
	}
	for _, has := range named {
		if !has {
			return // bytes without an identifier are no frame, and may be read as one when they are parted otherwise
		}
	}
	again := Explain(e.Cleaned.Text, Options{})
	if again.Cleaned == nil || again.Cleaned.Text != e.Cleaned.Text {
		t.Errorf("%q: read as %q, and that as %+v", input, e.Cleaned.Text, again.Cleaned)
	}
	if e.Frame != nil && len(e.Steps) == 0 && (again.Frame == nil || Canonical(again.Frame.ID, again.Frame.Data) != Canonical(e.Frame.ID, e.Frame.Data)) {
		t.Errorf("%q: read as %q, which is another frame", input, e.Cleaned.Text)
	}
}

func TestCleaningTwiceChangesNothing(t *testing.T) {
	for _, line := range strings.Split(testdata.ExplainCases, "\n") {
		if f := strings.Split(line, "\t"); len(f) == 5 {
			soundCleaning(t, f[1], Explain(unescaped(f[1]), Options{}))
		}
	}
}

// Requests as instructions for owners have them, of the three standards.
var usualRequests = []string{
	"7E5 04 14 FF FF FF 55 55 55", "7E5 03 19 02 FF 55 55 55 55", "7E5 03 22 F1 90 55 55 55 55", "7DF 02 01 0C 00 00 00 00 00", "7DF 01 03 00 00 00 00 00 00",
	"7DF 01 04 00 00 00 00 00 00", "7E5 02 10 03 55 55 55 55 55", "7E5 02 3E 00 55 55 55 55 55", "7E5 03 14 FF 00 55 55 55 55", "7E5 02 1A 90 55 55 55 55 55",
	"7E5 04 18 02 FF 00 55 55 55", "7DF 02 09 02 00 00 00 00 00", "18DA10F1 03 22 F1 87 00 00 00 00", "18DB33F1 01 07 AA AA AA AA AA AA", "7E5 02 85 01 55 55 55 55 55",
}

// Every request that one slip in the digits makes of a usual one: its words are others, its fields cover it, and either
// it can't be read as a request, or it says what it does; and where it is none that goes out, the usual one is found
// again among the neighbours.
// Under the race detector a sample of them is enough: nothing here runs side by side.
func TestEverySlipOfAUsualRequest(t *testing.T) {
	slipped, lost, unnamed := 0, 0, 0
	for _, text := range usualRequests {
		e := Explain(text, Options{})
		if e.Wrong() || !usual(split(e.Frame.Data, 0).payload, whoIs(e.Frame.ID, e.Frame.Data, Options{}), &Options{}) {
			t.Errorf("%s is not usual: %+v", text, e.Findings)
		}
		seen := map[[3]string]bool{*e.Words: true}
		for i, d := range slips(e.Frame.Data) {
			if raceOn && i%rareSample != 0 {
				continue
			}
			x := Explain(e.Frame.IDText+" "+hexOf(d), Options{})
			slipped++
			soundExplanation(t, hexOf(d), x)
			if x.Words == nil {
				if len(d) < 9 {
					t.Errorf("%s % X: no words", e.Frame.IDText, d)
				}
				continue
			}
			if seen[*x.Words] {
				t.Errorf("%s % X: words that another one has", e.Frame.IDText, d)
			}
			seen[*x.Words] = true
			s := split(d, 0)
			if s.kind == single && readable(s.payload) {
				continue // a request of its own: what it does is said
			}
			lost++
			if !x.Wrong() && x.Class != Workshop { // a mode of the maker's own has no form that could be wrong
				t.Errorf("%s % X can't be read, and nothing is wrong with it", e.Frame.IDText, d)
			}
			if !slices.ContainsFunc(x.Nearest, func(n Near) bool { return n.Text == text }) {
				unnamed++
			}
		}
	}
	if !raceOn && (slipped < 3000 || lost < 1000) || slipped == 0 || lost == 0 {
		t.Errorf("%d slips, %d of them no requests", slipped, lost)
	}
	if unnamed > 0 {
		t.Errorf("of %d slips that are no request, %d do not name the request that was meant", lost, unnamed)
	}
}

// rareSample is the share of all slips that the race detector watches, one in so many.
const rareSample = 40

// slips are all data that one slip makes of data, in which every other frame is there once.
func slips(data []byte) [][]byte {
	seen := map[string]bool{string(data): true}
	var out [][]byte
	add := func(d []byte) {
		if !seen[string(d)] && len(d) > 0 {
			seen[string(d)] = true
			out = append(out, d)
		}
	}
	for i := range 2 * len(data) {
		for x := byte(1); x < 16; x++ {
			q := slices.Clone(data)
			q[i/2] ^= x << (4 * (1 - i%2))
			add(q)
		}
		if q := swapDigits(data, i); q != nil {
			add(q)
		}
	}
	for i := range data {
		add(append(slices.Delete(slices.Clone(data), i, i+1), data[len(data)-1])) // one left out, the filling makes up for it
		add(slices.Insert(slices.Clone(data), i, data[i])[:8])                    // one doubled
		if i+1 < len(data) {
			q := slices.Clone(data)
			q[i], q[i+1] = q[i+1], q[i]
			add(q)
		}
	}
	add(append([]byte{0}, data[:7]...))
	return out
}

// A digit more or less in a run of digits is named, and the request that was meant is found again.
func TestADigitMoreOrLess(t *testing.T) {
	missed := 0
	for _, text := range usualRequests {
		id, data, _ := strings.Cut(text, " ")
		digits := strings.ReplaceAll(data, " ", "")
		for i := range digits {
			for _, typed := range []string{digits[:i] + digits[i+1:], digits[:i] + digits[i:i+1] + digits[i:]} {
				e := Explain(id+" "+typed, Options{})
				if e.Class != Never || !slices.Contains(codesOf(e), "odd-digits") && !slices.Contains(codesOf(e), "too-many-bytes") {
					t.Errorf("%s %s: %s %v", id, typed, e.Class, codesOf(e))
				}
				if !slices.ContainsFunc(e.Nearest, func(n Near) bool { return n.Text == text }) {
					missed++
				}
			}
		}
	}
	if missed > 0 {
		t.Errorf("%d times the request that was meant is not among the neighbours", missed)
	}
}

// Every identifier one digit away has other words, for short and long ones.
func TestIdentifiersHaveTheirOwnWords(t *testing.T) {
	data := unhex("0414FFFFFF555555")
	for _, base := range []link.ID{link.ID11(0x7E5), link.ID11(0x7DF), link.ID29(0x18DA10F1), link.ID29(0x18DB33F1)} {
		seen := map[[3]string]link.ID{}
		ids := []link.ID{base}
		for i := range len(base.String()) {
			for x := uint32(1); x < 16; x++ {
				id := link.ID{Value: base.Value ^ x<<(4*i), Extended: base.Extended}
				if !id.Extended && id.Value > 0x7FF || id.Value > 0x1FFFFFFF {
					continue
				}
				ids = append(ids, id)
			}
		}
		for _, id := range ids {
			w := Words(id, data)
			if o, ok := seen[w]; ok {
				t.Errorf("%s and %s have the same words", o, id)
			}
			seen[w] = id
		}
	}
}

func BenchmarkExplain(b *testing.B) {
	for b.Loop() {
		Explain("7E5 04 14 FF FF FF 55 55 55", Options{})
	}
}

// The most that is computed for one line: a request that can't be read, for a car with many modules.
func BenchmarkExplainMistyped(b *testing.B) {
	o := Options{}
	for i := range 40 {
		o.Modules = append(o.Modules, Module{Name: fmt.Sprint("Module ", i), Address: link.Physical(link.ID11(uint32(0x700+2*i)), link.ID11(uint32(0x701+2*i)))})
	}
	for b.Loop() {
		Explain("704 03 91 02 FF 55 55 55 55", o)
	}
}

// A page of a forum, as long as what is read at all.
func BenchmarkExplainPage(b *testing.B) {
	page := strings.Repeat("Then I sent 7E5 03 19 02 FF 55 55 55 55 to it and it said 7ED 03 7F 19 78, which is fine. ", 220)
	for b.Loop() {
		Explain(page, Options{})
	}
}

func BenchmarkExplainGarbage10MB(b *testing.B) {
	garbage := strings.Repeat("0x7E5#..\xffO4 xx \u202e AT 14", 10<<20/26)
	for b.Loop() {
		Explain(garbage, Options{})
	}
}
