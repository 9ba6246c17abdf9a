package diag

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"slices"
	"syscall"

	"readback/diag/adapter"
)

// errNoFile means that there is something else in the place of a file: a folder, or a device.
var errNoFile = errors.New("it is no file")

// systemSentence says what the operating system has refused to do with a file, "" for an error that is not about one. The
// system's own words stand in it as they are: they are in its language, and what others know them by.
func systemSentence(err error) string {
	var (
		file  *fs.PathError
		files *os.LinkError
		path  string
		why   error
	)
	switch {
	case errors.As(err, &file):
		path, why = file.Path, file.Err
	case errors.As(err, &files):
		path, why = files.New, files.Err
	default:
		return ""
	}
	switch {
	case errors.Is(why, errNoFile):
		return fmt.Sprintf("%s is no file. Choose a file.", path)
	case errors.Is(why, fs.ErrNotExist):
		return fmt.Sprintf("%s: there is no such file or folder (%v). Are its name and its folder right?", path, why)
	case errors.Is(why, fs.ErrExist):
		return fmt.Sprintf("%s is there already (%v). It was not written over. Choose another name.", path, why)
	case errors.Is(why, fs.ErrPermission):
		return fmt.Sprintf("This program may not use %s (%v). Choose another place.", path, why)
	case noRoom(why):
		return fmt.Sprintf("There is no room for %s (%v). Make room on the disk, or choose another place.", path, why)
	}
	return fmt.Sprintf("%s can't be read or written (%v). Choose another place, or try again.", path, why)
}

// noRoom reports that a disk is full, or that a user may keep no more on it.
func noRoom(err error) bool {
	var number syscall.Errno
	return errors.As(err, &number) && slices.Contains(fullDisk, number)
}

// portCause says in a few words why a port could not be opened. Words of the operating system stay as they are.
func portCause(err error) string {
	var (
		number syscall.Errno
		name   *net.DNSError
		late   net.Error
	)
	switch {
	case errors.Is(err, adapter.ErrTaken):
		return "another program has it"
	case errors.Is(err, adapter.ErrNotSerial):
		return "it is no serial port"
	case errors.Is(err, adapter.ErrNoInterface):
		return "there is no such interface"
	case errors.Is(err, adapter.ErrNotCAN):
		return "it is no CAN interface"
	case errors.Is(err, adapter.ErrDown):
		return "the interface is down"
	case errors.Is(err, adapter.ErrNoSockets):
		return "this system has no CAN sockets"
	case errors.As(err, &number):
		return number.Error()
	case errors.As(err, &name):
		return "no computer of this name is known"
	case errors.As(err, &late) && late.Timeout():
		return "no answer in time"
	case errors.Is(err, fs.ErrNotExist):
		return "it is not there"
	}
	return err.Error()
}
