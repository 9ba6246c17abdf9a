// Line shows a window with one line of text: what Readback's window is measured beside, because a window with nothing in it
// reads no font and draws nothing.
package main

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/app"
	"fyne.io/fyne/v2/widget"
)

func main() {
	w := app.New().NewWindow("Line")
	w.SetContent(widget.NewLabel("A line of text"))
	w.Resize(fyne.NewSize(1280, 820))
	w.ShowAndRun()
}
