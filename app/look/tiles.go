package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// tiles puts objects of one size into rows.
type tiles struct{ gap, least, last float32 }

// Tiles puts objects beside one another in columns that are at least so wide, all of a row as high as its highest.
func Tiles(gap, least float32, objects ...fyne.CanvasObject) *fyne.Container {
	return container.New(&tiles{gap: gap, least: least}, objects...)
}

// columns is how many objects a row holds. No row is left with a single object while another has more than two.
func (t *tiles) columns(n int, width float32) int {
	c := max(1, min(n, int((width+t.gap)/(t.least+t.gap))))
	if c > 2 && n%c == 1 {
		c--
	}
	return c
}

func (t *tiles) place(objects []fyne.CanvasObject, width float32, put func(o fyne.CanvasObject, x, y, w, h float32)) float32 {
	c := t.columns(len(objects), width)
	w := snap((width - t.gap*float32(c-1)) / float32(c))
	y := float32(0)
	for i := 0; i < len(objects); i += c {
		row := objects[i:min(i+c, len(objects))]
		h := float32(0)
		for _, o := range row {
			h = max(h, HeightFor(o, w))
		}
		for k, o := range row {
			put(o, float32(k)*(w+t.gap), y, w, h)
		}
		y += h + t.gap
	}
	return max(0, y-t.gap)
}

func (t *tiles) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	t.last = size.Width
	t.place(objects, size.Width, func(o fyne.CanvasObject, x, y, w, h float32) {
		o.Move(fyne.NewPos(x, y))
		o.Resize(fyne.NewSize(w, h))
	})
}

func (t *tiles) heightFor(objects []fyne.CanvasObject, width float32) float32 {
	return t.place(objects, width, func(fyne.CanvasObject, float32, float32, float32, float32) {})
}

func (t *tiles) natural(objects []fyne.CanvasObject) float32 {
	return t.least*float32(len(objects)) + t.gap*float32(len(objects)-1)
}

func (t *tiles) MinSize(objects []fyne.CanvasObject) fyne.Size { return minOf(t, objects, t.last) }
