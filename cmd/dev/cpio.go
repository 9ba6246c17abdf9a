package main

import (
	"bufio"
	"fmt"
	"io"
	"io/fs"
)

// cpioWriter writes an archive of the "newc" form, which the kernel unpacks as its first file system. The form is
// described in the kernel's Documentation/driver-api/early-userspace/buffer-format.rst: a header of 110 ASCII bytes,
// the name with a zero byte, the content; name and content each padded to a multiple of 4.
type cpioWriter struct {
	w    *bufio.Writer
	node uint32
	at   int64
	err  error
}

func newCPIO(w io.Writer) *cpioWriter { return &cpioWriter{w: bufio.NewWriter(w)} }

// The file types of the mode field, as in stat(2).
const (
	cpioFolder = 0o040000
	cpioFile   = 0o100000
	cpioLink   = 0o120000
)

func (c *cpioWriter) folder(name string) { c.entry(name, cpioFolder|0o755, nil) }

func (c *cpioWriter) file(name string, perm fs.FileMode, content []byte) {
	c.entry(name, cpioFile|uint32(perm.Perm()), content)
}

func (c *cpioWriter) link(name, target string) { c.entry(name, cpioLink|0o777, []byte(target)) }

// close writes the entry that ends an archive. The first error of any entry is returned here.
func (c *cpioWriter) close() error {
	c.node = 0
	c.put("TRAILER!!!", 0, 0, nil)
	if c.err != nil {
		return c.err
	}
	return c.w.Flush()
}

func (c *cpioWriter) entry(name string, mode uint32, content []byte) {
	c.node++
	c.put(name, c.node, mode, content)
}

func (c *cpioWriter) put(name string, node, mode uint32, content []byte) {
	links := 1
	if mode&cpioFolder == cpioFolder && mode&cpioFile == 0 {
		links = 2
	}
	// magic, inode, mode, uid, gid, links, time, size, device (two), device of a device file (two), name's length, checksum
	c.write([]byte(fmt.Sprintf("070701%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X%08X",
		node, mode, 0, 0, links, 0, len(content), 0, 0, 0, 0, len(name)+1, 0)))
	c.write(append([]byte(name), 0))
	c.pad()
	c.write(content)
	c.pad()
}

func (c *cpioWriter) write(b []byte) {
	if c.err != nil {
		return
	}
	var n int
	n, c.err = c.w.Write(b)
	c.at += int64(n)
}

func (c *cpioWriter) pad() { c.write(make([]byte, (4-c.at%4)%4)) }
