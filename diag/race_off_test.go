//go:build !race

package diag_test

const raceOn = false
