package diag

import "syscall"

// fullDisk are the errors of a disk without room: ERROR_HANDLE_DISK_FULL, ERROR_DISK_FULL and ERROR_DISK_QUOTA_EXCEEDED.
var fullDisk = []syscall.Errno{39, 112, 1295}
