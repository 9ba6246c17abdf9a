//go:build unix

package garage

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lockFile takes a lock that belongs to this opening of the file: two openings in one process exclude each other too.
func lockFile(f *os.File) error {
	for {
		err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		switch {
		case errors.Is(err, unix.EINTR):
		case errors.Is(err, unix.EWOULDBLOCK):
			return errLocked
		default:
			return err
		}
	}
}
