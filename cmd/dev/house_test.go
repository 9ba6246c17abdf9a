package main

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// topLevel is all that may lie at the top of the repository. What is new there belongs into one of the folders.
var topLevel = []string{
	"cmd", "app", "diag", "assets", "testdata", "FyneApp.toml", "go.mod", "go.sum",
	"README.md", "DEVELOPERS.md", "LICENSE", ".gitignore", ".ci",
}

func TestTopLevel(t *testing.T) {
	p, err := findProject(io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	names, err := atTop(p.root)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if !slices.Contains(topLevel, name) {
			t.Errorf("%s is not in the list of what lies at the top", name)
		}
	}
}

// atTop lists what git tracks at the top of a checkout. Where git or its folder is missing, it lists what lies there.
func atTop(root string) ([]string, error) {
	_, noGit := exec.LookPath("git")
	_, noRepository := os.Stat(filepath.Join(root, ".git"))
	var out []string
	if noGit != nil || noRepository != nil {
		entries, err := os.ReadDir(root)
		for _, e := range entries {
			if e.Name() != ".git" {
				out = append(out, e.Name())
			}
		}
		return out, err
	}
	c := exec.Command("git", "-c", "safe.directory=*", "ls-files", "-z") // the checkout may belong to somebody else
	c.Dir = root
	text, err := c.Output()
	if err != nil {
		return nil, err
	}
	for name := range strings.SplitSeq(string(text), "\x00") {
		if top, _, _ := strings.Cut(name, "/"); top != "" && !slices.Contains(out, top) {
			out = append(out, top)
		}
	}
	if len(out) == 0 {
		return nil, errors.New("git tracks no file here")
	}
	return out, nil
}

// What git does not track does not count; in a copy without git, all does.
func TestAtTop(t *testing.T) {
	root := t.TempDir()
	for _, name := range []string{"kept/a.go", "kept/b.go", "loose.txt"} {
		file := filepath.Join(root, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(file), 0o755), os.WriteFile(file, nil, 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	want := []string{"kept", "loose.txt"}
	if got, err := atTop(root); err != nil || !slices.Equal(got, want) {
		t.Errorf("without a repository: %q, %v; want %q", got, err, want)
	}
	if _, err := exec.LookPath("git"); err != nil {
		return // there is nothing more to be found out without git
	}
	for _, words := range [][]string{{"init", "-q"}, {"add", "kept"}} {
		c := exec.Command("git", words...)
		c.Dir = root
		if text, err := c.CombinedOutput(); err != nil {
			t.Fatalf("git %q: %v\n%s", words, err, text)
		}
	}
	if got, err := atTop(root); err != nil || !slices.Equal(got, want[:1]) {
		t.Errorf("with a repository: %q, %v; want %q", got, err, want[:1])
	}
}

// A kernel test may wait for the lab only where the lab will find it.
func TestKernelTestsAreFound(t *testing.T) {
	root := t.TempDir()
	for name, text := range map[string]string{
		"a/x_test.go":          "package a\n\nfunc TestOneKernel() {}\nfunc TestTwoKernel() {}\nfunc TestThree() {}\nfunc HelpKernel() {}\n",
		"b/x_test.go":          "package b\n\nfunc TestOther() {}\n",
		"b/x.go":               "package b\n\nfunc TestNoTestKernel() {}\n",
		"c/testdata/x_test.go": "package c\n\nfunc TestDataKernel() {}\n",
	} {
		file := filepath.Join(root, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(file), 0o755), os.WriteFile(file, []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	got, err := (&project{root: root}).kernelTests()
	want := []testFunc{{"./a", "TestOneKernel"}, {"./a", "TestTwoKernel"}}
	if err != nil || !slices.Equal(got, want) {
		t.Fatalf("kernel tests: %v, %v; want %v", got, err, want)
	}
	if packages := packagesOf(got); !slices.Equal(packages, []string{"./a"}) {
		t.Errorf("packages: %q, want ./a once", packages)
	}
	wait := leftTo(got)
	for _, c := range []struct {
		pkg, test string
		want      bool
	}{
		{"readback/a", "TestOneKernel", true},
		{"readback/a", "TestThree", false},
		{"readback/b", "TestOneKernel", false},
	} {
		if wait(c.pkg, c.test) != c.want {
			t.Errorf("%s of %s waits for the lab: %t, want %t", c.test, c.pkg, !c.want, c.want)
		}
	}
}

// What no program calls is told, unless a row allows it; so is a row that allows nothing.
func TestLeftOver(t *testing.T) {
	var all strings.Builder
	for _, u := range uncalled {
		name := u.name
		if name == "" {
			name = "Anything"
		}
		all.WriteString(u.at + "x.go:1:2: unreachable func: " + name + "\n")
	}
	if got := leftOver(all.String()); len(got) > 0 {
		t.Errorf("what the rows allow: %q", got)
	}
	const dead = "diag/isotp/x.go:7:1: unreachable func: Other"
	if got := leftOver(all.String() + dead + "\n"); !slices.Equal(got, []string{dead}) {
		t.Errorf("a function without a row: %q", got)
	}
	if got := leftOver(""); len(got) != len(uncalled) {
		t.Errorf("%d rows that allow nothing are told, of %d", len(got), len(uncalled))
	}
}
