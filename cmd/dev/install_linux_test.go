package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// script puts a program into a folder.
func script(t *testing.T, dir, name, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), []byte("#!/bin/sh\n"+text+"\n"), 0o755); err != nil {
		t.Fatal(err)
	}
}

// A computer that has nothing but a package manager and sudo, both of them scripts.
func bareComputer(t *testing.T, manager string) (p *project, dir string, out *bytes.Buffer) {
	t.Helper()
	dir = t.TempDir()
	script(t, dir, "apt-get", manager)
	script(t, dir, "sudo", `[ "$1" = -n ] && shift; exec "$@"`)
	t.Setenv("PATH", dir)
	out = &bytes.Buffer{}
	return &project{root: dir, cache: dir, out: out}, dir, out
}

func TestInstallTwice(t *testing.T) {
	p, dir, out := bareComputer(t, "")
	// The list can't be read anew, as with one broken source among many; the package is there all the same.
	script(t, dir, "apt-get", `echo "$@" >>`+dir+`/calls
[ "$1" = update ] && exit 100
echo '#!/bin/sh' >`+dir+`/wanted-program && /bin/chmod +x `+dir+`/wanted-program`)
	needs := []need{{what: "the wanted program", met: program("wanted-program"), packages: apt("wanted-package")}}
	for range 2 {
		if err := p.install(context.Background(), needs); err != nil {
			t.Fatal(err)
		}
	}
	calls, err := os.ReadFile(filepath.Join(dir, "calls"))
	if err != nil {
		t.Fatal(err)
	}
	if want := "update\ninstall -y --no-install-recommends wanted-package\n"; string(calls) != want {
		t.Errorf("apt-get was called with\n%swant, for both runs together,\n%s", calls, want)
	}
	if !strings.Contains(out.String(), "Not here yet: the wanted program.") {
		t.Errorf("the person was told %q", out.String())
	}
}

func TestInstallThatFails(t *testing.T) {
	for name, c := range map[string]struct{ manager, says string }{
		"the manager fails":           {"echo E: no such package; exit 100", "E: no such package"},
		"it installs something else":  {"exit 0", "still not to be found: the wanted program"},
		"and says how to do it alone": {"exit 100", "sudo apt-get update && sudo apt-get install -y --no-install-recommends wanted-package"},
	} {
		t.Run(name, func(t *testing.T) {
			p, _, _ := bareComputer(t, c.manager)
			err := p.install(context.Background(), []need{{what: "the wanted program", met: program("wanted-program"), packages: apt("wanted-package")}})
			var chosen *exit
			if !errors.As(err, &chosen) || chosen.code != exitUsage || !strings.Contains(chosen.text, c.says) {
				t.Errorf("install = %v, want exit code 2 and %q", err, c.says)
			}
		})
	}
}

func TestStaticProgram(t *testing.T) {
	p, dir, _ := bareComputer(t, "")
	script(t, dir, "no-program", "")
	for _, name := range []string{"no-program", "not-there"} {
		if staticProgram(name)(context.Background(), p) {
			t.Errorf("%s counts as a static program", name)
		}
	}
}
