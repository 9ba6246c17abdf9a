package main

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

// The events are written after `go doc test2json`: Action, Package, Test, Output; build-output and build-fail carry an
// ImportPath instead of a Package.
func TestCountingTests(t *testing.T) {
	ended := errors.New("exit status 1")
	for _, c := range []struct {
		name     string
		events   string
		err      error
		passed   int
		failed   []string
		deferred int
		says     string // somewhere in what the failures say
	}{
		{
			name: "subtests do not count",
			events: `{"Action":"run","Package":"readback/a","Test":"TestA"}
{"Action":"run","Package":"readback/a","Test":"TestA/one"}
{"Action":"pass","Package":"readback/a","Test":"TestA/one"}
{"Action":"pass","Package":"readback/a","Test":"TestA"}
{"Action":"pass","Package":"readback/a"}
{"Action":"skip","Package":"readback/none"}`,
			passed: 1,
		},
		{
			name: "a failure keeps what the test printed",
			events: `{"Action":"run","Package":"readback/a","Test":"TestA"}
{"Action":"output","Package":"readback/a","Test":"TestA/one","Output":"want 1\n"}
{"Action":"fail","Package":"readback/a","Test":"TestA/one"}
{"Action":"fail","Package":"readback/a","Test":"TestA"}
{"Action":"fail","Package":"readback/a"}`,
			err: ended, failed: []string{"readback/a TestA"}, says: "want 1",
		},
		{
			name: "a kernel test of a lab package waits for the lab",
			events: `{"Action":"skip","Package":"readback/diag/adapter/socketcan","Test":"TestBusKernel"}
{"Action":"pass","Package":"readback/diag/adapter/socketcan","Test":"TestB"}`,
			passed: 1, deferred: 1,
		},
		{
			name: "a kernel test that the lab does not know must not be skipped",
			events: `{"Action":"skip","Package":"readback/diag/link","Test":"TestBusKernel"}
{"Action":"pass","Package":"readback/diag/link","Test":"TestB"}`,
			passed: 1, failed: []string{"readback/diag/link TestBusKernel"}, says: "skipped",
		},
		{
			name: "no other test may be skipped",
			events: `{"Action":"skip","Package":"readback/diag","Test":"TestA"}
{"Action":"run","Package":"readback/diag","Test":"TestB"}
{"Action":"skip","Package":"readback/diag","Test":"TestB/part"}
{"Action":"pass","Package":"readback/diag","Test":"TestB"}`,
			passed: 1, failed: []string{"readback/diag TestA", "readback/diag TestB/part"}, says: "skipped",
		},
		{
			name: "a package that does not build",
			events: `{"ImportPath":"readback/a [readback/a.test]","Action":"build-output","Output":"a/a.go:3:1: undefined: x\n"}
{"ImportPath":"readback/a [readback/a.test]","Action":"build-fail"}
{"Action":"output","Package":"readback/a","Output":"FAIL\treadback/a [build failed]\n"}
{"Action":"fail","Package":"readback/a","FailedBuild":"readback/a [readback/a.test]"}`,
			err: ended, failed: []string{"build", "readback/a"}, says: "undefined: x",
		},
		{
			name: "a test that was cut off",
			events: `{"Action":"run","Package":"readback/a","Test":"TestA"}
{"Action":"output","Package":"readback/a","Test":"TestA","Output":"fatal error: all goroutines are asleep\n"}
{"Action":"fail","Package":"readback/a"}`,
			err: ended, failed: []string{"readback/a TestA"}, says: "asleep",
		},
		{
			name:   "the events stop in the middle of a test",
			events: `{"Action":"run","Package":"readback/a","Test":"TestA"}`,
			failed: []string{"readback/a TestA"}, says: "did not end",
		},
		{
			name: "a package that ends badly after its tests",
			events: `{"Action":"pass","Package":"readback/a","Test":"TestA"}
{"Action":"output","Package":"readback/a","Output":"exit status 3\n"}
{"Action":"fail","Package":"readback/a"}`,
			err: ended, passed: 1, failed: []string{"readback/a"}, says: "exit status 3",
		},
		{
			name: "the program ends badly and no event says why", events: "go: cannot find main module\n",
			err: ended, failed: []string{"go test"}, says: "cannot find main module",
		},
		{name: "no test at all", events: `{"Action":"pass","Package":"readback/a"}`, failed: []string{"go test"}, says: "no test ran"},
	} {
		t.Run(c.name, func(t *testing.T) {
			reader := newTestReader(leftTo([]testFunc{{"./diag/adapter/socketcan", "TestBusKernel"}}))
			if err := reader.read(strings.NewReader(c.events)); err != nil {
				t.Fatal(err)
			}
			got := reader.result(c.err)
			var failed []string
			var said strings.Builder
			for _, f := range got.failed {
				failed = append(failed, f.what)
				said.WriteString(f.text)
			}
			if got.passed != c.passed || got.deferred != c.deferred || !slices.Equal(failed, c.failed) {
				t.Errorf("passed %d, deferred %d, failed %q; want %d, %d, %q", got.passed, got.deferred, failed, c.passed, c.deferred, c.failed)
			}
			if !strings.Contains(said.String(), c.says) {
				t.Errorf("the failures say %q, want %q in it", said.String(), c.says)
			}
		})
	}
}

func TestVerdictOfTheGuest(t *testing.T) {
	// isa-debug-exit ends qemu with twice the value plus one; the guest writes 32 plus its verdict.
	for _, c := range []struct {
		code int
		want string // "" for a pass
	}{
		{65, ""},
		{67, "the test program ended with 1"},
		{95, "the test program ended with 15"},
		{1, "no verdict"}, // qemu's own failure: a kernel that is not there
		{64, "no verdict"},
		{97, "no verdict"},
		{124, "within"},
		{137, "within"},
	} {
		err := verdict(c.code)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("verdict(%d) = %v, want %q", c.code, err, c.want)
		}
	}
}

func TestIsTestName(t *testing.T) {
	for name, want := range map[string]bool{"Fuzz": true, "FuzzParse": true, "Fuzz_x": true, "Fuzzy": false, "TestFuzz": false} {
		if got := isTestName(name, "Fuzz"); got != want {
			t.Errorf("isTestName(%q) = %v, want %v", name, got, want)
		}
	}
}
