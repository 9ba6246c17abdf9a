package look

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// Sign is one of the drawn marks. A mark is never alone: a word stands beside it.
type Sign uint8

const (
	MarkNow        Sign = iota // a filled triangle: happening now
	MarkRemembered             // a circle: remembered
	MarkUntested               // a square: not re-tested
	MarkTick                   // a filled disc with a tick: in line, done
	MarkCheck                  // a tick alone
	MarkOpen                   // a square with a stroke and a dot: not in line
	MarkWaiting                // a dashed circle: still to come
	MarkUnknown                // a circle with a question mark: not known
)

// Mark is a drawn sign.
type Mark struct {
	widget.BaseWidget
	sign Sign
	edge float32
}

// NewMark makes a mark in a square of the given edge, which grows with the text.
func NewMark(s Sign, edge float32) *Mark {
	m := &Mark{sign: s, edge: edge}
	m.ExtendBaseWidget(m)
	return m
}

func (m *Mark) MinSize() fyne.Size { return fyne.NewSquareSize(Scaled(m.edge)) }

func (m *Mark) natural() float32 { return Scaled(m.edge) }

func (m *Mark) CreateRenderer() fyne.WidgetRenderer { return &markRenderer{m: m} }

type markRenderer struct {
	m       *Mark
	objects []fyne.CanvasObject
}

func (r *markRenderer) Layout(size fyne.Size) {
	e := min(size.Width, size.Height)
	left := (size.Width - e) / 2
	top := (size.Height - e) / 2
	r.objects = r.objects[:0]
	at := func(x, y float32) fyne.Position { return fyne.NewPos(left+x*e, top+y*e) }
	line := func(c fyne.ThemeColorName, w float32, points ...fyne.Position) {
		for i := 1; i < len(points); i++ {
			l := canvas.NewLine(paint(c))
			l.StrokeWidth, l.Position1, l.Position2 = w, points[i-1], points[i]
			r.objects = append(r.objects, l)
		}
	}
	disc := func(inset float32, fill color.Color, stroke fyne.ThemeColorName, w float32) {
		c := canvas.NewCircle(fill)
		c.StrokeWidth = w
		if w > 0 {
			c.StrokeColor = paint(stroke)
		}
		c.Move(at(inset, inset))
		c.Resize(fyne.NewSquareSize(e * (1 - 2*inset)))
		r.objects = append(r.objects, c)
	}
	square := func(inset float32, stroke fyne.ThemeColorName, round float32) {
		s := canvas.NewRectangle(color.Transparent)
		s.StrokeColor, s.StrokeWidth, s.CornerRadius = paint(stroke), 2, round
		s.Move(at(inset, inset))
		s.Resize(fyne.NewSquareSize(e * (1 - 2*inset)))
		r.objects = append(r.objects, s)
	}
	switch r.m.sign {
	case MarkNow:
		r.objects = append(r.objects, triangle(Alert, left, top, e)...)
	case MarkRemembered:
		disc(0.1, color.Transparent, Soft, 2)
	case MarkUntested:
		square(0.1, Soft, 0)
	case MarkTick:
		disc(0, paint(Accent), "", 0)
		line(OnAccent, max(1.6, e*0.09), at(0.28, 0.53), at(0.44, 0.68), at(0.73, 0.35))
	case MarkCheck:
		line(Accent, max(2, e*0.12), at(0.16, 0.54), at(0.40, 0.78), at(0.86, 0.24))
	case MarkOpen:
		square(0.02, Alert, 3)
		line(Alert, max(2, e*0.1), at(0.5, 0.24), at(0.5, 0.58))
		line(Alert, max(2, e*0.1), at(0.5, 0.68), at(0.5, 0.78))
	case MarkWaiting:
		const n = 8
		for i := range n {
			a := canvas.NewArc(float32(i)*360/n, float32(i)*360/n+26, 0.84, paint(Edge))
			a.Move(at(0, 0))
			a.Resize(fyne.NewSquareSize(e))
			r.objects = append(r.objects, a)
		}
	case MarkUnknown:
		disc(0.04, color.Transparent, Amber, 2)
		q := lettering("?", Style{Bold: true, Color: Amber})
		q.TextSize = e * 0.62
		centre(q, left, top, e, e)
		r.objects = append(r.objects, q)
	}
}

// triangle is a filled triangle that stands on its base.
func triangle(c fyne.ThemeColorName, left, top, e float32) []fyne.CanvasObject {
	p := canvas.NewPolygon(3, paint(c))
	p.Move(fyne.NewPos(left-e*0.07, top-e*0.0))
	p.Resize(fyne.NewSquareSize(e * 1.14))
	return []fyne.CanvasObject{p}
}

func (r *markRenderer) MinSize() fyne.Size { return r.m.MinSize() }
func (r *markRenderer) Refresh() {
	r.Layout(r.m.Size())
	canvas.Refresh(r.m)
}
func (r *markRenderer) Objects() []fyne.CanvasObject { return r.objects }
func (r *markRenderer) Destroy()                     {}

// State is a mark and its word.
func State(s Sign, word string) fyne.CanvasObject {
	return Row(8, Natural(NewMark(s, 14)), Growing(Styled(word, Style{Size: SizeSmall})))
}
