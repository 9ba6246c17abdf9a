//go:build !windows

package main

import (
	"os"
	"time"
)

// start checks the display and shows the window, both in this process. What goes wrong and is reported becomes words here. A
// graphics driver that ends this process before its first picture leaves the words to the guard; one that does not answer is
// waited for no longer than checkTime.
func start(self string, f flags) (code int) {
	g, err := newGuard(self)
	told(err) // the window can do without
	defer g.dismiss()
	defer func() {
		if r := recover(); r != nil {
			ended(r)
			panic(r)
		}
	}()
	slow := time.AfterFunc(checkTime, func() { // the driver holds the main thread
		tell(screen{Cause: hung}.words())
		g.dismiss()
		os.Exit(exitNoDisplay)
	})
	s := examine()
	slow.Stop()
	if s.Cause != "" {
		tell(s.words())
		return exitNoDisplay
	}
	return showWindow(f, s, g.dismiss)
}
