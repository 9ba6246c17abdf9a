package ports

import (
	"os"
	"os/user"
	"strconv"
	"syscall"

	"golang.org/x/sys/unix"
)

// refused reports that this user may not open a port that is there.
func refused(name string) bool {
	return unix.Access(name, unix.R_OK|unix.W_OK) == unix.EACCES
}

// giveRights is the command that lets this user open the port, "" where none is known: a port belongs to a group, and who
// is in it may open it after logging in anew.
func giveRights(name string) string {
	info, err := os.Stat(name)
	if err != nil {
		return ""
	}
	s, ok := info.Sys().(*syscall.Stat_t)
	if !ok || s.Gid == 0 {
		return "" // nobody should be told to join root's group
	}
	g, err := user.LookupGroupId(strconv.FormatUint(uint64(s.Gid), 10))
	if err != nil {
		return ""
	}
	return "sudo usermod -a -G " + g.Name + " \"$USER\""
}
