package simcar

import "golang.org/x/sys/unix"

const (
	getTermios = unix.TIOCGETA
	setTermios = unix.TIOCSETA
)

// speedOf is 0, not known: the speeds that this system sets beyond termios can't be read back.
func speedOf(*unix.Termios) int { return 0 }
