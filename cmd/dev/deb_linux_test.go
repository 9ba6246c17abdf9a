package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// What a program is linked with becomes what its package needs. gcc and the library of X are needed for the window too.
func TestDebDepends(t *testing.T) {
	p := &project{root: t.TempDir(), out: &bytes.Buffer{}}
	link := func(text string, flags ...string) []byte {
		t.Helper()
		file := filepath.Join(p.root, "program")
		c := p.command(context.Background(), nil, compilerName(), append([]string{"-x", "c", "-", "-o", file, "-x", "none", "-Wl,--no-as-needed"}, flags...)...)
		c.Stdin = strings.NewReader(text)
		if said, err := c.CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, said)
		}
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		return content
	}
	const hello = "#include <stdio.h>\nint main(void) { return puts(\"hello\") < 0; }\n"
	got, err := debDepends(link(hello, "-lX11"), link(hello, "-static-pie"))
	if err != nil || !regexp.MustCompile(`^libc6 \(>= 2\.\d+\), libx11-6$`).MatchString(got) {
		t.Errorf("depends: %q, %v", got, err)
	}
	own := filepath.Join(p.root, "libown.so")
	c := p.command(context.Background(), nil, compilerName(), "-shared", "-x", "c", "-", "-o", own, "-Wl,-soname,libown.so.1")
	c.Stdin = strings.NewReader("int own(void) { return 1; }\n")
	if said, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	if _, err := debDepends(link(hello, own)); err == nil || !strings.Contains(err.Error(), "libown.so.1") {
		t.Errorf("a library that no package is known for: %v", err)
	}
}
