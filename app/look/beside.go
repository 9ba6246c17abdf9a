package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// beside puts a name of a fixed width before what it names, or above it where there is not enough room.
type beside struct{ name, least, gap, last float32 }

// Beside puts a name before what it names. The name is so wide; where there is not at least room of least for the other
// beside it, it stands above.
func Beside(width, least float32, name, o fyne.CanvasObject) *fyne.Container {
	return container.New(&beside{name: width, least: least, gap: 16}, name, o)
}

func (b *beside) above(width float32) bool { return width < b.name+b.gap+b.least }

func (b *beside) Layout(o []fyne.CanvasObject, size fyne.Size) {
	b.last = size.Width
	put := func(x fyne.CanvasObject, left, top, w, h float32) {
		x.Move(fyne.NewPos(left, top))
		x.Resize(fyne.NewSize(w, h))
	}
	if b.above(size.Width) {
		h := HeightFor(o[0], size.Width)
		put(o[0], 0, 0, size.Width, h)
		put(o[1], 0, h, size.Width, HeightFor(o[1], size.Width))
		return
	}
	rest := size.Width - b.name - b.gap
	h0, h1 := HeightFor(o[0], b.name), HeightFor(o[1], rest)
	put(o[0], 0, snap((size.Height-h0)/2), b.name, h0)
	put(o[1], b.name+b.gap, snap((size.Height-h1)/2), rest, h1)
}

func (b *beside) heightFor(o []fyne.CanvasObject, width float32) float32 {
	if b.above(width) {
		return HeightFor(o[0], width) + HeightFor(o[1], width)
	}
	return max(HeightFor(o[0], b.name), HeightFor(o[1], width-b.name-b.gap))
}

func (b *beside) natural(o []fyne.CanvasObject) float32   { return b.name + b.gap + naturalWidth(o[1]) }
func (b *beside) MinSize(o []fyne.CanvasObject) fyne.Size { return minOf(b, o, b.last) }
