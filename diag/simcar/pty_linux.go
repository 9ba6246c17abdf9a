package simcar

import "golang.org/x/sys/unix"

const (
	getTermios = unix.TCGETS
	setTermios = unix.TCSETS
)

// speeds by their flags in termios.
var speedFlags = map[uint32]int{
	unix.B9600: 9600, unix.B19200: 19200, unix.B38400: 38400, unix.B57600: 57600, unix.B115200: 115200, unix.B230400: 230400,
	unix.B500000: 500000,
}

// speedOf is the speed in bit/s that a terminal is set to, 0 when that is not known.
func speedOf(t *unix.Termios) int { return speedFlags[uint32(t.Cflag)&unix.CBAUD] }
