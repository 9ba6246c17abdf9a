package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
)

// testFunc is a test or fuzz function of the checkout.
type testFunc struct {
	pkg  string // as "./diag/isotp"
	name string
}

// findTests lists the functions that `go test` would take for tests with this prefix, in the order of their folders.
func (p *project) findTests(prefix string) ([]testFunc, error) {
	var out []testFunc
	err := filepath.WalkDir(p.root, func(file string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && file != p.root && (strings.HasPrefix(d.Name(), ".") || strings.HasPrefix(d.Name(), "_") || d.Name() == "testdata"):
			return fs.SkipDir
		case d.IsDir() || !strings.HasSuffix(file, "_test.go"):
			return nil
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(p.root, filepath.Dir(file))
		if err != nil {
			return err
		}
		for _, decl := range parsed.Decls {
			if f, ok := decl.(*ast.FuncDecl); ok && f.Recv == nil && isTestName(f.Name.Name, prefix) {
				out = append(out, testFunc{"./" + filepath.ToSlash(rel), f.Name.Name})
			}
		}
		return nil
	})
	return out, err
}

// isTestName is the rule of `go help testfunc`: no lower-case letter behind the prefix.
func isTestName(name, prefix string) bool {
	rest, ok := strings.CutPrefix(name, prefix)
	return ok && (rest == "" || rest[0] < 'a' || rest[0] > 'z')
}

// isKernelTest: these tests want a kernel with CAN and are skipped where there is none.
func isKernelTest(name string) bool { return strings.HasSuffix(name, "Kernel") }

// kernelTests are the kernel tests of every package.
func (p *project) kernelTests() ([]testFunc, error) {
	tests, err := p.findTests("Test")
	tests = slices.DeleteFunc(tests, func(t testFunc) bool { return !isKernelTest(t.name) })
	return tests, err
}

// packagesOf lists the packages of tests, each once.
func packagesOf(tests []testFunc) []string {
	var out []string
	for _, t := range tests {
		if !slices.Contains(out, t.pkg) {
			out = append(out, t.pkg)
		}
	}
	return out
}

// leftTo reports whether a test that was skipped here is one that the lab runs. pkg is an import path.
func leftTo(lab []testFunc) func(pkg, test string) bool {
	return func(pkg, test string) bool {
		return slices.Contains(lab, testFunc{strings.Replace(pkg, "readback", ".", 1), test})
	}
}

// never is for runs in which nothing may be skipped.
func never(string, string) bool { return false }
