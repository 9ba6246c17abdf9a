//go:build !windows

package main

// start shows the window in this process. What goes wrong and is reported becomes words here. A graphics driver that ends this
// process before its first picture leaves the words to the guard.
func start(self string, f flags) int {
	g, err := newGuard(self)
	told(err) // the window can do without
	defer g.dismiss()
	defer func() {
		if r := recover(); r != nil {
			ended(r)
			panic(r)
		}
	}()
	var s screen
	patiently(func() { s = reach() }, g.dismiss)
	if s.Cause != "" {
		tell(s.words())
		return exitNoDisplay
	}
	return showWindow(f, s, g.dismiss)
}
