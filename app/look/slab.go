package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/widget"
)

// slab is the board of a card. Where a computer has OpenGL but no graphics card, a pixel of a rectangle with round corners takes
// twice the time of one of a plain rectangle, and cards are most of a page. So of a large slab only the rim is painted as such,
// in four strips, and what lies between them is a plain rectangle. The picture is the same. Without OpenGL a slab is whole:
// Fyne's own painter shows the wrong part of a rectangle that is cut at its left or its top.
type slab struct {
	widget.BaseWidget
	fill, stroke fyne.ThemeColorName
	hollow       bool // what lies on it paints what is within its rim, so that in strips it needs nothing there
}

func newSlab(fill, stroke fyne.ThemeColorName) *slab {
	s := &slab{fill: fill, stroke: stroke}
	s.ExtendBaseWidget(s)
	return s
}

func (s *slab) MinSize() fyne.Size { return fyne.NewSize(1, 1) }

// Lengths inside a slab. A rectangle with round corners is soft at its edge: it reaches a pixel beyond it, and its colour is
// pure from two pixels inside of it.
const (
	slabBeyond = 2
	slabPure   = 3
	slabEnd    = radius + 1 // of the strips at the top and at the bottom: the ends of the round corners
	slabPart   = 3 * radius // is long enough that one end of a rectangle does not show at the other
)

func (s *slab) CreateRenderer() fyne.WidgetRenderer {
	s.ExtendBaseWidget(s)
	return &slabRenderer{s: s, whole: board(s.fill, s.stroke)}
}

// within is where in a slab its colour is pure at all four edges.
func within(size fyne.Size) (at fyne.Position, room fyne.Size) {
	return fyne.NewPos(slabPure, radius), fyne.NewSize(size.Width-2*slabPure, size.Height-2*radius)
}

type slabRenderer struct {
	s       *slab
	whole   *canvas.Rectangle
	strips  []*strip // nil until the slab is large
	inner   *canvas.Rectangle
	objects []fyne.CanvasObject
}

// strip is one edge of a slab: a rectangle with round corners of which only that edge shows.
type strip struct {
	clip *container.Clip
	rect *canvas.Rectangle
}

func newStrip(fill, stroke fyne.ThemeColorName) *strip {
	r := board(fill, stroke)
	return &strip{clip: container.NewClip(container.NewWithoutLayout(r)), rect: r}
}

// show lets of a rectangle what lies in a window be seen.
func (s *strip) show(rect, window [4]float32) {
	stand(s.clip, fyne.NewPos(window[0], window[1]), fyne.NewSize(window[2], window[3]))
	stand(s.rect, fyne.NewPos(rect[0]-window[0], rect[1]-window[1]), fyne.NewSize(rect[2], rect[3]))
}

func (r *slabRenderer) Layout(size fyne.Size) {
	w, h := size.Width, size.Height
	if th, ours := fyne.CurrentApp().Settings().Theme().(*Theme); !ours || !th.OpenGL || w < 4*slabPart || h < 2*slabPart {
		r.whole.Resize(size)
		r.objects = append(r.objects[:0], r.whole)
		return
	}
	if r.strips == nil {
		for range 4 {
			r.strips = append(r.strips, newStrip(r.s.fill, r.s.stroke))
		}
		r.inner = flat(r.s.fill)
	}
	const side = slabBeyond + slabPure + 1
	across, down := w+2*slabBeyond, h-2*radius
	r.strips[0].show([4]float32{0, 0, w, slabPart}, [4]float32{-slabBeyond, -slabBeyond, across, slabBeyond + slabEnd})
	r.strips[1].show([4]float32{0, h - slabPart, w, slabPart}, [4]float32{-slabBeyond, h - slabEnd, across, slabEnd + slabBeyond})
	r.strips[2].show([4]float32{0, 0, slabPart, h}, [4]float32{-slabBeyond, radius, side, down})
	r.strips[3].show([4]float32{w - slabPart, 0, slabPart, h}, [4]float32{w - slabPure - 1, radius, side, down})
	r.objects = r.objects[:0]
	for _, s := range r.strips {
		r.objects = append(r.objects, s.clip)
	}
	if !r.s.hollow {
		at, room := within(size)
		stand(r.inner, at, room)
		r.objects = append(r.objects, r.inner)
	}
}

func (r *slabRenderer) MinSize() fyne.Size { return r.s.MinSize() }

// Refresh follows the palette.
func (r *slabRenderer) Refresh() {
	fill, stroke := paint(r.s.fill), paint(r.s.stroke)
	r.whole.FillColor, r.whole.StrokeColor = fill, stroke
	for _, s := range r.strips {
		s.rect.FillColor, s.rect.StrokeColor = fill, stroke
	}
	if r.inner != nil {
		r.inner.FillColor = fill
	}
	r.Layout(r.s.Size())
	canvas.Refresh(r.s)
}

func (r *slabRenderer) Objects() []fyne.CanvasObject { return r.objects }
func (r *slabRenderer) Destroy()                     {}
