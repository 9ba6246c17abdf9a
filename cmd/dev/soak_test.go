package main

import (
	"bytes"
	"slices"
	"strings"
	"testing"
)

// TestSoakIsJudged: memory that grows, a frame that was missed and a time in which nothing was heard are found; a warm-up and
// what goes up and down again are not held against the window.
func TestSoakIsJudged(t *testing.T) {
	var calm []soakSample
	for i := range 60 {
		calm = append(calm, soakSample{memory: 200 + float64(i%5), busy: 0.1, heard: 3000})
	}
	with := func(change func(i int, x *soakSample)) []soakSample {
		all := slices.Clone(calm)
		for i := range all {
			change(i, &all[i])
		}
		return all
	}
	for name, c := range map[string]struct {
		samples []soakSample
		want    string // part of the error, "" for none
	}{
		"calm":             {calm, ""},
		"a warm-up":        {with(func(i int, x *soakSample) { x.memory = min(x.memory, 100+12*float64(i)) }), ""},
		"one peak":         {with(func(i int, x *soakSample) { x.memory += 300 * float64(i/55*(60-i)/5) }), ""},
		"grows":            {with(func(i int, x *soakSample) { x.memory += float64(i) / 2 }), "memory grows: 210.8 MB"},
		"grows at the end": {with(func(i int, x *soakSample) { x.memory += float64(i / 40 * 15) }), "memory grows"},
		"missed":           {with(func(i int, x *soakSample) { x.gone = i / 59 }), "missed"},
		"silent":           {with(func(i int, x *soakSample) { x.heard *= float64(min(1, abs(i-30))) }), "sample 31 nothing"},
		"too few":          {calm[:2], "only 2 samples"},
	} {
		var table bytes.Buffer
		err := (&soak{samples: c.samples}).judge(&table)
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q\n%s", name, err, c.want, table.String())
		}
	}
}

func abs(n int) int { return max(n, -n) }

func TestLastHeard(t *testing.T) {
	log := "a line\nreadback: heard 10, gone 0\nanother\nreadback: heard 1234567, gone 3\nreadback: heard 99"
	if heard, gone, err := lastHeard(log); heard != 1234567 || gone != 3 || err != nil {
		t.Errorf("%v, %d, %v", heard, gone, err)
	}
	if heard, _, err := lastHeard(strings.Repeat("something else\n", 1000) + log); heard != 1234567 || err != nil {
		t.Errorf("at the end of a long log: %v, %v", heard, err)
	}
	if _, _, err := lastHeard("nothing"); err == nil {
		t.Error("nothing said is no error")
	}
}
