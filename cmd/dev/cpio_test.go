package main

import (
	"bytes"
	"errors"
	"strings"
	"testing"
)

// The bytes follow the table in the kernel's Documentation/driver-api/early-userspace/buffer-format.rst: magic
// 070701, then 13 fields of 8 hex digits (inode, mode, uid, gid, links, time, file size, device major and minor,
// rdev major and minor, length of the name with its zero, checksum), the name, the content, each padded to 4.
func TestCPIO(t *testing.T) {
	var out bytes.Buffer
	c := newCPIO(&out)
	c.folder("bin")
	c.file("bin/a", 0o755, []byte("12345"))
	c.link("sh", "bin/a")
	if err := c.close(); err != nil {
		t.Fatal(err)
	}
	want := strings.Join([]string{
		"070701", "00000001", "000041ED", "00000000", "00000000", "00000002", "00000000", "00000000",
		"00000000", "00000000", "00000000", "00000000", "00000004", "00000000", "bin\x00\x00\x00",
		"070701", "00000002", "000081ED", "00000000", "00000000", "00000001", "00000000", "00000005",
		"00000000", "00000000", "00000000", "00000000", "00000006", "00000000", "bin/a\x00", "12345\x00\x00\x00",
		"070701", "00000003", "0000A1FF", "00000000", "00000000", "00000001", "00000000", "00000005",
		"00000000", "00000000", "00000000", "00000000", "00000003", "00000000", "sh\x00\x00\x00\x00", "bin/a\x00\x00\x00",
		"070701", "00000000", "00000000", "00000000", "00000000", "00000001", "00000000", "00000000",
		"00000000", "00000000", "00000000", "00000000", "0000000B", "00000000", "TRAILER!!!\x00\x00\x00\x00",
	}, "")
	if got := out.String(); got != want {
		t.Errorf("archive is\n%q\nwant\n%q", got, want)
	}
}

type fullDisk struct{ left int }

var errFull = errors.New("no space left")

func (f *fullDisk) Write(p []byte) (int, error) {
	if len(p) > f.left {
		return 0, errFull
	}
	f.left -= len(p)
	return len(p), nil
}

func TestCPIOReportsAFullDisk(t *testing.T) {
	c := newCPIO(&fullDisk{left: 5000})
	for range 10 {
		c.file("f", 0o644, make([]byte, 1000))
	}
	if err := c.close(); !errors.Is(err, errFull) {
		t.Errorf("close says %v, want %v", err, errFull)
	}
}
