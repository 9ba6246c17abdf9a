package diag

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// TestWriteNew: a file is written whole or not at all, and none is written over.
func TestWriteNew(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.zip")
	say := func(text string, err error) func(io.Writer) error {
		return func(w io.Writer) error {
			_, e := io.WriteString(w, text)
			return errors.Join(e, err)
		}
	}
	failed := errors.New("half way")
	if err := WriteNew(path, say("half", failed)); !errors.Is(err, failed) {
		t.Errorf("a writer that fails: %v", err)
	}
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("something is left of it: %v", err)
	}
	if err := WriteNew(path, say("first", nil)); err != nil {
		t.Fatal(err)
	}
	if err := WriteNew(path, say("second", nil)); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a file that is there: %v", err)
	}
	got := ""
	err := ReadAll(path, func(r io.ReaderAt, size int64) error {
		b, err := io.ReadAll(io.NewSectionReader(r, 0, size))
		got = string(b)
		return err
	})
	if err != nil || got != "first" {
		t.Errorf("read %q, %v", got, err)
	}
	if err := ReadAll(path, func(io.ReaderAt, int64) error { return failed }); !errors.Is(err, failed) {
		t.Errorf("a reader that fails: %v", err)
	}
	if err := ReadAll(filepath.Join(t.TempDir(), "none"), nil); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	if err := ReadAll(t.TempDir(), nil); err == nil {
		t.Error("a folder was read as a file")
	}
}
