package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"slices"
	"testing"
	"time"
)

var (
	someTime  = time.Date(2026, 3, 4, 5, 6, 8, 0, time.UTC)
	someFiles = []packed{{"b/two", false, []byte("22")}, {"b/a/one", true, []byte("1")}}
)

// Whoever found the files in whatever order gets the same archive, and its reader finds everything in it.
func TestTarAndZip(t *testing.T) {
	turned := []packed{someFiles[1], someFiles[0]}
	for name, pack := range map[string]func([]packed) ([]byte, error){
		"tar": func(f []packed) ([]byte, error) { return tarOf(f, "./", someTime) },
		"zip": func(f []packed) ([]byte, error) { return zipOf(f, someTime) },
	} {
		one, err1 := pack(someFiles)
		two, err2 := pack(turned)
		if err := errors.Join(err1, err2); err != nil || !bytes.Equal(one, two) {
			t.Errorf("%s: the order of the files is in it: %v", name, err)
		}
	}
	archive, err := tarOf(someFiles, "./", someTime)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for r := tar.NewReader(bytes.NewReader(archive)); ; {
		h, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		names = append(names, h.Name)
		if !h.ModTime.Equal(someTime) || h.Uid != 0 || h.Uname != "root" {
			t.Errorf("%s is of %s and belongs to %q", h.Name, h.ModTime, h.Uname)
		}
		if want := map[string]int64{"./b/a/one": 0o755, "./b/two": 0o644, "./b/": 0o755, "./b/a/": 0o755}[h.Name]; h.Mode != want {
			t.Errorf("%s has mode %o, want %o", h.Name, h.Mode, want)
		}
	}
	if want := []string{"./b/", "./b/a/", "./b/a/one", "./b/two"}; !slices.Equal(names, want) {
		t.Errorf("the archive holds %q, want %q", names, want)
	}
	archive, err = zipOf(someFiles, someTime)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := unzip(archive, dir); err != nil {
		t.Fatal(err)
	}
	r, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil || len(r.File) != 2 || r.File[0].Name != "b/a/one" || !r.File[0].Modified.Equal(someTime) || r.File[0].Mode() != 0o755 {
		t.Errorf("the zip archive: %+v, %v", r, err)
	}
	if err := nothingLeft(dir); err == nil {
		t.Error("two unpacked files count as nothing")
	}
	if err := nothingLeft(dir, "b"); err != nil {
		t.Errorf("files in a folder that does not count: %v", err)
	}
}

// The form is that of ar(5): a line of 60 bytes for each member, and an even length.
func TestAr(t *testing.T) {
	got, err := arOf([]packed{{name: "debian-binary", content: []byte("2.0\n")}, {name: "x", content: []byte("odd")}}, time.Unix(1700000000, 0))
	want := "!<arch>\n" +
		"debian-binary   1700000000  0     0     100644  4         `\n2.0\n" +
		"x               1700000000  0     0     100644  3         `\nodd\n"
	if err != nil || string(got) != want {
		t.Errorf("got %q, %v\nwant %q", got, err, want)
	}
	if _, err := arOf([]packed{{name: "sixteen-letters-"}}, someTime); err == nil {
		t.Error("a name that is too long was taken")
	}
}

func TestGzipped(t *testing.T) {
	got, err := gzipped([]byte("text"))
	if err != nil {
		t.Fatal(err)
	}
	r, err := gzip.NewReader(bytes.NewReader(got))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(r)
	if err != nil || string(text) != "text" || r.Name != "" || !r.ModTime.IsZero() {
		t.Errorf("%q, named %q, of %s, %v", text, r.Name, r.ModTime, err)
	}
}
