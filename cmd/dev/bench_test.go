package main

import (
	"strings"
	"testing"
	"time"
)

// The lines are those of the Go benchmark data format (golang.org/design/14313-benchmark-format).
func TestReadBenchmarks(t *testing.T) {
	const text = `goos: linux
pkg: readback/diag/isotp
BenchmarkShort-2   	 5000000	       240.5 ns/op	       0 B/op	       0 allocs/op
BenchmarkLong/4095-2	    1000	    120000 ns/op	  34.10 MB/s
BenchmarkShort-2   	 5000000	       260 ns/op
PASS
`
	got, err := readBenchmarks(strings.NewReader(text))
	if err != nil || len(got) != 2 || got[0].name != "Short" || got[1].name != "Long/4095" {
		t.Fatalf("read %v, %v", got, err)
	}
	if median(got[0].times) != 250 || median(got[1].times) != 120*time.Microsecond {
		t.Errorf("medians %v and %v, want 250 ns and 120 us", median(got[0].times), median(got[1].times))
	}
	if _, err := readBenchmarks(strings.NewReader("BenchmarkX-2 1 many ns/op\n")); err == nil {
		t.Error("a time that is no number was read")
	}
}

func TestMedian(t *testing.T) {
	if median([]float64{3, 1, 2}) != 2 || median([]float64{4, 1, 2, 3}) != 2.5 || median[float64](nil) != 0 {
		t.Error("the median is not in the middle")
	}
}

func TestBenchLine(t *testing.T) {
	for _, c := range []struct {
		goal, ratio float64
		limit       time.Duration
		ok          bool
		says        string
	}{
		{1.3, 1.1, 4 * time.Second, true, "1.100    1.3"},
		{1.3, 1.31, 4 * time.Second, false, "1.310    1.3  MISSED"},
		{1.3, 0, 0, false, "MISSED"}, // nothing to measure it against
		{0, 9, 4 * time.Second, true, "9.000      -"},
		{0, 0, 0, true, "-      -"},
	} {
		line, ok := benchLine(row{name: "x", goal: c.goal}, 5*time.Second, c.limit, c.ratio)
		if ok != c.ok || !strings.HasSuffix(line, c.says) {
			t.Errorf("%+v: %v, %q", c, ok, line)
		}
	}
}

func TestLookTime(t *testing.T) {
	s, err := lookTime([]byte(`{"elapsedMs": 5260.9, "limitMs": 4808.8, "complete": true}`))
	if err != nil || s.took != 5260900*time.Microsecond || s.limit != 4808800*time.Microsecond {
		t.Errorf("%+v, %v", s, err)
	}
	if s, err := lookTime([]byte(`{"elapsedMs": 10, "limitMs": null, "complete": true}`)); err != nil || s.limit != 0 {
		t.Errorf("without a limit: %+v, %v", s, err)
	}
	for _, bad := range []string{`{"limitMs": 1, "complete": true}`, `{"elapsedMs": 1, "limitMs": 1, "complete": false}`, `nothing`} {
		if _, err := lookTime([]byte(bad)); err == nil {
			t.Errorf("%s was taken", bad)
		}
	}
}
