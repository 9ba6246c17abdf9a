package main

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A program with parts for one system each, one in C and a test, is checked for each of them.
func TestTypeCheck(t *testing.T) {
	root := t.TempDir()
	p := &project{root: root}
	write := func(name, text string) {
		t.Helper()
		file := filepath.Join(root, filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(file), 0o755), os.WriteFile(file, []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	write("go.mod", "module readback\n\ngo 1.26\n")
	write("main.go", "package main\n\nimport \"readback/part\"\n\nfunc main() { show(part.Number()) }\n")
	write("show_windows.go", "package main\n\nfunc show(n int) { println(n) }\n")
	write("show_darwin.go", "package main\n\n// void show(int);\nimport \"C\"\n\nfunc show(n int) { C.show(C.int(n)) }\n")
	write("part/part.go", "package part\n\nfunc Number() int { return 1 }\n")
	write("part/part_test.go", "package part_test\n\nimport (\n\t\"testing\"\n\n\t\"readback/part\"\n)\n\nfunc TestNumber(t *testing.T) { t.Log(part.Number()) }\n")
	for _, goos := range []string{"windows", "darwin"} {
		if err := p.typeCheck(context.Background(), goos, "amd64"); err != nil {
			t.Errorf("for %s: %v", goos, err)
		}
	}
	write("show_darwin.go", "package main\n\n// void show(int);\nimport \"C\"\n\nfunc show(text string) { C.show(C.int(text)) }\n")
	write("part/part_windows_test.go", "package part_test\n\nvar number string = 7\n")
	for goos, want := range map[string]string{"windows": "part_windows_test.go:3:", "darwin": "main.go:5:"} {
		if err := p.typeCheck(context.Background(), goos, "amd64"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("for %s: %v, want an error at %s", goos, err, want)
		}
	}
}
