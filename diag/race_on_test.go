//go:build race

package diag_test

// raceOn: the race detector makes everything some ten times slower, and a sample shows it what there is to see.
const raceOn = true
