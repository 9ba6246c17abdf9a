package diag_test

import (
	"go/ast"
	"path"
	"slices"
	"strings"
	"testing"
)

// borders are the ways out of this program and into it, and the only files that may use each. A new place needs a row,
// with what keeps it harmless.
var borders = []struct {
	uses   string   // package and name, * for all of them
	files  []string // path.Match patterns
	reason string
}{
	{"os/exec.*", []string{"cmd/readback/guard.go", "cmd/readback/launch.go", "cmd/readback/start_windows.go"}, "starts this program again, with its own flags; no shell, and nothing that a car or a file says"},
	{"syscall.Exec", nil, "the same"},
	{"os.StartProcess", nil, "the same"},
	{"plugin.*", nil, "no code is loaded"},
	{"unsafe.*", nil, "the language's checks hold everywhere"},
	{"net/http.*", nil, "nothing is fetched, sent home or served"},
	{"net.Listen", nil, "the practice car waits on the loopback address, through the next row"},
	{"net.ListenConfig", []string{"cmd/readback-cli/practice.go"}, "on the loopback address alone: TestPracticeWaitsHere"},
	{"net.ListenTCP", nil, "the same"},
	{"net.ListenUDP", nil, "the same"},
	{"net.Dial", nil, "through the next row"},
	{"net.Dialer", []string{"diag/adapter/elm/driver.go", "diag/adapter/slcan/driver.go"}, "to the address that the owner has given for a network adapter"},
	{"os.ReadFile", []string{"diag/adapter/socketcan/driver_linux.go"},
		"files have a size limit wherever somebody else may have made them; the kernel's files are short"},
	{"text/template.*", nil, "pages are made by html/template, which escapes"},
	{"html/template.HTML", nil, "nothing goes round the escaping"},
	{"html/template.JS", nil, "the same"},
	{"html/template.URL", nil, "the same"},
	{"html/template.HTMLAttr", nil, "the same"},
	{"archive/tar.*", nil, "one kind of package is read, by one file"},
	{"compress/*.*", nil, "nothing is unpacked but by the next row"},
	{"archive/zip.NewReader", []string{"diag/garage/bundle.go"}, "names are checked against a pattern, sizes and growth are limited before anything is unpacked"},
	{"archive/zip.OpenReader", nil, "the same"},
}

// TestBorders: what crosses a border does so in the files that are named for it. The chores in cmd/dev are not part of the
// program.
func TestBorders(t *testing.T) {
	used := map[string]bool{}
	for _, s := range sources(t) {
		if s.test || strings.HasPrefix(s.name, "cmd/dev/") {
			continue
		}
		names := map[string]string{} // by which the file knows a package -> its path
		for full, name := range s.imports() {
			names[name] = full
		}
		ast.Inspect(s.tree, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			id, ok := sel.X.(*ast.Ident)
			if !ok || names[id.Name] == "" {
				return true
			}
			for _, b := range borders {
				if fits, _ := path.Match(b.uses, names[id.Name]+"."+sel.Sel.Name); !fits {
					continue
				}
				i := slices.IndexFunc(b.files, func(pattern string) bool { ok, _ := path.Match(pattern, s.name); return ok })
				if i < 0 {
					t.Errorf("%s uses %s.%s: %s", s.at(n), names[id.Name], sel.Sel.Name, b.reason)
					continue
				}
				used[b.uses+" "+b.files[i]] = true
			}
			return true
		})
	}
	for _, b := range borders {
		for _, file := range b.files {
			if !used[b.uses+" "+file] {
				t.Errorf("%s does not use %s: the row is too wide", file, b.uses)
			}
		}
	}
}
