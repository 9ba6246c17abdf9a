package main

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

func is(met bool) func(context.Context, *project) bool {
	return func(context.Context, *project) bool { return met }
}

func TestWantedPackages(t *testing.T) {
	needs := []need{
		{what: "b", packages: each("libb-dev", "libb-devel", "libb")},
		{what: "a", packages: map[string][]string{"apt": {"liba-dev", "libb-dev"}}},
	}
	packages, byHand := wanted(needs, "apt")
	if want := []string{"liba-dev", "libb-dev"}; !slices.Equal(packages, want) || len(byHand) > 0 {
		t.Errorf("with apt: %v by package, %v by hand; want %v and none", packages, byHand, want)
	}
	packages, byHand = wanted(needs, "dnf")
	if len(packages) != 1 || len(byHand) != 1 || byHand[0].what != "a" {
		t.Errorf("with dnf: %v by package, %v by hand; want libb-devel, and a by hand", packages, byHand)
	}
}

func TestMissing(t *testing.T) {
	got := missing(context.Background(), &project{}, []need{{what: "here", met: is(true)}, {what: "away", met: is(false)}})
	if len(got) != 1 || got[0].what != "away" {
		t.Errorf("missing = %v, want only what is away", got)
	}
}

func TestInstallNeedsNothingWhereAllIsHere(t *testing.T) {
	var out bytes.Buffer
	p := &project{out: &out}
	if err := p.install(context.Background(), []need{{what: "here", met: is(true)}}); err != nil || out.Len() > 0 {
		t.Errorf("install = %v and said %q, want nothing", err, out.String())
	}
}

func TestInstallTellsWhatToDoByHand(t *testing.T) {
	p := &project{out: &bytes.Buffer{}}
	err := p.install(context.Background(), []need{{what: "a compiler", met: is(false), byHand: "run `get-it`"}})
	var chosen *exit
	if !errors.As(err, &chosen) || chosen.code != exitUsage || !strings.Contains(chosen.text, "a compiler: run `get-it`") {
		t.Errorf("install = %v, want exit code 2 and the instruction", err)
	}
}

func TestTypedByHandKnowsBothWaysToRoot(t *testing.T) {
	m := managers()[0]
	got := typedByHand(m, []string{"gcc"})
	for _, want := range []string{"\n  sudo apt-get update && sudo apt-get install", "\n  su - -c 'apt-get update && apt-get install"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q lacks %q", got, want)
		}
	}
}

func TestMeanwhileSaysThatItGoesOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var out bytes.Buffer
		p := &project{out: &out}
		failed := errors.New("no room left")
		err := p.meanwhile("building", func() error {
			<-time.After(2*sayAgain + sayAgain/2)
			return failed
		})
		if want := "Still building, for 30s so far.\nStill building, for 1m0s so far.\n"; !errors.Is(err, failed) || out.String() != want {
			t.Errorf("meanwhile = %v and said %q, want %q", err, out.String(), want)
		}
	})
}

// The lines are what a person would type on each system.
func TestRecipe(t *testing.T) {
	want := []string{
		"sudo apt-get update && sudo apt-get install -y --no-install-recommends gcc",
		"sudo dnf install -y --setopt=install_weak_deps=False gcc",
		"sudo pacman -S --needed --noconfirm gcc",
	}
	for i, m := range managers() {
		if got := recipe(m, "sudo", []string{"gcc"}); got != want[i] {
			t.Errorf("recipe for %s is %q, want %q", m.name, got, want[i])
		}
	}
}

func TestChooseSteps(t *testing.T) {
	all := []step{{name: "a"}, {name: "b"}, {name: "c"}}
	got, err := choose(all, "c,a")
	if err != nil || len(got) != 2 || got[0].name != "a" || got[1].name != "c" {
		t.Errorf("choose c,a = %v, %v; want a and c in the table's order", got, err)
	}
	if got, err := choose(all, ""); err != nil || len(got) != 3 {
		t.Errorf("choose nothing = %v, %v; want all", got, err)
	}
	if _, err := choose(all, "a,x"); err == nil || !strings.Contains(err.Error(), `"x"`) {
		t.Errorf("choose a,x = %v, want an error that names x", err)
	}
}

func TestStepTellsFailuresAndCounts(t *testing.T) {
	var out bytes.Buffer
	p := &project{out: &out}
	s := step{name: "demo", about: "a demonstration", do: func(context.Context, *job) tally {
		return tally{passed: 3, failed: []trouble{{"pkg TestX", "want 1\ngot 2\n"}}}
	}}
	got, err := p.runStep(context.Background(), s, 0, filepath.Join(t.TempDir(), "demo.log"))
	if err != nil || got.passed != 3 || len(got.failed) != 1 {
		t.Fatalf("runStep = %v, %v", got, err)
	}
	for _, want := range []string{"demo     FAILED", "a demonstration (3 passed, 1 failed)", "  pkg TestX\n    want 1\n    got 2\n"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("output lacks %q:\n%s", want, out.String())
		}
	}
}

func TestWrongUse(t *testing.T) {
	t.Chdir(t.TempDir()) // no checkout here: wrong use is told before one is looked for
	for _, args := range [][]string{nil, {"bake"}} {
		var out, errs bytes.Buffer
		if code := dispatch(context.Background(), args, &out, &errs); code != exitUsage || !strings.Contains(errs.String(), "go run ./cmd/dev CHORE") {
			t.Errorf("dev %v: exit code %d and %q, want 2 and the usage", args, code, errs.String())
		}
	}
	var out, errs bytes.Buffer
	if code := dispatch(context.Background(), []string{"run"}, &out, &errs); code != exitFailed || !strings.Contains(errs.String(), "no checkout of Readback") {
		t.Errorf("dev run outside a checkout: exit code %d and %q", code, errs.String())
	}
}

func TestFindProject(t *testing.T) {
	root, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	below := filepath.Join(root, "diag", "bus")
	if err := os.MkdirAll(below, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(root, "go.mod"), []byte("module readback\n\ngo 1.26\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	t.Setenv("HOME", root)
	t.Setenv("XDG_CACHE_HOME", filepath.Join(root, "cache"))
	t.Chdir(below)
	p, err := findProject(&bytes.Buffer{})
	if err != nil || p.root != root {
		t.Errorf("findProject = %+v, %v; want root %s", p, err, root)
	}
}

func TestPlaceIn(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, practicePlace},
		{[]string{"--theme", "dark"}, practicePlace},
		{[]string{"--place", "can:can0"}, "can:can0"},
		{[]string{"--theme", "dark", "--place=tcp:192.168.0.10:35000"}, "tcp:192.168.0.10:35000"},
		{[]string{"--place"}, practicePlace},
	} {
		if got := placeIn(c.args); got != c.want {
			t.Errorf("placeIn(%q) = %q, want %q", c.args, got, c.want)
		}
	}
}

// The text is what apt-cache prints on Debian 12.
func TestKernelDependency(t *testing.T) {
	text := "linux-image-6.12-amd64\n  Depends: linux-image-6.12.117+deb12-amd64\n"
	if got := dependency(text); got != "linux-image-6.12.117+deb12-amd64" {
		t.Errorf("dependency = %q", got)
	}
	if got := dependency("N: Unable to locate package linux-image-6.12-amd64\n"); got != "" {
		t.Errorf("dependency of nothing = %q", got)
	}
}

func TestComplaint(t *testing.T) {
	if err := complaint("2026/01/01 Fyne: all is quiet\n"); err != nil {
		t.Errorf("a quiet log: %v", err)
	}
	for _, log := range []string{"*** Error in Fyne call thread, this should have been called in fyne.Do ***", "panic: runtime error\n\ngoroutine 1", "fatal error: concurrent map writes"} {
		if complaint("before\n"+log+"\n") == nil {
			t.Errorf("no complaint about %q", log)
		}
	}
}

func TestDrawn(t *testing.T) {
	picture := image.NewGray(image.Rect(0, 0, 100, 100))
	if drawn(picture) {
		t.Error("a black screen counts as drawn")
	}
	for i := range 60 {
		picture.SetGray(i, 50, color.Gray{Y: uint8(4 * i)})
	}
	if !drawn(picture) {
		t.Error("a picture of 60 shades does not count as drawn")
	}
}

func TestCutShort(t *testing.T) {
	for _, c := range []struct {
		want bool
		t    tally
	}{
		{false, tally{passed: 1}},
		{true, tally{failed: []trouble{{"FuzzX", "--- FAIL: FuzzX (5.1s)\n    context deadline exceeded\n"}}}},
		{false, tally{failed: []trouble{{"FuzzX", "    context deadline exceeded\n    Failing input written to testdata/fuzz/FuzzX/0a\n"}}}},
		{false, tally{failed: []trouble{{"FuzzX", "    panic: index out of range\n"}}}},
	} {
		if got := cutShort(c.t); got != c.want {
			t.Errorf("%+v: %v", c.t, got)
		}
	}
}

// A line with a block under each of its ends is no button.
func TestBlockIsNoLine(t *testing.T) {
	p := image.NewRGBA(image.Rect(0, 0, 200, 80))
	fill := func(x, y, w, h int) {
		for i := range w * h {
			p.Set(x+i%w, y+i/w, accent)
		}
	}
	fill(20, 8, 130, 2)
	fill(20, 8, 30, 40)
	fill(110, 8, 40, 40)
	if at, ok := wideBlock(p, accent); ok {
		t.Errorf("a block was found at %v", at)
	}
	fill(20, 50, 130, 28)
	if at, ok := wideBlock(p, accent); !ok || at.Y < 50 {
		t.Errorf("found %v, %v; want the block at the bottom", at, ok)
	}
}
