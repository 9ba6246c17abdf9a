//go:build race

package explain

// raceOn tells that the race detector is watching.
const raceOn = true
