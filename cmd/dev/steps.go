package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// step is one part of the whole check.
type step struct {
	name  string
	about string
	needs func() []need
	do    func(ctx context.Context, j *job) tally
}

// steps is the whole check, in its order: what is quick comes first.
func steps() []step {
	return []step{
		{"gofmt", "every file has gofmt's form", nothing, checkFormat},
		{"vet", "go vet has nothing to say", windowNeeds, checkVet},
		{"static", "staticcheck has nothing to say, and every function is called", windowNeeds, checkStatic},
		{"unit", "the tests of every package", testNeeds, unitTests},
		{"race", "the engine and the pages under the race detector", testNeeds, raceTests},
		{"cross", "engine and terminal program build for Windows and macOS, and all types fit there", nothing, checkCross},
		{"fuzz", "every fuzz target for a moment", nothing, fuzzTests},
		{"kernel", "the kernel tests on a real CAN kernel", labNeeds, labTests},
		{"window", "the window on a screen that nobody sees", func() []need { return append(windowNeeds(), displayNeeds()...) }, windowTests},
	}
}

func nothing() []need { return nil }

// job is what a step works with.
type job struct {
	*project
	log  io.Writer     // everything that the step's programs print
	fuzz time.Duration // for each target
}

// testAll runs the steps, tells what failed, and ends with the count.
func testAll(ctx context.Context, p *project, args []string) error {
	flags := flag.NewFlagSet("test", flag.ContinueOnError)
	flags.SetOutput(p.out)
	only := flags.String("only", "", "run these steps only, separated by commas: "+stepNames())
	fuzz := flags.Duration("fuzz", 20*time.Second, "how long each fuzz target runs; some run half as long")
	if err := flags.Parse(args); err != nil {
		return &exit{code: exitUsage}
	}
	chosen, err := choose(steps(), *only)
	if err != nil {
		return err
	}
	if flags.NArg() > 0 {
		return &exit{exitUsage, fmt.Sprintf("test knows no %q", flags.Arg(0))}
	}
	logs, err := p.folder("logs")
	if err != nil {
		return err
	}
	begin := time.Now()
	if err := p.install(ctx, needsOf(chosen)); err != nil {
		fmt.Fprintf(p.out, "tools    FAILED\n%s\n0 passed, 1 failed\n", indented(err.Error()))
		return &exit{code: exitFailed}
	}
	fmt.Fprintf(p.out, "%-8s here      %6.1f s   what the steps need is on this computer\n", "tools", time.Since(begin).Seconds())
	var sum tally
	var broken []string
	for _, s := range chosen {
		t, err := p.runStep(ctx, s, *fuzz, filepath.Join(logs, s.name+".log"))
		if err != nil {
			return err
		}
		sum.add(t)
		for _, f := range t.failed {
			broken = append(broken, s.name+": "+f.what)
		}
	}
	fmt.Fprintf(p.out, "\nThe whole took %s.\n", time.Since(begin).Round(time.Second))
	if len(broken) > 0 {
		fmt.Fprintf(p.out, "What failed:\n  %s\n", strings.Join(broken, "\n  "))
	}
	fmt.Fprintf(p.out, "%d passed, %d failed\n", sum.passed, len(sum.failed))
	if len(sum.failed) > 0 {
		return &exit{code: exitFailed}
	}
	return nil
}

func stepNames() string {
	var names []string
	for _, s := range steps() {
		names = append(names, s.name)
	}
	return strings.Join(names, ", ")
}

// choose picks steps by name, in the table's order. An empty list means all.
func choose(all []step, only string) ([]step, error) {
	if only == "" {
		return all, nil
	}
	names := strings.Split(only, ",")
	var out []step
	for _, s := range all {
		if at := slices.Index(names, s.name); at >= 0 {
			out = append(out, s)
			names = slices.DeleteFunc(names, func(n string) bool { return n == s.name })
		}
	}
	if len(names) > 0 {
		return nil, &exit{exitUsage, fmt.Sprintf("there is no step %q; the steps are %s", names[0], stepNames())}
	}
	return out, nil
}

// needsOf is what these steps need, each thing once.
func needsOf(chosen []step) []need {
	var out []need
	seen := map[string]bool{}
	for _, s := range chosen {
		for _, n := range s.needs() {
			if !seen[n.what] {
				seen[n.what] = true
				out = append(out, n)
			}
		}
	}
	return out
}

// runStep runs one step and prints its line, and below it the details of what failed.
func (p *project) runStep(ctx context.Context, s step, fuzz time.Duration, logPath string) (tally, error) {
	fmt.Fprintf(p.out, "%-8s ", s.name)
	log, err := os.Create(logPath)
	if err != nil {
		return tally{}, err
	}
	begin := time.Now()
	t := s.do(ctx, &job{project: p, log: log, fuzz: fuzz})
	took := time.Since(begin).Seconds()
	if err := log.Close(); err != nil {
		return tally{}, err
	}
	if ctx.Err() != nil {
		return tally{}, fmt.Errorf("stopped in step %s", s.name)
	}
	word, count := "passed", fmt.Sprintf("%d passed", t.passed)
	if len(t.failed) > 0 {
		word, count = "FAILED", fmt.Sprintf("%s, %d failed", count, len(t.failed))
	}
	if t.deferred > 0 {
		count += fmt.Sprintf(", %d left to the lab", t.deferred)
	}
	fmt.Fprintf(p.out, "%-8s %6.1f s   %s (%s)\n", word, took, s.about, count)
	for _, f := range t.failed {
		fmt.Fprintf(p.out, "  %s\n%s\n", f.what, indented(lastLines(f.text, 40)))
	}
	if len(t.failed) > 0 {
		fmt.Fprintf(p.out, "  all of it: %s\n", logPath)
	}
	return t, nil
}

func indented(text string) string {
	return "    " + strings.ReplaceAll(text, "\n", "\n    ")
}

// check makes the tally of something that is not made of test functions.
func check(what string, err error, said string) tally {
	if err == nil {
		return tally{passed: 1}
	}
	return tally{failed: []trouble{{what, strings.TrimRight(said, "\n") + "\n" + err.Error()}}}
}

// tool runs a program as a check of its own.
func (j *job) tool(ctx context.Context, what string, extra []string, name string, args ...string) tally {
	var said bytes.Buffer
	c := j.command(ctx, extra, name, args...)
	c.Stdout = io.MultiWriter(j.log, &said)
	c.Stderr = c.Stdout
	return check(what, c.Run(), said.String())
}

// goTest runs `go test -json` and counts.
func (j *job) goTest(ctx context.Context, mayWait func(pkg, test string) bool, args ...string) tally {
	c := j.command(ctx, nil, "go", append([]string{"test", "-json"}, args...)...)
	var said bytes.Buffer
	c.Stdout = io.MultiWriter(j.log, &said)
	c.Stderr = c.Stdout
	err := c.Run()
	reader := newTestReader(mayWait)
	if bad := reader.read(&said); bad != nil && err == nil {
		err = bad
	}
	return reader.result(err)
}
