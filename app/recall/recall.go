// Package recall tells Fyne for how long it keeps what it has drawn and does not show any more. Its usual minute is too long
// for values that change twenty times in a second: each text that has been shown is a picture.
//
// Fyne reads this before main, so this package must run before it. It does for the reason that package locale gives: it
// waits for package os alone, and Fyne's cache also for strings, whose path comes later than this one's.
package recall

import "os"

// Variable is what Fyne reads, and Time what is put there unless the owner has put something. With ten seconds and less Fyne
// goes through all that is shown sixty times in a second, to keep it from being forgotten.
const (
	Variable = "FYNE_CACHE"
	Time     = "12s"
)

func init() {
	if os.Getenv(Variable) == "" {
		os.Setenv(Variable, Time)
	}
}
