package main

import (
	"encoding/binary"
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
		goal, ratio float64
		beside      float64
		ok          bool
		says        string
	}{
		{1.3, 1.1, 4, true, "1.100    1.3"},
		{1.3, 1.31, 4, false, "1.310    1.3  MISSED"},
		{1.3, 0, 0, false, "MISSED"}, // nothing to measure it against
		{0, 9, 4, true, "9.000      -"},
		{0, 0, 0, true, "-      -"},
	} {
		line, ok := benchLine(row{name: "x", goal: c.goal}, 5, c.beside, c.ratio)
		if ok != c.ok || !strings.HasSuffix(line, c.says) {
			t.Errorf("%+v: %v, %q", c, ok, line)
		}
	}
}

// What is idle most of the time is judged by the difference, not by the ratio.
func TestBenchWithin(t *testing.T) {
	for got, ok := range map[float64]bool{1.4: true, 1.6: false} {
		if line, good := benchLine(row{name: "x", within: 0.5, unit: "%"}, got, 1, got); good != ok || !strings.Contains(line, "+0.5") {
			t.Errorf("%v: %v, %q", got, good, line)
		}
	}
}

func TestUnits(t *testing.T) {
	for want, got := range map[string]string{"1.5 s": unit("").text(1.5), "250 ns": unit("").text(250e-9), "37.4 MB": megabytes.text(37.43), "9.5 %": unit("%").text(9.5)} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// A benchmark with a second one beside it is told with their ratio, and with what it counts of its own.
func TestTellBenchmarks(t *testing.T) {
	var out strings.Builder
	b := &bench{table: &out}
	b.tellBenchmarks("diag/garage", []benchmark{
		{"Save10000Codes", map[string][]float64{"ns/op": {3e9, 4e9, 5e9}, "B/op": {1}, "lost": {0, 2, 0}}},
		{"PlainRows", map[string][]float64{"ns/op": {2e9}}},
	})
	if lines := strings.Split(out.String(), "\n"); len(lines) != 3 || !strings.HasSuffix(lines[0], "4 s          2 s   2.000      -  0 lost") {
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
