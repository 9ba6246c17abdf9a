package app

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"readback/app/look"
)

// frame is the window's tree: page, margin, rail and strip. The order is the order of the keyboard: the page first.
func (w *Window) frame() fyne.CanvasObject {
	return container.New(zones{},
		look.Floor(look.Rail), look.Floor(look.Paper), look.Floor(look.Line), look.Floor(look.Line),
		w.main.Object, w.side.Object, w.rail.Object, w.strip)
}

// narrowWindow is the width below which there is less room beside the page.
const narrowWindow = 1180

// zones lays out the four zones. On a narrow window rail and margin give way first.
type zones struct{}

const stripHeight = 40

func (zones) Layout(o []fyne.CanvasObject, size fyne.Size) {
	rail, side := float32(232), float32(316)
	if size.Width < narrowWindow {
		rail, side = 212, 264
	}
	rail, side = min(look.Scaled(rail), float32(int(size.Width*0.26))), min(look.Scaled(side), float32(int(size.Width*0.3)))
	strip := look.Scaled(stripHeight)
	high := size.Height - strip
	place := func(x fyne.CanvasObject, left, top, w, h float32) {
		if at := fyne.NewPos(left, top); x.Position() != at { // a move draws the window again
			x.Move(at)
		}
		x.Resize(fyne.NewSize(w, h))
	}
	place(o[0], 0, 0, rail, high)
	place(o[1], rail, 0, size.Width-rail, high)
	place(o[2], rail-1, 0, 1, high)
	place(o[3], size.Width-side, 0, 1, high)
	place(o[4], rail, 0, size.Width-rail-side, high)
	place(o[5], size.Width-side+1, 0, side-1, high)
	place(o[6], 0, 0, rail-1, high)
	place(o[7], 0, high, size.Width, strip)
}

func (zones) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(760, 480) }
