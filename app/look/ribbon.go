package look

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
)

// Span is a run of bytes that mean one thing. The identifier has From -1.
type Span struct {
	From, To int
	Filling  bool // bytes without meaning, drawn dashed
	Wrong    bool // bytes that are not well formed
	Name     string
}

// Ribbon draws a frame byte by byte, with a bracket under each span. A span is chosen with a tap on any of its bytes,
// or with the left and right arrow keys.
type Ribbon struct {
	part
	id       string
	bytes    []string
	spans    []Span
	selected int
	lit      int // the span that the pointer is on, or whose sentence it is on; -1 for none
	choose   func(int)
	over     func(int)
}

var _ desktop.Hoverable = (*Ribbon)(nil)

// NewRibbon makes a ribbon. idText is the identifier, data upper-case hex without spaces; selected is an index into
// spans, -1 for none.
func NewRibbon(idText, data string, spans []Span, selected int, choose func(int)) *Ribbon {
	r := &Ribbon{id: idText, spans: spans, selected: selected, lit: -1, choose: choose}
	for i := 0; i+2 <= len(data); i += 2 {
		r.bytes = append(r.bytes, data[i:i+2])
	}
	r.part.id = "ribbon"
	r.part.tapped = func() {}
	r.ExtendBaseWidget(r)
	return r
}

// Over sets what is told of the span that the pointer is on, -1 when it leaves.
func (r *Ribbon) Over(f func(span int)) *Ribbon { r.over = f; return r }

// Light marks a span for as long as something else points at it; -1 takes the mark away.
func (r *Ribbon) Light(span int) {
	if r.lit != span {
		r.lit = span
		r.Refresh()
	}
}

func (r *Ribbon) FocusGained()                     { r.take(r, true) }
func (r *Ribbon) FocusLost()                       { r.take(r, false) }
func (r *Ribbon) MouseIn(e *desktop.MouseEvent)    { r.point(r.at(e.Position.X)) }
func (r *Ribbon) MouseMoved(e *desktop.MouseEvent) { r.point(r.at(e.Position.X)) }
func (r *Ribbon) MouseOut()                        { r.point(-1) }

func (r *Ribbon) point(span int) {
	if span == r.lit {
		return
	}
	r.Light(span)
	if r.over != nil {
		r.over(span)
	}
}

// at is the span at a place across the ribbon, -1 for none.
func (r *Ribbon) at(across float32) int {
	for i := range r.spans {
		for _, b := range r.cells(i) {
			if x, w := r.place(b); across >= x && across <= x+w {
				return i
			}
		}
	}
	return -1
}

func (r *Ribbon) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeyLeft:
		r.pick(max(0, r.selected-1))
	case fyne.KeyRight:
		r.pick(min(len(r.spans)-1, r.selected+1))
	case fyne.KeyHome:
		r.pick(0)
	case fyne.KeyEnd:
		r.pick(len(r.spans) - 1)
	default:
		if !steps(r, e) {
			pass(r, e)
		}
	}
}

func (r *Ribbon) pick(i int) {
	if i == r.selected || i < 0 || i >= len(r.spans) {
		return
	}
	r.selected = i
	r.Refresh()
	if r.choose != nil {
		r.choose(i)
	}
}

// Tapped chooses the span under the pointer.
func (r *Ribbon) Tapped(e *fyne.PointEvent) { r.pick(r.at(e.Position.X)) }

// cells are the positions of a span: -1 for the identifier, else byte numbers.
func (r *Ribbon) cells(span int) []int {
	s := r.spans[span]
	if s.From < 0 {
		return []int{-1}
	}
	var out []int
	for i := s.From; i < s.To && i < len(r.bytes); i++ {
		out = append(out, i)
	}
	return out
}

func (r *Ribbon) spanOf(b int) int {
	for i := range r.spans {
		for _, x := range r.cells(i) {
			if x == b {
				return i
			}
		}
	}
	return -1
}

const (
	ribbonTop    = 4
	ribbonByte   = 62
	ribbonGap    = 6
	ribbonAfter  = 22
	ribbonHigh   = 62
	ribbonUnder  = 16
	ribbonDigits = 10 // room beside the digits of a cell
)

func (r *Ribbon) idWidth() float32 {
	w := Style{Size: SizeByte, Mono: true, Bold: true}.measure(r.id)
	return max(96, w+28)
}

func (r *Ribbon) full() float32 {
	n := float32(max(len(r.bytes), 8))
	return r.idWidth() + ribbonAfter + n*ribbonByte + (n-1)*ribbonGap
}

// scale is how much smaller than drawn the ribbon has to be.
func (r *Ribbon) scale() float32 {
	w := r.Size().Width
	if w <= 0 {
		return 1
	}
	return min(1, (w-2*grip)/r.full())
}

func (r *Ribbon) place(b int) (x, w float32) {
	k := r.scale()
	if b < 0 {
		return grip, r.idWidth() * k
	}
	return grip + (r.idWidth()+ribbonAfter+float32(b)*(ribbonByte+ribbonGap))*k, ribbonByte * k
}

func (r *Ribbon) HeightFor(width float32) float32 {
	k := min(1, (width-2*grip)/r.full())
	return snap(ribbonTop + max(44, ribbonHigh*k) + ribbonUnder + grip)
}

func (r *Ribbon) natural() float32 { return r.full() + 2*grip }

func (r *Ribbon) MinSize() fyne.Size {
	w := r.Size().Width
	if w <= 0 {
		w = r.natural()
	}
	return fyne.NewSize(200, r.HeightFor(w))
}

func (r *Ribbon) CreateRenderer() fyne.WidgetRenderer {
	rr := &ribbonRenderer{r: r, drawn: newInkPicture()}
	rr.Layout(r.Size())
	return rr
}

type ribbonRenderer struct {
	r       *Ribbon
	drawing ink // dashes and brackets
	drawn   *inkPicture
	objects []fyne.CanvasObject
}

func (rr *ribbonRenderer) Layout(size fyne.Size) {
	r := rr.r
	rr.objects, rr.drawing = append(rr.objects[:0], rr.drawn.picture), ink{}
	high := max(44, ribbonHigh*r.scale())
	rr.cell(-1, r.id, high)
	for i, b := range r.bytes {
		rr.cell(i, b, high)
	}
	for i, s := range r.spans {
		rr.bracket(i, s, ribbonTop+high+5)
	}
	rr.drawn.show(rr.drawing, size)
	if r.focused {
		f := ring()
		f.Hidden = false
		last, w := r.place(len(r.bytes) - 1)
		f.Move(fyne.NewPos(0, 0))
		f.Resize(fyne.NewSize(min(size.Width, last+w+grip), size.Height))
		rr.objects = append(rr.objects, f)
	}
}

func (rr *ribbonRenderer) cell(b int, text string, high float32) {
	r := rr.r
	x, w := r.place(b)
	span := r.spanOf(b)
	chosen := span >= 0 && (span == r.selected || span == r.lit)
	filling, wrong := false, false
	if span >= 0 {
		filling, wrong = r.spans[span].Filling, r.spans[span].Wrong
	}
	back := canvas.NewRectangle(paint(Card))
	back.CornerRadius, back.StrokeWidth, back.StrokeColor = 6, 1.2, paint(Edge)
	ink := Ink
	switch {
	case b < 0:
		back.FillColor, back.StrokeColor, ink = paint(Plate), paint(Plate), OnPlate
	case filling:
		back.FillColor, back.StrokeColor, ink = color.Transparent, color.Transparent, Soft
	}
	if wrong && b >= 0 {
		back.StrokeColor, back.StrokeWidth, ink = paint(Danger), 2, Danger
	}
	if chosen {
		back.StrokeColor, back.StrokeWidth = paint(Accent), 2
		if b >= 0 {
			back.FillColor = paint(Tint)
		}
	}
	back.Move(fyne.NewPos(x, ribbonTop))
	back.Resize(fyne.NewSize(w, high))
	rr.objects = append(rr.objects, back)
	if filling && !chosen {
		a, z := fyne.NewPos(x+2, ribbonTop), fyne.NewPos(x+w-2, ribbonTop+high)
		for _, l := range [][2]fyne.Position{{a, fyne.NewPos(z.X, a.Y)}, {fyne.NewPos(a.X, z.Y), z},
			{fyne.NewPos(x, a.Y+2), fyne.NewPos(x, z.Y-2)}, {fyne.NewPos(x+w, a.Y+2), fyne.NewPos(x+w, z.Y-2)}} {
			rr.drawing.dashed(Edge, 1.2, 4, 3, l[0], l[1])
		}
	}
	t := lettering(text, Style{Size: SizeByte, Mono: true, Bold: !filling, Color: ink})
	if m := t.MinSize(); m.Width > w-ribbonDigits {
		t.TextSize *= (w - ribbonDigits) / m.Width
	}
	centre(t, x, ribbonTop, w, high)
	rr.objects = append(rr.objects, t)
}

// bracket is drawn under a span.
func (rr *ribbonRenderer) bracket(i int, s Span, y float32) {
	cells := rr.r.cells(i)
	if len(cells) == 0 {
		return
	}
	x, _ := rr.r.place(cells[0])
	last, w := rr.r.place(cells[len(cells)-1])
	c, width := Edge, float32(1.4)
	switch {
	case i == rr.r.selected, i == rr.r.lit:
		c, width = Accent, 3
	case s.Wrong:
		c, width = Danger, 2
	}
	for _, p := range [][2]fyne.Position{
		{fyne.NewPos(x+1, y), fyne.NewPos(x+1, y+7)},
		{fyne.NewPos(x+1, y+7), fyne.NewPos(last+w-1, y+7)},
		{fyne.NewPos(last+w-1, y+7), fyne.NewPos(last+w-1, y)},
	} {
		rr.drawing.round(c, width, p[0], p[1])
	}
}

func (rr *ribbonRenderer) MinSize() fyne.Size { return rr.r.MinSize() }
func (rr *ribbonRenderer) Refresh() {
	rr.Layout(rr.r.Size())
	canvas.Refresh(rr.r)
}
func (rr *ribbonRenderer) Objects() []fyne.CanvasObject { return rr.objects }
func (rr *ribbonRenderer) Destroy()                     {}
