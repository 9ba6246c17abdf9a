package diag_test

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"readback/diag"
)

// TestFullDisk writes to Linux's device that is always full (full(4)).
func TestFullDisk(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer full.Close()
	path := filepath.Join(t.TempDir(), "report.pdf")
	err = diag.WriteNew(path, func(io.Writer) error { _, err := full.Write([]byte("x")); return err })
	if got := diag.Sentence(err); !strings.HasPrefix(got, "There is no room for /dev/full (") {
		t.Errorf("%q", got)
	}
	if _, err := os.Stat(path); !os.IsNotExist(err) {
		t.Errorf("something was left: %v", err)
	}
}
