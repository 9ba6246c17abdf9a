package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// benchmarkRuns is how often each benchmark of a package is measured: there are many of them.
const benchmarkRuns = 3

// benchmarks runs the benchmarks of the packages and prints the median time of each. It is false when some could not be run.
func (b *bench) benchmarks(ctx context.Context, runs int, only string) (ok bool) {
	found, err := b.findTests("Benchmark")
	if err != nil {
		fmt.Fprintln(b.out, err)
		return false
	}
	found = slices.DeleteFunc(found, func(f testFunc) bool { return isKernelTest(f.name) || !strings.Contains(f.pkg+" "+f.name, only) })
	if len(found) == 0 {
		return true
	}
	ok = true
	fmt.Fprintf(b.table, "\nThe benchmarks of the packages, by operation; medians of %d runs.\n\n%-60s %12s\n", runs, "what", "median")
	for _, pkg := range packagesOf(found) {
		var names []string
		for _, f := range found {
			if f.pkg == pkg {
				names = append(names, regexp.QuoteMeta(f.name))
			}
		}
		list, err := b.goBench(ctx, pkg, "("+strings.Join(names, "|")+")", "100ms", runs)
		if err != nil {
			fmt.Fprintf(b.table, "%-60s NOT MEASURED\n", strings.TrimPrefix(pkg, "./"))
			fmt.Fprintln(b.out, err)
			ok = false
			continue
		}
		b.tellBenchmarks(strings.TrimPrefix(pkg, "./"), list)
	}
	return ok
}

// goBench runs benchmarks of a package.
func (b *bench) goBench(ctx context.Context, pkg, names, each string, runs int) ([]benchmark, error) {
	text, err := b.command(ctx, nil, "go", "test", "-run=^$", "-bench=^"+names+"$", "-benchmem", "-benchtime="+each, "-count="+strconv.Itoa(runs), pkg).CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("benchmarks of %s: %w\n%s", pkg, err, lastLines(string(text), 40))
	}
	return readBenchmarks(bytes.NewReader(text))
}

// benchmark is one benchmark of a package that rows are about. It runs once for all of them.
func (b *bench) benchmark(ctx context.Context, pkg, name, each string) (benchmark, error) {
	key := pkg + " " + name
	if x, ok := b.kept[key].(benchmark); ok {
		return x, nil
	}
	list, err := b.goBench(ctx, pkg, "Benchmark"+name, each, benchmarkRuns)
	if err != nil {
		return benchmark{}, err
	}
	if len(list) != 1 {
		return benchmark{}, fmt.Errorf("%s has no benchmark %s", pkg, name)
	}
	b.kept[key] = list[0]
	return list[0], nil
}

// of is the median of what a benchmark told in a unit.
func (x benchmark) of(unit string) float64 { return median(x.values[unit]) }

// tellBenchmarks prints a line for each benchmark, with what it counts beside its time.
func (b *bench) tellBenchmarks(pkg string, list []benchmark) {
	for _, x := range list {
		var more []string
		for name, values := range x.values {
			if name != "ns/op" && name != "B/op" {
				more = append(more, figure(median(values))+" "+name)
			}
		}
		slices.Sort(more)
		line := fmt.Sprintf("%-60s %12s  %s", pkg+" "+x.name, unit("").text(median(x.values["ns/op"])/1e9), strings.Join(more, ", "))
		fmt.Fprintln(b.table, strings.TrimRight(line, " "))
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
