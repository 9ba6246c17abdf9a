// Empty shows a window with nothing in it: what Readback's window is measured beside.
package main

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/app"
	"fyne.io/fyne/v2/container"
)

func main() {
	w := app.New().NewWindow("Empty")
	w.SetContent(container.NewWithoutLayout())
	w.Resize(fyne.NewSize(1280, 820))
	w.ShowAndRun()
}
