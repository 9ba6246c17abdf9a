package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
)

// trouble is one thing that failed, with what it said.
type trouble struct {
	what string
	text string
}

// tally counts test functions. A check that is not made of test functions counts as one.
type tally struct {
	passed   int
	failed   []trouble
	deferred int // kernel tests that were skipped because the lab runs them
}

func (t *tally) add(o tally) {
	t.passed += o.passed
	t.deferred += o.deferred
	t.failed = append(t.failed, o.failed...)
}

// event is one line of `go test -json`; see `go doc test2json`.
type event struct {
	Action     string
	Package    string
	ImportPath string // of build-output
	Test       string
	Output     string
}

// testReader follows the events of `go test -json`.
type testReader struct {
	mayWait func(pkg, test string) bool // whether a skipped test is left to the lab

	tally   tally
	running map[testName]*strings.Builder // test functions that have begun and not ended, with what they printed
	pkgs    map[string]*packageState
	builds  map[string]*strings.Builder
	stray   strings.Builder // lines that are no events
}

type testName struct{ pkg, test string }

type packageState struct {
	said   strings.Builder // printed outside of tests
	failed int             // test functions
}

func newTestReader(mayWait func(pkg, test string) bool) *testReader {
	return &testReader{mayWait: mayWait, running: map[testName]*strings.Builder{}, pkgs: map[string]*packageState{}, builds: map[string]*strings.Builder{}}
}

// read follows the events until r ends.
func (t *testReader) read(r io.Reader) error {
	lines := bufio.NewReader(r)
	for {
		line, err := lines.ReadBytes('\n')
		if len(bytes.TrimSpace(line)) > 0 {
			var e event
			if json.Unmarshal(line, &e) != nil || e.Action == "" {
				t.stray.Write(line)
			} else {
				t.take(e)
			}
		}
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

func (t *testReader) take(e event) {
	switch e.Action {
	case "build-output":
		if t.builds[e.ImportPath] == nil {
			t.builds[e.ImportPath] = &strings.Builder{}
		}
		t.builds[e.ImportPath].WriteString(e.Output)
		return
	case "build-fail":
		return // the package's own fail event follows; what the compiler said is kept
	}
	pkg := t.pkgs[e.Package]
	if pkg == nil {
		pkg = &packageState{}
		t.pkgs[e.Package] = pkg
	}
	if e.Test == "" {
		t.takePackage(pkg, e)
		return
	}
	top, _, sub := strings.Cut(e.Test, "/")
	name := testName{e.Package, top}
	if t.running[name] == nil {
		t.running[name] = &strings.Builder{}
	}
	switch e.Action {
	case "output":
		t.running[name].WriteString(e.Output)
	case "skip":
		t.takeSkip(pkg, name, e.Test, sub)
	case "pass", "fail":
		if sub {
			return // the test function's own event tells
		}
		if e.Action == "pass" {
			t.tally.passed++
		} else {
			t.failTest(pkg, name, "")
		}
		delete(t.running, name)
	}
}

func (t *testReader) takePackage(pkg *packageState, e event) {
	switch e.Action {
	case "output":
		pkg.said.WriteString(e.Output)
	case "fail":
		for name := range t.running {
			if name.pkg == e.Package {
				t.failTest(pkg, name, "did not end\n")
				delete(t.running, name)
			}
		}
		if pkg.failed == 0 {
			t.tally.failed = append(t.tally.failed, trouble{e.Package, pkg.said.String()})
		}
	}
}

func (t *testReader) takeSkip(pkg *packageState, name testName, full string, sub bool) {
	switch {
	case sub:
		t.tally.failed = append(t.tally.failed, trouble{name.pkg + " " + full, "was skipped; every test has to run\n"})
		return
	case t.mayWait(name.pkg, name.test):
		t.tally.deferred++
	default:
		t.failTest(pkg, name, "was skipped; every test has to run\n")
	}
	delete(t.running, name)
}

func (t *testReader) failTest(pkg *packageState, name testName, why string) {
	pkg.failed++
	t.tally.failed = append(t.tally.failed, trouble{name.pkg + " " + name.test, why + t.running[name].String()})
}

// result is the count after the last event. err is how the program that printed the events ended: when it failed and
// no event says why, that is a failure of its own. A run in which no test function ran is one as well.
func (t *testReader) result(err error) tally {
	out := t.tally
	for name, said := range t.running {
		out.failed = append(out.failed, trouble{name.pkg + " " + name.test, "did not end\n" + said.String()})
	}
	var paths []string
	for path := range t.builds {
		paths = append(paths, path)
	}
	slices.Sort(paths)
	if err != nil && len(paths) > 0 {
		var said strings.Builder
		for _, path := range paths {
			said.WriteString(t.builds[path].String())
		}
		out.failed = append([]trouble{{"build", said.String()}}, out.failed...)
	}
	switch {
	case err != nil && len(out.failed) == 0:
		out.failed = append(out.failed, trouble{"go test", fmt.Sprintf("%s%v\n", t.stray.String(), err)})
	case out.passed == 0 && len(out.failed) == 0:
		out.failed = append(out.failed, trouble{"go test", t.stray.String() + "no test ran\n"})
	}
	return out
}
