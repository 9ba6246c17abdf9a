//go:build linux || darwin

package simcar

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// OpenPTY makes a pseudo terminal for ServeSerial: a program that opens slavePath as its serial port talks to
// master. The terminal passes every byte unchanged. It stays open between one program and the next, until master is
// closed.
func OpenPTY() (master io.ReadWriteCloser, slavePath string, err error) {
	m, s, err := pty.Open()
	if err != nil {
		return nil, "", fmt.Errorf("simcar: open pseudo terminal: %w", err)
	}
	if err := raw(s); err != nil {
		return nil, "", errors.Join(fmt.Errorf("simcar: set up %s: %w", s.Name(), err), m.Close(), s.Close())
	}
	return &terminal{File: m, slave: s}, s.Name(), nil
}

// terminal keeps the slave's side open too: without anybody there, reading the master would fail.
type terminal struct {
	*os.File

	mu     sync.Mutex // guards what follows: the slave's number may be used only while it is open
	slave  *os.File
	closed bool
}

// Close hangs the terminal up at once. Closing a file that is read in blocking mode does not end that reading, and the
// terminal would stay until the other end says something; so a byte from the slave's side ends it, which is not waited for.
// It may be called more than once.
func (t *terminal) Close() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.closed {
		return nil
	}
	t.closed = true
	err := t.File.Close()
	if unix.SetNonblock(int(t.slave.Fd()), true) == nil {
		_, _ = t.slave.Write([]byte{0}) // a terminal that is full has a reader that is awake
	}
	return errors.Join(err, t.slave.Close())
}

// Speed is the speed in bit/s that the program at the other end has set its port to; 0 when that is not known.
func (t *terminal) Speed() int {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.closed {
		return 0
	}
	set, err := unix.IoctlGetTermios(int(t.slave.Fd()), getTermios)
	if err != nil {
		return 0
	}
	return speedOf(set)
}

// raw turns everything off that a terminal does to bytes (termios, POSIX.1).
func raw(f *os.File) error {
	t, err := unix.IoctlGetTermios(int(f.Fd()), getTermios)
	if err != nil {
		return err
	}
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(int(f.Fd()), setTermios, t)
}
