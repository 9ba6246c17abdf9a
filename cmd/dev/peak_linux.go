package main

import (
	"os"
	"syscall"
)

// peakOf is the most memory that an ended program had at a time, in megabytes.
func peakOf(s *os.ProcessState) float64 {
	if u, ok := s.SysUsage().(*syscall.Rusage); ok {
		return float64(u.Maxrss) * 1024 / 1e6
	}
	return 0
}
