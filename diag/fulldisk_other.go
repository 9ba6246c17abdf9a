//go:build !windows

package diag

import "syscall"

// fullDisk are the errors of a disk without room.
var fullDisk = []syscall.Errno{syscall.ENOSPC, syscall.EDQUOT}
