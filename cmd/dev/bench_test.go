package main

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The lines are those of the Go benchmark data format (golang.org/design/14313-benchmark-format).
func TestReadBenchmarks(t *testing.T) {
	const text = `goos: linux
pkg: readback/diag/isotp
BenchmarkShort-2   	 5000000	       240.5 ns/op	       0 B/op	       0 allocs/op
BenchmarkLong/4095-2	    1000	    120000 ns/op	  34.10 MB/s
BenchmarkShort-2   	 5000000	       260 ns/op
BenchmarkTrip/ours-ours   	     500	    250000 ns/op
PASS
`
	got, err := readBenchmarks(strings.NewReader(text))
	if err != nil || len(got) != 3 || got[2].name != "Trip/ours-ours" || got[0].name != "Short" || got[1].name != "Long/4095" {
		t.Fatalf("read %v, %v", got, err)
	}
	if short, long := median(got[0].values["ns/op"]), median(got[1].values["ns/op"]); short != 250.25 || long != 120_000 || len(got[0].values["allocs/op"]) != 1 {
		t.Errorf("medians %v and %v, want 250.25 and 120000 ns", short, long)
	}
	if _, err := readBenchmarks(strings.NewReader("BenchmarkX-2 1 many ns/op\n")); err == nil {
		t.Error("a time that is no number was read")
	}
}

func TestMedian(t *testing.T) {
	if median([]float64{3, 1, 2}) != 2 || median([]float64{4, 1, 2, 3}) != 2.5 || median(nil) != 0 {
		t.Error("the median is not in the middle")
	}
}

func TestBenchLine(t *testing.T) {
	for _, c := range []struct {
		r              row
		got            float64
		beside, ratio  float64
		ok             bool
		says, saysAlso string
	}{
		{row{goal: 1.3}, 5, 4, 1.1, true, "1.100      1.3  met", ""},
		{row{goal: 1.3}, 5, 4, 1.31, false, "1.310      1.3  MISSED", ""},
		{row{goal: 1.3}, 5, 0, 0, false, "MISSED", ""}, // nothing to measure it against
		{row{}, 5, 4, 9, true, "9.000        -", ""},
		{row{}, 5, 0, 0, true, "-        -", ""},
		// What is idle most of the time is judged by the difference, not by the ratio.
		{row{within: 0.5, unit: "%"}, 1.4, 1, 1.4, true, "+0.5  met", "1.4 %"},
		{row{within: 0.5, unit: "%"}, 1.6, 1, 1.6, false, "+0.5  MISSED", ""},
		{row{most: bound(100), unit: megabytes}, 99, 250, 0.4, true, "<= 100  met", "99.0 MB"},
		{row{most: bound(0), unit: "frames"}, 0, 20_000, 0, true, "<= 0  met", " 0 frames "},
		{row{most: bound(0), unit: "frames"}, 1, 20_000, 0, false, "<= 0  MISSED", "20000 frames"},
	} {
		c.r.name = "x"
		line, ok := benchLine(c.r, c.got, c.beside, c.ratio)
		if ok != c.ok || !strings.HasSuffix(line, c.says) || !strings.Contains(line, c.saysAlso) {
			t.Errorf("%+v: %v, %q", c, ok, line)
		}
		c.r.anchor = "another program"
		if line, _ = benchLine(c.r, c.got, c.beside, c.ratio); !strings.HasSuffix(line, "  another program") || strings.Index(line, "another") != strings.Index(heading, "beside is") {
			t.Errorf("the last column of %q\nis not under that of %q", line, heading)
		}
	}
}

// What can't be measured is told in its place, and the table goes on.
func TestNotMeasured(t *testing.T) {
	var table, out strings.Builder
	b := &bench{project: &project{out: &out}, table: &table}
	r := row{name: "x", runs: 2, measure: func(context.Context, *bench) (sample, error) { return sample{}, errors.New("no car\nmore of it") }}
	if b.measure(t.Context(), r) || !strings.HasSuffix(table.String(), "NOT MEASURED: no car\n") || !strings.Contains(out.String(), "more of it") {
		t.Errorf("%q, %q", table.String(), out.String())
	}
}

// Every row says what stands beside it, in a line that is not broken, and has a goal of one kind at the most.
func TestRowsFit(t *testing.T) {
	for _, r := range rows() {
		kinds := 0
		for _, has := range []bool{r.goal > 0, r.within > 0, r.most != nil} {
			if has {
				kinds++
			}
		}
		if len(r.name) > 46 || len(r.anchor) > 52 || kinds > 1 {
			t.Errorf("%q, %q, %d goals", r.name, r.anchor, kinds)
		}
	}
}

func TestUnits(t *testing.T) {
	for want, got := range map[string]string{"1.5 s": unit("").text(1.5), "250 ns": unit("").text(250e-9), "37.4 MB": megabytes.text(37.43), "9.5 %": unit("%").text(9.5), "20425 frames": unit("frames").text(20_425.4), "3.876 %": unit("%").text(3.8764)} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// A benchmark is told with what it counts beside its time.
func TestTellBenchmarks(t *testing.T) {
	var out strings.Builder
	b := &bench{table: &out}
	b.tellBenchmarks("diag/garage", []benchmark{
		{"Save10000Codes", map[string][]float64{"ns/op": {3e9, 4e9, 5e9}, "B/op": {1}, "lost": {0, 2, 0}}},
		{"PlainRows", map[string][]float64{"ns/op": {2e9}}},
	})
	if lines := strings.Split(out.String(), "\n"); len(lines) != 3 || !strings.HasSuffix(lines[0], " 4 s  0 lost") || !strings.HasSuffix(lines[1], " 2 s") {
		t.Errorf("%q", out.String())
	}
}

// The recording that is explained for the measurements: blocks of the lengths that they say, and as many frames as asked for.
func TestWriteRecording(t *testing.T) {
	path := filepath.Join(t.TempDir(), "some.pcapng")
	if err := writeRecording(path, 1000); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	frames := 0
	for len(b) > 0 {
		n := binary.LittleEndian.Uint32(b[4:])
		if end := binary.LittleEndian.Uint32(b[n-4:]); end != n || n%4 != 0 {
			t.Fatalf("a block of %d bytes ends with %d", n, end)
		}
		if binary.LittleEndian.Uint32(b) == 6 {
			frames++
		}
		b = b[n:]
	}
	if frames != 1000 {
		t.Errorf("%d frames", frames)
	}
}

func TestLookTime(t *testing.T) {
	s, err := lookTime([]byte(`{"elapsedMs": 5260.9, "limitMs": 4808.8, "complete": true}`))
	if err != nil || math.Abs(s.got-5.2609) > 1e-9 || math.Abs(s.beside-4.8088) > 1e-9 {
		t.Errorf("%+v, %v", s, err)
	}
	if s, err := lookTime([]byte(`{"elapsedMs": 10, "limitMs": null, "complete": true}`)); err != nil || s.beside != 0 {
		t.Errorf("without a limit: %+v, %v", s, err)
	}
	for _, bad := range []string{`{"limitMs": 1, "complete": true}`, `{"elapsedMs": 1, "limitMs": 1, "complete": false}`, `nothing`} {
		if _, err := lookTime([]byte(bad)); err == nil {
			t.Errorf("%s was taken", bad)
		}
	}
}
