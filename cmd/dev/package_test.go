package main

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"slices"
	"strings"
	"testing"
	"time"
)

var someStamp = stamp{version: "1.2.3", commit: "0a1b", when: time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC)}

// The names of fields are those of the CycloneDX 1.5 JSON schema.
func TestSBOM(t *testing.T) {
	programs := []built{
		{"one", []byte("abc"), &debug.BuildInfo{GoVersion: "go1.26.1", Deps: []*debug.Module{{Path: "example.org/b", Version: "v2.0.0", Sum: "h1:x"}}}},
		{"two", []byte("d"), &debug.BuildInfo{GoVersion: "go1.26.1", Deps: []*debug.Module{{Path: "example.org/b", Version: "v2.0.0"}, {Path: "example.org/a", Version: "v1.0.0"}}}},
	}
	kinds := map[string]string{"example.org/a": "MIT", "example.org/b": "Zlib"}
	text, err := sbom("whole", programs, kinds, someStamp)
	if err != nil {
		t.Fatal(err)
	}
	again, err := sbom("whole", programs, kinds, someStamp)
	if err != nil || string(again) != string(text) {
		t.Errorf("not the same twice: %v", err)
	}
	var doc struct {
		BomFormat, SpecVersion, SerialNumber string
		Metadata                             struct{ Timestamp string }
		Components                           []struct {
			Type, Name, Version, Purl string
			Hashes                    []struct{ Alg, Content string }
			Licenses                  []struct{ Expression string }
		}
		Dependencies []struct {
			Ref       string
			DependsOn []string
		}
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	if doc.BomFormat != "CycloneDX" || doc.SpecVersion != "1.5" || doc.Metadata.Timestamp != "2026-03-04T05:06:07Z" ||
		!regexp.MustCompile(`^urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`).MatchString(doc.SerialNumber) {
		t.Errorf("head: %s", text[:400])
	}
	var names []string
	for _, c := range doc.Components {
		names = append(names, c.Name+" "+c.Version+" "+c.Licenses[0].Expression)
	}
	want := []string{"one 1.2.3 MIT", "two 1.2.3 MIT", "example.org/a v1.0.0 MIT", "example.org/b v2.0.0 Zlib", "std 1.26.1 BSD-3-Clause"}
	if !slices.Equal(names, want) {
		t.Errorf("components %q, want %q", names, want)
	}
	// FIPS 180-2, appendix B.1: the digest of "abc".
	if h := doc.Components[0].Hashes; len(h) != 1 || h[0].Content != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Errorf("digest %v", h)
	}
	if d := doc.Dependencies; len(d) != 3 || !slices.Equal(d[0].DependsOn, []string{"one", "two"}) || len(d[1].DependsOn) != 2 || len(d[2].DependsOn) != 3 {
		t.Errorf("dependencies %+v", d)
	}
	if _, err := sbom("whole", programs, map[string]string{"example.org/a": "MIT"}, someStamp); err == nil || !strings.Contains(err.Error(), "example.org/b") {
		t.Errorf("a module without a licence: %v", err)
	}
}

// The list is in the form that sha256sum reads, and holds what other systems' packages left there too.
func TestKeep(t *testing.T) {
	dir := t.TempDir()
	if err := errors.Join(keep(dir, []product{{"b.zip", []byte("abc")}}), keep(dir, []product{{"a.deb", []byte("abc")}})); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(filepath.Join(dir, sumsFile))
	const digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" // FIPS 180-2, appendix B.1
	if want := digest + "  a.deb\n" + digest + "  b.zip\n"; err != nil || string(got) != want {
		t.Errorf("got %q, %v\nwant %q", got, err, want)
	}
}

func TestCompare(t *testing.T) {
	p := &project{out: &safeBuffer{}}
	one := []product{{"a", []byte("1")}, {"b", []byte("2")}}
	if err := p.compare(one, []product{{"a", []byte("1")}, {"b", []byte("2")}}); err != nil {
		t.Errorf("the same: %v", err)
	}
	for _, other := range [][]product{{{"a", []byte("1")}}, {{"a", []byte("1")}, {"b", []byte("3")}}, {{"a", []byte("1")}, {"c", []byte("2")}}} {
		if p.compare(one, other) == nil {
			t.Errorf("%v counts as the same", other)
		}
	}
}

// SOURCE_DATE_EPOCH is that of reproducible-builds.org/specs/source-date-epoch.
func TestStamp(t *testing.T) {
	root := t.TempDir()
	if err := os.WriteFile(filepath.Join(root, "FyneApp.toml"), []byte("[Details]\nVersion = \"1.2.3\"\nBuild = 1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	t.Setenv("SOURCE_DATE_EPOCH", "1700000000")
	t.Setenv("GIT_CEILING_DIRECTORIES", filepath.Dir(root))
	v, err := (&project{root: root}).stamp(context.Background())
	if err != nil || v.version != "1.2.3" || v.commit != "unknown" || v.when.Unix() != 1700000000 {
		t.Errorf("%+v, %v", v, err)
	}
	t.Setenv("SOURCE_DATE_EPOCH", "")
	if _, err := (&project{root: root}).stamp(context.Background()); err == nil {
		t.Error("a time was made up")
	}
	if _, err := exec.LookPath("git"); err != nil {
		return // there is nothing more to be found out without git
	}
	for _, words := range [][]string{{"init", "-q"}, {"add", "."}, {"-c", "user.name=a", "-c", "user.email=a@b.invalid", "commit", "-q", "-m", "a", "--date", "2026-03-04T05:06:07Z"}} {
		c := exec.Command("git", words...)
		c.Dir = root
		c.Env = append(os.Environ(), "GIT_COMMITTER_DATE=2026-03-04T05:06:07Z")
		if text, err := c.CombinedOutput(); err != nil {
			t.Fatalf("git %q: %v\n%s", words, err, text)
		}
	}
	if v, err = (&project{root: root}).stamp(context.Background()); err != nil || !v.when.Equal(someStamp.when) || len(v.commit) != 40 {
		t.Errorf("of a commit: %+v, %v", v, err)
	}
	if err := os.WriteFile(filepath.Join(root, "new"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if v, err = (&project{root: root}).stamp(context.Background()); err != nil || !strings.HasSuffix(v.commit, " with changes") {
		t.Errorf("with a new file: %+v, %v", v, err)
	}
}

// Every command of the README's table is in the manual page, and nothing in it is taken for a command of roff.
func TestManCommands(t *testing.T) {
	got, err := manCommands("x\n\n" + commandTable + "\n|---|---|\n| `one TEXT…` | does `--a` thing |\n| `'two`, `three` | more |\n\nafter | this\n")
	want := ".TP\n\\fBone TEXT...\\fR\ndoes \\fB\\-\\-a\\fR thing.\n.TP\n\\fB'two\\fR, \\fBthree\\fR\nmore."
	if err != nil || got != want {
		t.Errorf("got %q, %v\nwant %q", got, err, want)
	}
	if got := roff(".hidden"); got != `\&.hidden` {
		t.Errorf("a dot in front became %q", got)
	}
	if _, err := manCommands("nothing"); err == nil {
		t.Error("a README without the table was taken")
	}
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	if got, err = manCommands(string(readme)); err != nil || strings.Count(got, ".TP\n") < 15 || !strings.Contains(got, "\\fBexplain TEXT...\\fR") {
		t.Errorf("of the README: %v\n%s", err, got)
	}
}

// FILEVERSION has four numbers; both texts of the version and the manifest agree with it.
func TestResources(t *testing.T) {
	script := resourceScript("readback", "Readback", "1.2.3")
	for _, want := range []string{"FILEVERSION 1,2,3,0\n", "PRODUCTVERSION 1,2,3,0\n", `VALUE "FileVersion", "1.2.3"`, `VALUE "OriginalFilename", "readback.exe"`, `GLFW_ICON ICON "readback.ico"`} {
		if !strings.Contains(script, want) {
			t.Errorf("the script lacks %q:\n%s", want, script)
		}
	}
	if m := resourceManifest("readback", "1.2.3"); !strings.Contains(m, `version="1.2.3.0"`) || !strings.Contains(m, "asInvoker") {
		t.Errorf("the manifest: %s", m)
	}
	if got := wineName("/a/b c"); got != `Z:\a\b c` {
		t.Errorf("under Wine: %s", got)
	}
}

// A text of a package has no mark left in it.
func TestPackageTexts(t *testing.T) {
	b := &packer{stamp: someStamp}
	for _, system := range []string{"linux", "windows"} {
		if text, err := b.readMe(system); err != nil || strings.Contains(text, "@") || !strings.HasPrefix(text, "Readback 1.2.3\n") {
			t.Errorf("README.txt for %s: %v\n%s", system, err, text)
		}
	}
	for _, name := range []string{"readback.1", "readback-cli.1", "readback.desktop", "install.sh"} {
		if text, err := b.text(name, "@COMMANDS@", ""); err != nil || strings.Contains(text, "@") {
			t.Errorf("%s: %v\n%s", name, err, text)
		}
	}
}

// Debian Policy 5.3 (control), 5.6.20 (Installed-Size in KiB), and the form of md5sums(5).
func TestDebianControl(t *testing.T) {
	files := []packed{{name: "usr/bin/a", content: make([]byte, 1025)}, {name: "usr/bin/b", content: []byte("abc")}}
	got := debControl("1.2.3", "amd64", "libc6 (>= 2.34)", files)
	for _, want := range []string{"Package: readback\n", "Version: 1.2.3\n", "Installed-Size: 5\n", "Depends: libc6 (>= 2.34)\n", "Description: "} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	for line := range strings.Lines(got) {
		if !strings.HasPrefix(line, " ") && !regexp.MustCompile(`^[A-Z][A-Za-z-]*: \S.*\n$`).MatchString(line) {
			t.Errorf("not a line of a control file: %q", line)
		}
	}
	// RFC 1321, A.5: the digest of "abc".
	if sums := debSums(files[1:]); sums != "900150983cd24fb0d6963f7d28e17f72  usr/bin/b\n" {
		t.Errorf("md5sums: %q", sums)
	}
	if c := debChangelog(someStamp); !strings.Contains(c, "readback (1.2.3) unstable; urgency=") || !strings.HasSuffix(c, ">  Wed, 04 Mar 2026 05:06:07 +0000\n") {
		t.Errorf("changelog: %q", c)
	}
	if c := debCopyright("MIT License", []licence{{"example.org/a", "v1", "Zlib", "long"}}); !strings.Contains(c, "example.org/a v1: Zlib\n") || !strings.HasPrefix(c, "Readback\n\nMIT License\n") {
		t.Errorf("copyright: %q", c)
	}
}

func TestGlibcVersion(t *testing.T) {
	for text, want := range map[string][2]int{"GLIBC_2.34": {2, 34}, "GLIBC_2.2.5": {2, 2}, "GLIBC_PRIVATE": {}, "GCC_3.0": {}, "": {}} {
		if got, ok := glibcVersion(text); got != want || ok != (want != [2]int{}) {
			t.Errorf("%q is %v, %t", text, got, ok)
		}
	}
}
