// Package app is the window of Readback: one file a page, plain values in, intent out.
//
// All state belongs to the window's thread. Work with the car runs in goroutines that the [Window] owns; what they
// learn comes back through one door, which lets at most one redraw wait and keeps redraws apart. A page is built
// anew from the state each time; parts that act stay the same objects, found again by their names, so that a press or
// the keyboard is never lost to a redraw.
//
// The package uses Fyne's widgets and canvas but neither its app driver nor OpenGL, so that all of it runs in tests
// without a display.
package app
