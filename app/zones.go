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

// The page and the margin are never wider than this.
const (
	widestPage   = 1300
	widestMargin = 460
)

// zones lays out the four zones. On a narrow window rail and margin give way first.
type zones struct{}

const stripHeight = 40

func (zones) Layout(o []fyne.CanvasObject, size fyne.Size) {
	rail, side := float32(232), float32(316)
	if size.Width < narrowWindow {
		rail, side = 212, 264
	}
	rail, side = min(look.Scaled(rail), float32(int(size.Width*0.26))), min(look.Scaled(side), float32(int(size.Width*0.3)))
	// On a very wide window lines stay short enough to be read: first the margin gets wider, then room is left at the right.
	page := size.Width - rail - side
	if over := page - look.Scaled(widestPage); over > 0 {
		wider := min(over, look.Scaled(widestMargin)-side)
		page, side = look.Scaled(widestPage), side+max(0, wider)
	}
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
	place(o[3], rail+page, 0, 1, high)
	place(o[4], rail, 0, page, high)
	place(o[5], rail+page+1, 0, side-1, high)
	place(o[6], 0, 0, rail-1, high)
	place(o[7], 0, high, size.Width, strip)
}

func (zones) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(760, 480) }
