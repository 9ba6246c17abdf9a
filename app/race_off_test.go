//go:build !race

package app

// watched tells which of many pictures are laid out: all of them.
func watched(int) bool { return true }
