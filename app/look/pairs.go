package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// pairs puts objects into two columns, row by row.
type pairs struct{ gap, last float32 }

// Pairs puts objects into two columns, or under one another where there is no room for two. The second column begins in the
// middle, so that groups under one another stand in line; where the first is wider, or the second does not fit there, right
// beside the first.
func Pairs(gap float32, objects ...fyne.CanvasObject) *fyne.Container {
	return container.New(&pairs{gap: gap}, objects...)
}

// widths are those of the columns.
func (p *pairs) widths(objects []fyne.CanvasObject) (w [2]float32) {
	for i, o := range objects {
		w[i%2] = max(w[i%2], naturalWidth(o))
	}
	return w
}

func (p *pairs) place(objects []fyne.CanvasObject, width float32, put func(o fyne.CanvasObject, at fyne.Position, size fyne.Size)) float32 {
	w := p.widths(objects)
	n, left := 2, w[0]+p.gap
	if middle := snap(width / 2); middle > left && middle+w[1] <= width {
		left = middle
	}
	if left+w[1] > width {
		n, left = 1, 0
	}
	y, high := float32(0), float32(0)
	for i, o := range objects {
		at := fyne.NewPos(float32(i%n)*left, y)
		room := min(naturalWidth(o), width-at.X)
		h := HeightFor(o, room)
		put(o, at, fyne.NewSize(room, h))
		if high = max(high, h); i%n == n-1 || i == len(objects)-1 {
			y, high = y+high, 0
		}
	}
	return y
}

func (p *pairs) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	p.last = size.Width
	p.place(objects, size.Width, stand)
}

func (p *pairs) heightFor(objects []fyne.CanvasObject, width float32) float32 {
	return p.place(objects, width, func(fyne.CanvasObject, fyne.Position, fyne.Size) {})
}

func (p *pairs) natural(objects []fyne.CanvasObject) float32 {
	w := p.widths(objects)
	return w[0] + p.gap + w[1]
}

func (p *pairs) MinSize(objects []fyne.CanvasObject) fyne.Size { return minOf(p, objects, p.last) }
