package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
)

func checkFormat(ctx context.Context, j *job) tally {
	var said bytes.Buffer
	c := j.command(ctx, nil, "gofmt", "-l", ".")
	c.Stdout = io.MultiWriter(j.log, &said)
	c.Stderr = c.Stdout
	err := c.Run()
	if err == nil && said.Len() > 0 {
		err = errors.New("not in gofmt's form")
	}
	return check("gofmt", err, said.String())
}

func checkVet(ctx context.Context, j *job) tally {
	return j.tool(ctx, "go vet", nil, "go", "vet", "./...")
}

// staticcheckVersion is the version of staticcheck that the step runs: a newer one may have more to say.
const staticcheckVersion = "v0.8.2"

func checkStatic(ctx context.Context, j *job) tally {
	t := j.tool(ctx, "staticcheck", nil, "go", "run", "honnef.co/go/tools/cmd/staticcheck@"+staticcheckVersion, "./...")
	t.add(j.called(ctx))
	return t
}

// deadcodeVersion is the version of the tool that finds functions which none of the programs calls.
const deadcodeVersion = "v0.46.0"

// uncalled are the functions that no program calls, and that stay: by the beginning of their place, and by their name, ""
// for all there. A new one needs a row.
var uncalled = []struct{ at, name, reason string }{
	{"diag/uds/", "", "the client of a standard reads and makes all of its services"},
	{"diag/obd/", "", "the same"},
	{"diag/kwp/", "", "the same"},
	{"diag/exchange/", "", "what of them the programs do not call stands on it"},
	{"diag/isotp/", "Separation", "one direction of a byte of the standard whose other one is called"},
	{"diag/explain/", "Classify", "the gate's own table is compared with it"},
	{"diag/simcar/", "NewMischief", "cars that play pranks are for tests of several packages"},
	{"diag/adapter/practice/", "Driver", "every adapter has one; the programs take the one that can do more"},
	{"diag/trace/", "Read", "the same as ReadFile, of what is no file"},
}

// called reports functions that none of the programs calls: what only tests call is no part of the house.
func (j *job) called(ctx context.Context) tally {
	const what = "functions that no program calls"
	c := j.command(ctx, nil, "go", "run", "golang.org/x/tools/cmd/deadcode@"+deadcodeVersion, "./cmd/...")
	var out, said bytes.Buffer
	c.Stdout, c.Stderr = io.MultiWriter(j.log, &out), io.MultiWriter(j.log, &said)
	if err := c.Run(); err != nil {
		return check(what, err, said.String())
	}
	if left := leftOver(out.String()); len(left) > 0 {
		return check(what, errors.New("remove it, call it, or give it a row with its reason"), strings.Join(left, "\n"))
	}
	return check(what, nil, "")
}

// leftOver are the lines of the tool that no row allows, and the rows that allow nothing any more.
func leftOver(text string) (out []string) {
	used := make([]bool, len(uncalled))
	for line := range strings.Lines(text) {
		at, name, ok := strings.Cut(strings.TrimSpace(line), ": unreachable func: ")
		i := slices.IndexFunc(uncalled, func(u struct{ at, name, reason string }) bool {
			return strings.HasPrefix(at, u.at) && (u.name == "" || u.name == name)
		})
		if ok && i >= 0 {
			used[i] = true
			continue
		}
		out = append(out, strings.TrimSpace(line))
	}
	for i, u := range uncalled {
		if !used[i] {
			out = append(out, fmt.Sprintf("%s %s is called: its row is not needed", u.at, u.name))
		}
	}
	return out
}

func unitTests(ctx context.Context, j *job) tally {
	return j.hostTests(ctx, "./...")
}

func raceTests(ctx context.Context, j *job) tally {
	args := []string{"-race"}
	for _, pattern := range unwatched {
		args = append(args, "-gcflags="+pattern+"=-race=false")
	}
	return j.hostTests(ctx, append(args, "./diag/...", "./app/...")...)
}

// unwatched are packages of others that the race detector leaves alone: the database translated from C, packing, and what
// shapes letters and paints pixels. Each works on memory of one goroutine, and watching them takes longer than all the rest.
var unwatched = []string{
	"modernc.org/...", "compress/...", "image/...", "golang.org/x/image/...", "github.com/go-text/...", "github.com/srwiley/...",
	"github.com/fyne-io/...", "fyne.io/fyne/v2/internal/painter/...",
}

// hostTests runs tests of which the kernel tests may be left to the lab.
func (j *job) hostTests(ctx context.Context, args ...string) tally {
	lab, err := j.kernelTests()
	if err != nil {
		return check("finding the kernel tests", err, "")
	}
	return j.goTest(ctx, leftTo(lab), args...)
}

// checkCross builds and vets what has to work without a C compiler, and type-checks everything, for the systems that this
// computer is not.
func checkCross(ctx context.Context, j *job) tally {
	var sum tally
	for _, system := range []string{"windows/amd64", "darwin/arm64"} {
		goos, goarch, _ := strings.Cut(system, "/")
		extra := []string{"GOOS=" + goos, "GOARCH=" + goarch, "CGO_ENABLED=0"}
		for _, verb := range []string{"build", "vet"} {
			sum.add(j.tool(ctx, "go "+verb+" for "+system, extra, "go", verb, "./diag/...", "./cmd/readback-cli"))
		}
		sum.add(check("types for "+system, j.typeCheck(ctx, goos, goarch), ""))
	}
	return sum
}

// fuzzTests runs every fuzz target by itself, as go test wants it. What it finds is written into the package's
// testdata/fuzz and fails in the step unit from then on.
func fuzzTests(ctx context.Context, j *job) tally {
	targets, err := j.findTests("Fuzz")
	if err != nil {
		return check("finding the fuzz targets", err, "")
	}
	if len(targets) == 0 {
		return check("finding the fuzz targets", errors.New("there are none"), "")
	}
	var (
		sum  tally
		mu   sync.Mutex
		work sync.WaitGroup
		next = make(chan testFunc)
	)
	for range fuzzAtOnce {
		work.Go(func() {
			for f := range next {
				t, said := j.fuzzOne(ctx, f)
				mu.Lock()
				_, err := j.log.Write(said)
				sum.add(t)
				if err != nil {
					sum.add(check("writing the log of a fuzz target", err, ""))
				}
				mu.Unlock()
			}
		})
	}
	for _, f := range targets {
		next <- f
	}
	close(next)
	work.Wait()
	return sum
}

// fuzzAtOnce is how many targets run at the same time, each with one worker: building one while another runs.
const fuzzAtOnce = 2

// fuzzOne runs one target. Inputs that lead somewhere new are not made smaller: that takes longer than the run.
func (j *job) fuzzOne(ctx context.Context, f testFunc) (tally, []byte) {
	var said bytes.Buffer
	own := *j
	own.log = &said
	long := j.fuzz
	if slices.Contains(fuzzShorter, f.pkg) {
		long /= 2
	}
	args := []string{"-run=^$", fmt.Sprintf("-fuzz=^%s$", f.name), "-fuzztime=" + long.String(), "-fuzzminimizetime=1x", "-parallel=1", f.pkg}
	t := own.goTest(ctx, never, args...)
	if cutShort(t) {
		t = own.goTest(ctx, never, args...)
	}
	return t, said.Bytes()
}

// fuzzShorter are the packages whose targets run half as long: those of short words, of what only the kernel or this program
// writes, and those of the practice car, to which nobody but this program speaks. So the whole step stays below seven minutes.
var fuzzShorter = []string{"./diag/adapter/socketcan", "./diag/cable", "./diag/dtc", "./diag/lesson", "./diag/link", "./diag/simcar", "./diag/vin"}

// cutShort recognises a run that found nothing and still failed, because its time ended while a worker was being asked
// (a weakness of go test, from memory): it says so and names no input. A run that found something names the
// input, and is never run again.
func cutShort(t tally) bool {
	if len(t.failed) == 0 {
		return false
	}
	for _, f := range t.failed {
		if !strings.Contains(f.text, "context deadline exceeded") || strings.Contains(f.text, "Failing input") {
			return false
		}
	}
	return true
}
