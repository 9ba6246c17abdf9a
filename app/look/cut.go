package look

import (
	"sort"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// Cut is one row of text that ends in an ellipsis where there is no room for all of it. It is for lists whose rows are
// equally high; the whole text has to stand somewhere else.
type Cut struct {
	widget.BaseWidget
	runs []Run
}

// NewCut makes a row of text.
func NewCut(runs ...Run) *Cut {
	c := &Cut{runs: runs}
	c.ExtendBaseWidget(c)
	return c
}

// String is the whole text.
func (c *Cut) String() string { return (&Text{runs: c.runs}).String() }

// HeightFor is the same at every width.
func (c *Cut) HeightFor(float32) float32 {
	h := Style{Size: SizeFine}.pitch()
	for _, r := range c.runs {
		h = max(h, r.pitch())
	}
	return h
}

func (c *Cut) natural() float32 {
	w := float32(0)
	for _, r := range c.runs {
		w += r.measure(r.Text)
	}
	return snap(w + 1)
}

func (c *Cut) MinSize() fyne.Size { return fyne.NewSize(Scaled(20), c.HeightFor(0)) }

const ellipsis = "…"

// shown are the runs as far as there is room for them.
func (c *Cut) shown(width float32) []textPart {
	var out []textPart
	x := float32(0)
	whole := c.natural() <= width+1
	dots := float32(0)
	for _, r := range c.runs {
		dots = max(dots, r.measure(ellipsis))
	}
	for i, r := range c.runs {
		w := r.measure(r.Text)
		room := width - x
		if !whole {
			room -= dots
		}
		if whole || w <= room && i+1 < len(c.runs) {
			out = append(out, textPart{x, w, r})
			x += w
			continue
		}
		letters := []rune(r.Text)
		n := sort.Search(len(letters), func(n int) bool { return r.measure(string(letters[:n+1])) > room })
		r.Text = string(letters[:n]) + ellipsis
		if w = r.measure(r.Text); x+w <= width+0.5 {
			out = append(out, textPart{x, w, r})
		}
		break
	}
	return out
}

func (c *Cut) CreateRenderer() fyne.WidgetRenderer {
	c.ExtendBaseWidget(c)
	return &cutRenderer{c: c}
}

type cutRenderer struct {
	c       *Cut
	objects []fyne.CanvasObject
}

func (r *cutRenderer) Layout(size fyne.Size) {
	r.objects = r.objects[:0]
	parts := r.c.shown(size.Width)
	largest := float32(0)
	for _, p := range parts {
		largest = max(largest, p.size())
	}
	base := baseline(largest, r.c.HeightFor(size.Width))
	for _, p := range parts {
		t := lettering(p.Text, p.Style)
		set(t, p.x, base)
		r.objects = append(r.objects, t)
	}
}

func (r *cutRenderer) MinSize() fyne.Size { return r.c.MinSize() }

func (r *cutRenderer) Refresh() {
	r.Layout(r.c.Size())
	canvas.Refresh(r.c)
}

func (r *cutRenderer) Objects() []fyne.CanvasObject { return r.objects }
func (r *cutRenderer) Destroy()                     {}
