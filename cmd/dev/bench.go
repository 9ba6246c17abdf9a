package main

import (
	"bufio"
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"
)

// bench is one run of the chore.
type bench struct {
	*project
	scratch string // for logbooks
	homes   int
}

// benchAll measures and prints one table. It fails when a goal is missed; performance is never part of the tests.
func benchAll(ctx context.Context, p *project, args []string) error {
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	flags.SetOutput(p.out)
	runs := flags.Int("runs", 5, "how often each thing is measured; the table shows the median")
	only := flags.String("only", "", "measure only what has this text in its name")
	if err := flags.Parse(args); err != nil {
		return &exit{code: exitUsage}
	}
	if flags.NArg() > 0 || *runs < 1 {
		return &exit{exitUsage, "bench takes --runs NUMBER and --only TEXT"}
	}
	if err := p.build(ctx, []string{"CGO_ENABLED=0"}, "readback-cli"); err != nil {
		return err
	}
	scratch, err := os.MkdirTemp("", "readback-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(scratch)
	b := &bench{project: p, scratch: scratch}

	fmt.Fprintf(p.out, "%s\n\n%-44s %12s %12s %7s %6s\n", machine(), "what", "median", "limit", "ratio", "goal")
	missed := 0
	for _, r := range rows() {
		if !strings.Contains(r.name, *only) {
			continue
		}
		if r.runs == 0 || *runs < r.runs {
			r.runs = *runs
		}
		ok, err := b.measure(ctx, r)
		if err != nil {
			return err
		}
		if !ok {
			missed++
		}
	}
	if err := b.benchmarks(ctx, *runs, *only); err != nil {
		return err
	}
	if missed > 0 {
		return &exit{exitFailed, fmt.Sprintf("%d of the goals missed", missed)}
	}
	return nil
}

// measure runs a row and prints its line; ok is false when its goal is missed.
func (b *bench) measure(ctx context.Context, r row) (ok bool, err error) {
	var took, limit []time.Duration
	var ratio []float64
	for range r.runs {
		s, err := r.measure(ctx, b)
		if err != nil {
			return false, fmt.Errorf("%s: %w", r.name, err)
		}
		took = append(took, s.took)
		if s.limit > 0 {
			limit = append(limit, s.limit)
			ratio = append(ratio, s.took.Seconds()/s.limit.Seconds())
		}
	}
	var told time.Duration
	var q float64
	if len(ratio) == r.runs {
		told, q = median(limit), median(ratio)
	}
	line, ok := benchLine(r, median(took), told, q)
	fmt.Fprintln(b.out, line)
	return ok, nil
}

// benchLine is a line of the table. A row with a goal and without a limit to measure it against has missed it.
func benchLine(r row, took, limit time.Duration, ratio float64) (line string, ok bool) {
	limits, ratios, goal := "-", "-", "-"
	if limit > 0 {
		limits, ratios = short(limit), fmt.Sprintf("%.3f", ratio)
	}
	ok = true
	verdict := ""
	if r.goal > 0 {
		goal = fmt.Sprintf("%g", r.goal)
		if ok = limit > 0 && ratio <= r.goal; !ok {
			verdict = "  MISSED"
		}
	}
	return strings.TrimRight(fmt.Sprintf("%-44s %12s %12s %7s %6s%s", r.name, short(took), limits, ratios, goal, verdict), " "), ok
}

// short is a duration with four digits.
func short(d time.Duration) string {
	for _, u := range []struct {
		of   time.Duration
		name string
	}{{time.Second, "s"}, {time.Millisecond, "ms"}, {time.Microsecond, "us"}} {
		if d >= u.of {
			return strconv.FormatFloat(float64(d)/float64(u.of), 'g', 4, 64) + " " + u.name
		}
	}
	return strconv.Itoa(int(d)) + " ns"
}

// median is the middle value, or the mean of the two in the middle; 0 of none.
func median[T time.Duration | float64](values []T) T {
	if len(values) == 0 {
		return 0
	}
	v := slices.Sorted(slices.Values(values))
	if n := len(v); n%2 == 0 {
		return (v[n/2-1] + v[n/2]) / 2
	}
	return v[len(v)/2]
}

// benchmarks runs the benchmarks of the packages and prints the median time of each.
func (b *bench) benchmarks(ctx context.Context, runs int, only string) error {
	found, err := b.findTests("Benchmark")
	if err != nil {
		return err
	}
	found = slices.DeleteFunc(found, func(f testFunc) bool { return !strings.Contains(f.pkg+" "+f.name, only) })
	if len(found) == 0 {
		return nil
	}
	fmt.Fprintln(b.out)
	for _, pkg := range packagesOf(found) {
		var names []string
		for _, f := range found {
			if f.pkg == pkg {
				names = append(names, regexp.QuoteMeta(f.name))
			}
		}
		c := b.command(ctx, nil, "go", "test", "-run=^$", "-bench=^("+strings.Join(names, "|")+")$", "-benchmem", "-benchtime=200ms", "-count="+strconv.Itoa(runs), pkg)
		text, err := c.CombinedOutput()
		if err != nil {
			return fmt.Errorf("benchmarks of %s: %w\n%s", pkg, err, lastLines(string(text), 40))
		}
		list, err := readBenchmarks(bytes.NewReader(text))
		if err != nil {
			return err
		}
		for _, x := range list {
			line, _ := benchLine(row{name: strings.TrimPrefix(pkg, "./") + " " + x.name}, median(x.times), 0, 0)
			fmt.Fprintln(b.out, line)
		}
	}
	return nil
}

// benchmark is what `go test -bench` told of one benchmark.
type benchmark struct {
	name  string
	times []time.Duration // for one operation
}

// readBenchmarks reads the lines "BenchmarkName-8  1000  1234 ns/op ..." of the benchmark format, in their order.
func readBenchmarks(r io.Reader) ([]benchmark, error) {
	var out []benchmark
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		words := strings.Fields(lines.Text())
		if len(words) < 4 || !strings.HasPrefix(words[0], "Benchmark") {
			continue
		}
		at := slices.Index(words, "ns/op")
		if at < 3 {
			continue
		}
		ns, err := strconv.ParseFloat(words[at-1], 64)
		if err != nil {
			return nil, fmt.Errorf("a line of go test -bench: %q", lines.Text())
		}
		name := strings.TrimPrefix(words[0], "Benchmark")
		if cut := strings.LastIndexByte(name, '-'); cut > 0 {
			name = name[:cut]
		}
		i := slices.IndexFunc(out, func(b benchmark) bool { return b.name == name })
		if i < 0 {
			i, out = len(out), append(out, benchmark{name: name})
		}
		out[i].times = append(out[i].times, time.Duration(ns))
	}
	return out, lines.Err()
}

// machine is what the numbers were measured on.
func machine() string {
	model := "processor not known"
	switch runtime.GOOS {
	case "linux":
		if text, err := os.ReadFile("/proc/cpuinfo"); err == nil {
			if m := regexp.MustCompile(`(?m)^model name\s*:\s*(.+)$`).FindSubmatch(text); m != nil {
				model = string(m[1])
			}
		}
	case "darwin":
		if text, err := exec.Command("sysctl", "-n", "machdep.cpu.brand_string").Output(); err == nil {
			model = strings.TrimSpace(string(text))
		}
	case "windows":
		if text := os.Getenv("PROCESSOR_IDENTIFIER"); text != "" {
			model = text
		}
	}
	return fmt.Sprintf("%s, %d processors, %s/%s, %s", model, runtime.NumCPU(), runtime.GOOS, runtime.GOARCH, runtime.Version())
}
