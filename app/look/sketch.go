package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/widget"
)

// Motif is what a Sketch shows.
type Motif uint8

const (
	MotifCable    Motif = iota // the car's socket with its two rows of pins
	MotifCar                   // a car, and the marks of what was read
	MotifRequest               // bytes with brackets under them
	MotifPractice              // a car that is only drawn in dashes
)

// Sketch is a small drawing beside words that say the same.
type Sketch struct {
	widget.BaseWidget
	motif Motif
	edge  float32
}

// NewSketch makes a sketch in a square of the given edge, which grows with the text.
func NewSketch(m Motif, edge float32) *Sketch {
	s := &Sketch{motif: m, edge: edge}
	s.ExtendBaseWidget(s)
	return s
}

func (s *Sketch) MinSize() fyne.Size { return fyne.NewSquareSize(Scaled(s.edge)) }
func (s *Sketch) natural() float32   { return Scaled(s.edge) }

func (s *Sketch) CreateRenderer() fyne.WidgetRenderer {
	return &sketchRenderer{s: s, drawn: newInkPicture()}
}

type sketchRenderer struct {
	s       *Sketch
	edge    float32
	drawing ink
	drawn   *inkPicture
}

func (r *sketchRenderer) at(x, y float32) fyne.Position { return fyne.NewPos(x*r.edge, y*r.edge) }

// sketchLine is the width of all lines.
const sketchLine = 2.4

func (r *sketchRenderer) line(c fyne.ThemeColorName, points ...fyne.Position) {
	for i := 1; i < len(points); i++ {
		r.drawing.line(c, sketchLine, points[i-1], points[i])
	}
}

func (r *sketchRenderer) box(fill, rim fyne.ThemeColorName, x, y, w, h float32) {
	at, size := r.at(x, y), fyne.NewSize(w*r.edge, h*r.edge)
	r.drawing.box(rim, at, size, 3)
	r.drawing.box(fill, at.AddXY(sketchLine, sketchLine), size.SubtractWidthHeight(2*sketchLine, 2*sketchLine), 1)
}

func (r *sketchRenderer) disc(fill, rim fyne.ThemeColorName, x, y, radius float32) {
	r.drawing.disc(fill, rim, sketchLine, r.at(x, y), radius*r.edge)
}

func (r *sketchRenderer) Layout(size fyne.Size) {
	r.edge = min(size.Width, size.Height)
	r.drawing = ink{}
	r.drawing.box(Tint, fyne.Position{}, fyne.NewSquareSize(r.edge), radius)
	switch r.s.motif {
	case MotifCable:
		r.cable()
	case MotifRequest:
		r.request()
	case MotifPractice:
		r.car(0.52, true)
	default:
		r.car(0.60, false)
		r.marks(0.20, 0.12, 0.17)
	}
	r.drawn.show(r.drawing, fyne.NewSquareSize(r.edge))
}

// marks are those of what happens now, of what is remembered and of what is in line, as [Mark] draws them.
func (r *sketchRenderer) marks(x, y, edge float32) {
	r.drawing.wedge(Alert, r.at(x+edge/2, y), edge*r.edge, 0.86*edge*r.edge)
	r.disc(Tint, Soft, x+0.22+edge/2, y+edge/2, 0.4*edge)
	left := x + 0.44
	r.line(Accent, r.at(left+0.16*edge, y+0.54*edge), r.at(left+0.40*edge, y+0.78*edge), r.at(left+0.86*edge, y+0.24*edge))
}

func (r *sketchRenderer) cable() {
	r.line(Accent, r.at(0.12, 0.30), r.at(0.88, 0.30), r.at(0.78, 0.68), r.at(0.22, 0.68), r.at(0.12, 0.30))
	for i := range 8 {
		x := 0.21 + 0.083*float32(i)
		r.disc(Accent, Accent, x, 0.40, 0.020)
		if i > 0 && i < 7 {
			r.disc(Accent, Accent, x, 0.57, 0.020)
		}
	}
	r.line(Alert, r.at(0.376, 0.57), r.at(0.376, 0.88))
	r.line(Alert, r.at(0.459, 0.57), r.at(0.459, 0.88))
}

func (r *sketchRenderer) request() {
	for i := range 4 {
		fill, sketchLine := Card, Edge
		if i == 1 {
			fill, sketchLine = Accent, Accent
		}
		r.box(fill, sketchLine, 0.12+0.195*float32(i), 0.28, 0.165, 0.24)
	}
	r.line(Accent, r.at(0.315, 0.60), r.at(0.315, 0.66), r.at(0.48, 0.66), r.at(0.48, 0.60))
	r.line(Edge, r.at(0.51, 0.60), r.at(0.51, 0.66), r.at(0.87, 0.66), r.at(0.87, 0.60))
	r.line(Accent, r.at(0.3975, 0.66), r.at(0.3975, 0.78), r.at(0.70, 0.78))
}

// car is a car from its side; its wheels stand at the height low plus a quarter.
func (r *sketchRenderer) car(low float32, dashes bool) {
	outline := []fyne.Position{r.at(0.10, low+0.20), r.at(0.10, low+0.02), r.at(0.26, low), r.at(0.38, low-0.17), r.at(0.66, low-0.17), r.at(0.78, low), r.at(0.90, low+0.04),
		r.at(0.90, low+0.20), r.at(0.10, low+0.20)}
	for i := 1; i < len(outline); i++ {
		if dashes {
			r.dashes(Accent, outline[i-1], outline[i])
		} else {
			r.line(Accent, outline[i-1], outline[i])
		}
	}
	r.disc(Tint, Accent, 0.29, low+0.20, 0.075)
	r.disc(Tint, Accent, 0.71, low+0.20, 0.075)
}

// dashes is a dashed line of any slope.
func (r *sketchRenderer) dashes(c fyne.ThemeColorName, a, b fyne.Position) {
	dx, dy := b.X-a.X, b.Y-a.Y
	n := max(1, int((max(dx, -dx)+max(dy, -dy))/7))
	for i := range n {
		from, to := float32(i)/float32(n), (float32(i)+0.6)/float32(n)
		r.line(c, fyne.NewPos(a.X+dx*from, a.Y+dy*from), fyne.NewPos(a.X+dx*to, a.Y+dy*to))
	}
}

func (r *sketchRenderer) MinSize() fyne.Size { return r.s.MinSize() }
func (r *sketchRenderer) Refresh() {
	r.Layout(r.s.Size())
}
func (r *sketchRenderer) Objects() []fyne.CanvasObject { return []fyne.CanvasObject{r.drawn.picture} }
func (r *sketchRenderer) Destroy()                     {}
