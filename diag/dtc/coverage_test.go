package dtc_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"readback/assets"
	"readback/diag/dtc"
	"readback/testdata"
)

// leftOut are the codes that two or more open lists hold and the tables don't, by prefix, each with its reason.
var leftOut = []struct{ prefix, reason string }{
	{"P00FF", "no open list but one gives it a text of its own"},
	{"P0399", "the lists hold the number without a meaning"},
	{"P0C1B", "the open list cuts the text short, and no public page has it"},
	{"P0C1C", "the same"},
	{"P0C1D", "the same"},
	{"P0C1E", "the same"},
	{"P0C1F", "the same"},
	{"U011F", "the open list says: reserved"},
	{"U012", "the open list says of U012E and U012F: reserved"},
	{"U013F", "the same"},
	{"U014", "the open list says of U014A to U014E: reserved"},
	{"U015", "the open list says of U015A to U015F: reserved"},
	{"U018A", "the open list says: reserved"},
}

// Every code that two or more open lists hold has a meaning, but for those left out for a reason.
func TestCoverage(t *testing.T) {
	type count struct{ listed, known, twice, twiceKnown int }
	ranges, left := map[string]*count{}, map[string]int{}
	for name, lists := range listed(t) {
		r := ranges[name[:3]]
		if r == nil {
			r = &count{}
			ranges[name[:3]] = r
		}
		_, known := code(t, name).Meaning()
		r.listed++
		if known {
			r.known++
		}
		if lists == "1" {
			continue
		}
		r.twice++
		if known {
			r.twiceKnown++
			continue
		}
		i := slices.IndexFunc(leftOut, func(l struct{ prefix, reason string }) bool { return strings.HasPrefix(name, l.prefix) })
		if i < 0 {
			t.Errorf("%s is in %s lists and has no meaning", name, lists)
			continue
		}
		left[leftOut[i].prefix]++
	}
	for _, l := range leftOut {
		if left[l.prefix] == 0 || l.reason == "" {
			t.Errorf("nothing is left out under %s", l.prefix)
		}
	}
	total := count{}
	for _, name := range slices.Sorted(maps.Keys(ranges)) {
		r := ranges[name]
		t.Logf("%s: %4d of %4d listed; %4d of %4d in two or more lists", name, r.known, r.listed, r.twiceKnown, r.twice)
		total.known, total.twice, total.twiceKnown = total.known+r.known, total.twice+r.twice, total.twiceKnown+r.twiceKnown
	}
	t.Logf("all: %d known; %d of %d in two or more lists", total.known, total.twiceKnown, total.twice)
	for name, least := range map[string]int{
		"B00": 104, "C00": 59, "C05": 21, "P0A": 256, "P0B": 256, "P0C": 157, "P0D": 63,
		"U00": 90, "U01": 152, "U02": 115, "U03": 47, "U04": 154, "U05": 112, "U30": 22,
	} {
		if r := ranges[name]; r == nil || r.known < least {
			t.Errorf("%s: fewer than %d codes have a meaning", name, least)
		}
	}
	if total.known < 4097 || total.twice != 2446 || total.twiceKnown < 2423 {
		t.Errorf("%d codes have a meaning, and %d of the %d that two lists hold", total.known, total.twiceKnown, total.twice)
	}
}

// Maker's and reserved codes have no meaning, no part, no causes and no doubt, whatever their failure type.
func TestNoMeaningForMakers(t *testing.T) {
	for v := range 65536 {
		c := dtc.From3(byte(v>>8), byte(v), byte(v))
		if c.Origin() == dtc.Standard {
			continue
		}
		if text, known := c.Meaning(); known || text != "" {
			t.Fatalf("%s belongs to the %s and means %q", c, c.Origin(), text)
		}
		if v%13 != 0 {
			continue
		}
		d := dtc.Describe(c, status(0x2F), 0xFF, nil)
		if d.Known || d.Part != "" || len(d.Causes)+len(d.LookFirst) != 0 || d.Doubt != "" || d.Severity != string(dtc.UnknownLevel) {
			t.Fatalf("%s: %+v", c, d)
		}
		if c.Origin() == dtc.Maker && !strings.HasPrefix(d.Line, "The car's maker decides what "+c.Name()+" means") {
			t.Fatalf("%s: %q", c, d.Line)
		}
	}
}

// Every code with a meaning has a part, causes, first looks, an area and a level with its reason.
func TestComplete(t *testing.T) {
	for v := range 65536 {
		c := dtc.From2(byte(v>>8), byte(v))
		if _, known := c.Meaning(); !known {
			continue
		}
		d := dtc.Describe(c, nil, 0xFF, nil)
		if d.Part == "" || len(d.Causes) == 0 || len(d.LookFirst) == 0 || d.Area == "" || d.SeverityReason == "" || d.ErasingText == "" {
			t.Errorf("%s: %+v", c, d)
		}
		if len(d.Causes) > 4 || len(d.LookFirst) > 4 {
			t.Errorf("%s: %d causes, %d looks", c, len(d.Causes), len(d.LookFirst))
		}
		if slices.Contains(d.Causes, "") || slices.Contains(d.LookFirst, "") {
			t.Errorf("%s: an empty cause or look", c)
		}
	}
}

// A sample of codes against public service information, by hand.
func TestSample(t *testing.T) {
	n, sources := 0, map[string]int{}
	for line := range strings.Lines(testdata.DTCSample) {
		if line[0] == '#' {
			continue
		}
		f := strings.Split(strings.TrimRight(line, "\n"), "\t")
		if len(f) != 3 || f[2] == "" {
			t.Fatalf("row %q", line)
		}
		n++
		sources[f[2]]++
		text, known := code(t, f[0]).Meaning()
		for word := range strings.SplitSeq(f[1], ";") {
			if !known || !strings.Contains(text, word) {
				t.Errorf("%s lacks %q (%s): %q", f[0], word, f[2], text)
			}
		}
	}
	for name, count := range sources {
		t.Log(fmt.Sprintf("%3d", count), name)
	}
	if n < 365 {
		t.Errorf("the sample has %d codes", n)
	}
}

// Every row of the small tables is used: kinds and areas by a code, groups of causes by a kind.
func TestNothingDead(t *testing.T) {
	column := func(table string, n int) map[string]bool {
		out := map[string]bool{}
		for line := range strings.Lines(table) {
			if line[0] == '#' {
				continue
			}
			for word := range strings.FieldsSeq(strings.Split(strings.TrimRight(line, "\n"), "\t")[n]) {
				out[word] = true
			}
		}
		return out
	}
	compare := func(what string, have, used map[string]bool) {
		for name := range have {
			if !used[name] {
				t.Errorf("%s %s is not used", what, name)
			}
		}
	}
	kinds := column(assets.Codes(), 1)
	kinds["lost"] = true // of modules, see codeRows in tables.go
	compare("kind", column(assets.CodeKinds(), 0), kinds)
	compare("group of causes", column(assets.CodeCauses(), 0), column(assets.CodeKinds(), 2))
	compare("group of kinds", column(assets.CodeKinds(), 2), column(assets.CodeCauses(), 0))
	classes := column(assets.CodeClasses(), 1)
	classes["*"] = true
	compare("class of causes", column(assets.CodeCauses(), 1), classes)
	used := column(assets.Codes(), 4)
	maps.Copy(used, column(assets.CodeModules(), 1))
	for _, ofRange := range []string{"drive", "chassis", "body", "charging", "data"} { // of whole ranges, see ranges in meaning.go
		used[ofRange] = true
	}
	compare("area", column(assets.CodeAreas(), 0), used)
}
