//go:build race

package app

// watched tells which of many pictures are laid out while the race detector is watching: pages are laid out by one
// goroutine, and what works beside it is in the tests of behaviour, all of which run.
func watched(i int) bool { return i%8 == 0 }
