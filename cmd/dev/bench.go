package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math"
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

	begun := time.Now()
	fmt.Fprintf(b.table, "%s, %s\n\n%s\n\n%s\n", begun.Format(time.DateOnly), machine(), legend, heading)
	missed := 0
	for _, r := range rows() {
		if !strings.Contains(r.name, *only) {
			continue
		}
		if r.runs == 0 || *runs < r.runs {
			r.runs = *runs
		}
		if !b.measure(ctx, r) {
			missed++
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	if !b.benchmarks(ctx, min(*runs, benchmarkRuns), *only) {
		missed++
	}
	fmt.Fprintf(b.table, "\nmeasured in %s\n", time.Since(begun).Round(time.Second))
	if missed > 0 {
		return &exit{exitFailed, fmt.Sprintf("%d of the goals missed, or not measured", missed)}
	}
	return ctx.Err()
}

const legend = `Each line is the median of several runs. Beside it stands what was measured or computed in the same run for comparison.
goal: the highest ratio; with a plus sign, the highest difference; with <=, the highest median.`

// The columns of the table.
const lineForm = "%-46s %12s %12s %7s %8s  %-6s  %s"

var heading = fmt.Sprintf(lineForm, "what", "median", "beside", "ratio", "goal", "", "beside is")

// measure runs a row and prints its line; it is false when its goal is missed. A row that can't be measured says why, and the
// table goes on.
func (b *bench) measure(ctx context.Context, r row) bool {
	var got, beside, ratio []float64
	for b.turn = range r.runs {
		s, err := r.measure(ctx, b)
		if err != nil {
			first, _, _ := strings.Cut(err.Error(), "\n")
			fmt.Fprintf(b.table, "%-46s NOT MEASURED: %s\n", r.name, first)
			fmt.Fprintf(b.out, "%s: %v\n", r.name, err)
			return false
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
	return ok
}

// benchLine is a line of the table. A row with a goal for its ratio and without anything to measure it against has missed it.
func benchLine(r row, got, beside, ratio float64) (line string, ok bool) {
	besides, ratios, goal := "-", "-", "-"
	if beside > 0 {
		besides, ratios = r.unit.text(beside), fmt.Sprintf("%.3f", ratio)
	}
	ok = true
	switch {
	case r.most != nil:
		goal, ok = "<= "+strconv.FormatFloat(*r.most, 'g', -1, 64), got <= *r.most
	case r.goal > 0:
		goal, ok = strconv.FormatFloat(r.goal, 'g', -1, 64), beside > 0 && ratio <= r.goal
	case r.within > 0:
		goal, ok = "+"+strconv.FormatFloat(r.within, 'g', -1, 64), got <= beside+r.within
	}
	verdict := ""
	switch {
	case !ok:
		verdict = "MISSED"
	case goal != "-":
		verdict = "met"
	}
	return strings.TrimRight(fmt.Sprintf(lineForm, r.name, r.unit.text(got), besides, ratios, goal, verdict, r.anchor), " "), ok
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
	return figure(v) + " " + string(u)
}

// figure is a number with four digits, or without a fraction.
func figure(v float64) string {
	if v >= 1000 || v == math.Trunc(v) {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'g', 4, 64)
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
	text := fmt.Sprintf("%s, %d processors, %s/%s, %s", model, runtime.NumCPU(), runtime.GOOS, runtime.GOARCH, runtime.Version())
	if load, err := os.ReadFile("/proc/loadavg"); err == nil {
		text += ", load before " + strings.Fields(string(load))[0]
	}
	return text
}
