package app

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"

	"readback/app/look"
)

// frame is the window's tree: page, foot, margin, rail, strip, and the bar of menus, but where the system draws that. The order
// is the order of the keyboard: the page first. The paper under all of them is what the window is cleared with, so it is not
// painted a second time.
func (w *Window) frame() fyne.CanvasObject {
	objects := []fyne.CanvasObject{look.Floor(look.Rail), look.Floor(look.Line), look.Floor(look.Line),
		w.main.Object, w.foot.Object, w.side.Object, w.rail.Object, w.strip}
	if w.menu.bar != nil {
		objects = append(objects, look.Floor(look.Line), w.menu.bar)
	}
	return container.New(&zones{main: w.main, foot: w.foot, bar: w.menu.bar, resized: w.resized}, objects...)
}

// narrowWindow is the width below which there is less room beside the page.
const narrowWindow = 1180

// The page and the margin are never wider than widestPage and widestMargin. Where the page would be narrower than leastPage,
// the margin stands under it.
const (
	leastPage    = 420
	widestPage   = 1300
	widestMargin = 460
)

// zones lays out the zones. On a narrow window rail and margin give way first.
type zones struct {
	main    *look.Scroller
	foot    *look.Slot
	bar     *look.MenuBar // nil where there is none
	last    fyne.Size
	resized func() // is told when the window has another size
}

const stripHeight = 40

// columns are the widths of rail, page and margin in a window of a width. The margin is 0 where it stands under the page.
func columns(width float32) (rail, page, side float32) {
	rail, side = 232, 316
	if width < narrowWindow {
		rail, side = 212, 264
	}
	// Small text leaves the rail as it is: what stands in it is small already.
	rail, side = min(max(rail, look.Scaled(rail)), float32(int(width*0.29))), min(look.Scaled(side), float32(int(width*0.3)))
	// On a very wide window lines stay short enough to be read: first the margin gets wider, then room is left at both sides.
	page = width - rail - side
	if page < look.Scaled(leastPage) {
		return rail, width - rail, 0
	}
	if over := page - look.Scaled(widestPage); over > 0 {
		wider := min(over, look.Scaled(widestMargin)-side)
		page, side = look.Scaled(widestPage), side+max(0, wider)
	}
	return rail, page, side
}

// marginBelow tells whether the margin stands under the page.
func (w *Window) marginBelow() bool {
	_, _, side := columns(w.win.Canvas().Size().Width)
	return side == 0
}

// enoughHeight is the height of a window, with its bar of menus, from which on all rows of the gate are in sight by themselves.
const enoughHeight = 850

// lowWindow tells whether the window has so little height that a page leaves out what it can do without.
func (w *Window) lowWindow() bool { return w.win.Content().Size().Height < look.Scaled(enoughHeight) }

// resized draws the page again where its size changes more than the places of its parts.
func (w *Window) resized() {
	if w.drawn != (drawn{}) && w.drawn != w.drawing() {
		w.door.hand("resized", func() {})
	}
}

// drawn is what of the window's size the page was built for.
type drawn struct {
	below bool
	low   bool
	size  fyne.Size // the zero Size when the page is the same in all
}

func (w *Window) drawing() drawn {
	d := drawn{below: w.marginBelow(), low: w.lowWindow()}
	if w.page == PageLive {
		d.size = w.win.Canvas().Size()
	}
	return d
}

// heights are those of a page of a width and of its foot. Under a short page the foot stands where that ends.
func heights(main *look.Scroller, foot *look.Slot, width, high float32) (body, below float32) {
	below = foot.HeightFor(width)
	if body = high - below; below > 0 {
		body = min(body, main.HeightFor(width))
	}
	return body, below
}

// settle lays the zones out again where the height of the page or of its foot, or the size of the bar of menus, asks for it.
func (w *Window) settle() {
	size := w.win.Content().Size() // without a menu of the system's
	_, page, _ := columns(size.Width)
	body, foot := heights(w.main, w.foot, page, size.Height-barHeight(w.menu.bar)-look.Scaled(stripHeight))
	bar := w.menu.bar
	if w.main.Object.Size().Height != body || w.foot.Object.Size().Height != foot || bar != nil && bar.Size() != barSize(bar, size.Width) {
		w.win.Content().Refresh()
	}
}

// barHeight is the room that the bar of menus takes, and the line under it.
func barHeight(bar *look.MenuBar) float32 {
	if bar == nil {
		return 0
	}
	return bar.MinSize().Height + 1
}

func barSize(bar *look.MenuBar, width float32) fyne.Size {
	size := bar.MinSize()
	return fyne.NewSize(min(width, size.Width), size.Height)
}

func (z *zones) Layout(o []fyne.CanvasObject, size fyne.Size) {
	bar := barHeight(z.bar)
	rail, page, side := columns(size.Width)
	left := rail + float32(int(size.Width-rail-page-side)/2)
	strip := look.Scaled(stripHeight)
	high := size.Height - strip - bar
	body, foot := heights(z.main, z.foot, page, high)
	place := func(x fyne.CanvasObject, at, top, w, h float32) {
		if at := fyne.NewPos(at, top); x.Position() != at { // a move draws the window again
			x.Move(at)
		}
		x.Resize(fyne.NewSize(w, h))
	}
	place(o[0], 0, bar, rail, high)
	place(o[1], rail-1, bar, 1, high)
	place(o[2], left+page, bar, min(1, side), high)
	place(o[3], left, bar, page, body)
	place(o[4], left, bar+body, page, foot)
	place(o[5], left+page+1, bar, max(0, side-1), high)
	place(o[6], 0, bar, rail-1, high)
	place(o[7], 0, bar+high, size.Width, strip)
	if z.bar != nil {
		place(o[8], 0, bar-1, size.Width, 1)
		own := barSize(z.bar, size.Width)
		place(o[9], 0, 0, own.Width, own.Height)
	}
	if z.last != size {
		z.last = size
		z.resized()
	}
}

func (*zones) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(760, 480) }
