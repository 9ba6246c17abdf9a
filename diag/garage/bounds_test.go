package garage

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
)

// zeros never end.
type zeros struct{ taken int }

func (z *zeros) Read(p []byte) (int, error) {
	clear(p)
	z.taken += len(p)
	return len(p), nil
}

// TestRescueTooLarge: a store beyond the bound is refused by its size, before anything of it is read; one that grows while it
// is read, at the bound.
func TestRescueTooLarge(t *testing.T) {
	var e *FileError
	dir := t.TempDir()
	path := filepath.Join(dir, "readback.db")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, MaxRescued+1); err != nil { // holes: nothing is written
		t.Fatal(err)
	}
	if _, err := Rescue(t.Context(), path, filepath.Join(dir, "new")); !errors.As(err, &e) || e.Fault != FaultTooLarge {
		t.Errorf("by its size: %v", err)
	}
	if _, err := Rescue(t.Context(), dir, filepath.Join(dir, "new")); err == nil {
		t.Error("a folder was rescued")
	}
	const most = 1 << 20
	var in zeros
	if _, err := readMost(&in, most); !errors.As(err, &e) || e.Fault != FaultTooLarge || in.taken > most+1 {
		t.Errorf("while it is read: %v, %d bytes taken", err, in.taken)
	}
	if b, err := readMost(bytes.NewReader(make([]byte, most)), most); err != nil || len(b) != most {
		t.Errorf("at the bound: %d bytes, %v", len(b), err)
	}
}

// endlessList is a file that says it is all one list of files, and counts what is read of it.
type endlessList struct {
	size int64
	read int64
}

func (l *endlessList) ReadAt(p []byte, off int64) (int, error) {
	const name = "a" // central directory header, APPNOTE.TXT of the ZIP format 4.3.12; then its end, 4.3.16
	entry := append(append([]byte("PK\x01\x02"), make([]byte, 42)...), name...)
	entry[28] = byte(len(name))
	end := append([]byte("PK\x05\x06"), make([]byte, 18)...)
	binary.LittleEndian.PutUint32(end[12:], uint32(l.size-22))
	got := 0
	for ; got < len(p) && off+int64(got) < l.size; got++ {
		if at := off + int64(got); at >= l.size-22 {
			p[got] = end[at-(l.size-22)]
		} else {
			p[got] = entry[at%int64(len(entry))]
		}
	}
	l.read += int64(got)
	if got < len(p) {
		return got, io.EOF
	}
	return got, nil
}

// TestLongDirectory: a file that says it holds more files than there can be is refused before its list fills the memory, and
// one that is larger than any, before anything of it is read.
func TestLongDirectory(t *testing.T) {
	s, err := Open(t.Context(), filepath.Join(t.TempDir(), "readback.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, c := range []struct{ size, most int64 }{{1 << 30, mostDirectory + 1<<20}, {MaxUnpacked + growthAllowance + 1, 0}} {
		var e *FileError
		l := &endlessList{size: c.size}
		if _, err := s.ImportCar(t.Context(), l, l.size); !errors.As(err, &e) || e.Fault != FaultTooLarge {
			t.Errorf("%d bytes: %v", c.size, err)
		}
		if l.read > c.most {
			t.Errorf("%d bytes: %d of them were read", c.size, l.read)
		}
	}
}
