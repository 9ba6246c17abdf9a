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
	scratch string // for logbooks and recordings
	homes   int
	kept    map[string]any // what is made once for several rows
	table   io.Writer
	turn    int // number of the run of a row, from 0
}

// benchAll measures and prints one table. It fails when a goal is missed; performance is never part of the tests.
func benchAll(ctx context.Context, p *project, args []string) error {
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	flags.SetOutput(p.out)
	runs := flags.Int("runs", 5, "how often each thing is measured; the table shows the median")
	only := flags.String("only", "", "measure only what has this text in its name")
	to := flags.String("to", "", "keep the table in this file, too")
	if err := flags.Parse(args); err != nil {
		return &exit{code: exitUsage}
	}
	if flags.NArg() > 0 || *runs < 1 {
		return &exit{exitUsage, "bench takes --runs NUMBER, --only TEXT and --to FILE"}
	}
	if err := p.build(ctx, []string{"CGO_ENABLED=0"}, "readback-cli"); err != nil {
		return err
	}
	scratch, err := os.MkdirTemp("", "readback-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(scratch)
	b := &bench{project: p, scratch: scratch, kept: map[string]any{}, table: p.out}
	if *to != "" {
		f, err := os.Create(*to)
		if err != nil {
			return err
		}
		defer f.Close()
		b.table = io.MultiWriter(p.out, f)
	}

	fmt.Fprintf(b.table, "%s, %s\nmedians of %d runs\n\n%-52s %12s %12s %7s %6s\n", time.Now().Format(time.DateOnly), machine(), *runs, "what", "median", "beside", "ratio", "goal")
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
	var got, beside, ratio []float64
	for b.turn = range r.runs {
		s, err := r.measure(ctx, b)
		if err != nil {
			return false, fmt.Errorf("%s: %w", r.name, err)
		}
		got = append(got, s.got)
		if s.beside > 0 || r.within > 0 {
			beside, ratio = append(beside, s.beside), append(ratio, s.got/s.beside)
		}
	}
	var told, q float64
	if len(ratio) == r.runs {
		told, q = median(beside), median(ratio)
	}
	line, ok := benchLine(r, median(got), told, q)
	fmt.Fprintln(b.table, line)
	return ok, nil
}

// benchLine is a line of the table. A row with a goal and without anything to measure it against has missed it.
func benchLine(r row, got, beside, ratio float64) (line string, ok bool) {
	besides, ratios, goal := "-", "-", "-"
	if beside > 0 {
		besides, ratios = r.unit.text(beside), fmt.Sprintf("%.3f", ratio)
	}
	ok = true
	verdict := ""
	if r.goal > 0 {
		goal = fmt.Sprintf("%g", r.goal)
		if ok = beside > 0 && ratio <= r.goal; !ok {
			verdict = "  MISSED"
		}
	} else if r.within > 0 {
		goal = fmt.Sprintf("+%g", r.within)
		if ok = got <= beside+r.within; !ok {
			verdict = "  MISSED"
		}
	}
	return strings.TrimRight(fmt.Sprintf("%-52s %12s %12s %7s %6s%s", r.name, r.unit.text(got), besides, ratios, goal, verdict), " "), ok
}

// unit is what a row is measured in; "" are seconds.
type unit string

func (u unit) text(v float64) string {
	switch u {
	case "":
		return short(time.Duration(v * float64(time.Second)))
	case megabytes:
		return strconv.FormatFloat(v, 'f', 1, 64) + " MB"
	}
	return strconv.FormatFloat(v, 'g', 4, 64) + " " + string(u)
}

const megabytes unit = "MB"

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
func median(values []float64) float64 {
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
	found = slices.DeleteFunc(found, func(f testFunc) bool { return isKernelTest(f.name) || !strings.Contains(f.pkg+" "+f.name, only) })
	if len(found) == 0 {
		return nil
	}
	fmt.Fprintln(b.table)
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
		b.tellBenchmarks(strings.TrimPrefix(pkg, "./"), list)
	}
	return nil
}

// beside is the benchmark that another one is measured against, in the same package.
var beside = map[string]string{"diag/garage Save10000Codes": "PlainRows"}

// tellBenchmarks prints a line for each benchmark, with what it counts beside its time.
func (b *bench) tellBenchmarks(pkg string, list []benchmark) {
	for _, x := range list {
		got, told, ratio := median(x.values["ns/op"])/1e9, 0.0, 0.0
		if i := slices.IndexFunc(list, func(y benchmark) bool { return y.name == beside[pkg+" "+x.name] }); i >= 0 {
			told = median(list[i].values["ns/op"]) / 1e9
			ratio = got / told
		}
		line, _ := benchLine(row{name: pkg + " " + x.name}, got, told, ratio)
		var more []string
		for name, values := range x.values {
			if name != "ns/op" && name != "B/op" {
				more = append(more, strconv.FormatFloat(median(values), 'g', 4, 64)+" "+name)
			}
		}
		slices.Sort(more)
		fmt.Fprintln(b.table, strings.TrimRight(line+"  "+strings.Join(more, ", "), " "))
	}
}

// benchmark is what `go test -bench` told of one benchmark.
type benchmark struct {
	name   string
	values map[string][]float64 // by unit: ns/op, allocs/op, those of the benchmark's own
}

// readBenchmarks reads the lines "BenchmarkName-8  1000  1234 ns/op  5 B/op ..." of the benchmark format, in their order.
func readBenchmarks(r io.Reader) ([]benchmark, error) {
	var out []benchmark
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		words := strings.Fields(lines.Text())
		if len(words) < 4 || len(words)%2 != 0 || !strings.HasPrefix(words[0], "Benchmark") || !slices.Contains(words, "ns/op") {
			continue
		}
		name := strings.TrimPrefix(words[0], "Benchmark")
		if cut := strings.LastIndexByte(name, '-'); cut > 0 { // the number of processors, which is left out where it is 1
			if _, err := strconv.Atoi(name[cut+1:]); err == nil {
				name = name[:cut]
			}
		}
		i := slices.IndexFunc(out, func(b benchmark) bool { return b.name == name })
		if i < 0 {
			i, out = len(out), append(out, benchmark{name, map[string][]float64{}})
		}
		for k := 2; k < len(words); k += 2 {
			v, err := strconv.ParseFloat(words[k], 64)
			if err != nil {
				return nil, fmt.Errorf("a line of go test -bench: %q", lines.Text())
			}
			out[i].values[words[k+1]] = append(out[i].values[words[k+1]], v)
		}
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
