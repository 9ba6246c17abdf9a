package look

import (
	"math"
	"strconv"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
)

// PlugWire is a wire between a pin of the 16-pin socket and one of the 9-pin plug.
type PlugWire struct {
	Socket, Plug int
	Colour       fyne.ThemeColorName
	Dashed       bool
	Name         string // stands under the drawing
}

// Plugs draws the two ends of a diagnostic cable and the wires between them. With pick, each pin can be chosen: with a
// tap, or with the arrow keys and Space while the drawing has the keyboard.
type Plugs struct {
	part
	wires   []PlugWire
	waiting int // socket pin that waits for its other end, 0 for none
	cursor  int // place of the keyboard: 0 to 15 in the socket, 16 to 24 in the plug
	pick    func(socket bool, pin int)
	placed  []fyne.Position // of the pins at the size of now
}

var _ desktop.Hoverable = (*Plugs)(nil)

// NewPlugs makes a drawing. waiting is the pin of the socket whose other end is still to be chosen; pick is nil where
// nothing can be chosen.
func NewPlugs(wires []PlugWire, waiting int, pick func(socket bool, pin int)) *Plugs {
	p := &Plugs{wires: wires, waiting: waiting, pick: pick}
	p.id = "plugs"
	if pick != nil {
		p.tapped = func() {}
	}
	p.ExtendBaseWidget(p)
	return p
}

const (
	socketPins, plugPins = 16, 9
	plugsWide, plugsHigh = 672, 168
	legendRow            = 24
)

func (p *Plugs) MouseIn(*desktop.MouseEvent)    {}
func (p *Plugs) MouseMoved(*desktop.MouseEvent) {}
func (p *Plugs) MouseOut()                      {}
func (p *Plugs) FocusGained()                   { p.take(p, p.pick != nil) }
func (p *Plugs) FocusLost()                     { p.take(p, false) }

// Tapped chooses the pin under the pointer.
func (p *Plugs) Tapped(e *fyne.PointEvent) {
	if p.pick == nil {
		return
	}
	for i, at := range p.placed {
		if math.Abs(float64(e.Position.X-at.X)) < 15 && math.Abs(float64(e.Position.Y-at.Y)) < 17 {
			p.cursor = i
			p.choose()
			return
		}
	}
}

func (p *Plugs) choose() {
	if p.cursor < socketPins {
		p.pick(true, p.cursor+1)
	} else {
		p.pick(false, p.cursor-socketPins+1)
	}
}

func (p *Plugs) TypedKey(e *fyne.KeyEvent) {
	if p.pick == nil {
		pass(p, e)
		return
	}
	switch e.Name {
	case fyne.KeyRight:
		p.cursor = min(p.cursor+1, socketPins+plugPins-1)
	case fyne.KeyLeft:
		p.cursor = max(p.cursor-1, 0)
	case fyne.KeyHome:
		p.cursor = 0
	case fyne.KeyEnd:
		p.cursor = socketPins
	case fyne.KeySpace, fyne.KeyReturn, fyne.KeyEnter:
		p.choose()
	default:
		if !steps(p, e) {
			pass(p, e)
		}
		return
	}
	p.Refresh()
}

// high is the height of the drawing without its legend.
func (p *Plugs) high(width float32) float32 { return snap(plugsHigh * min(1.3, width/plugsWide)) }

func (p *Plugs) HeightFor(width float32) float32 {
	n := p.columns(width)
	return p.high(width) + Scaled(legendRow)*float32((len(p.named())+n-1)/n) + 4
}

// columns is how many names stand beside one another under the drawing.
func (p *Plugs) columns(width float32) int { return max(1, int((width-40)/Scaled(206))) }

func (p *Plugs) natural() float32 { return plugsWide }

func (p *Plugs) MinSize() fyne.Size {
	w := p.Size().Width
	if w <= 0 {
		w = p.natural()
	}
	return fyne.NewSize(280, p.HeightFor(w))
}

func (p *Plugs) named() (out []PlugWire) {
	for _, w := range p.wires {
		if w.Name != "" {
			out = append(out, w)
		}
	}
	return out
}

func (p *Plugs) CreateRenderer() fyne.WidgetRenderer {
	r := &plugsRenderer{p: p, drawn: newInkPicture()}
	r.Layout(p.Size())
	return r
}

type plugsRenderer struct {
	p       *Plugs
	drawing ink // outlines and wires
	drawn   *inkPicture
	objects []fyne.CanvasObject
}

// at turns a place of the design into one of now.
func (r *plugsRenderer) at(x, y float32) fyne.Position {
	k := min(1.3, r.p.Size().Width/plugsWide)
	left := (r.p.Size().Width - plugsWide*k) / 2
	return fyne.NewPos(left+x*k, y*k)
}

func (r *plugsRenderer) Layout(size fyne.Size) {
	p := r.p
	r.objects, r.drawing = r.objects[:0], ink{}
	if size.Width <= 0 {
		return
	}
	r.objects = append(r.objects, r.drawn.picture)
	p.placed = p.placed[:0]
	for i := range socketPins {
		x, y := float32(66+31*i), float32(66)
		if i >= 8 {
			x, y = 76+28.5*float32(i-8), 106
		}
		p.placed = append(p.placed, r.at(x, y))
	}
	for i := range plugPins {
		x, y := 472+33.7*float32(i), float32(70)
		if i >= 5 {
			x, y = 490+32*float32(i-5), 102
		}
		p.placed = append(p.placed, r.at(x, y))
	}
	r.outline([4]float32{40, 310, 288, 62}, 36, 134)
	r.outline([4]float32{446, 632, 610, 467}, 46, 126)
	for _, w := range p.wires {
		r.wire(w)
	}
	for i := range p.placed {
		r.pin(i)
	}
	for i, w := range p.named() {
		n := p.columns(size.Width)
		r.legend(w, r.at(40, 0).X+float32(i%n)*Scaled(206), p.high(size.Width)+Scaled(legendRow)*float32(i/n))
	}
	r.drawn.show(r.drawing, size)
	if p.focused {
		f := ring()
		f.Hidden = false
		f.Resize(size)
		r.objects = append(r.objects, f)
	}
}

// outline is the shape of a plug: wide at its top, narrow at its bottom.
func (r *plugsRenderer) outline(x [4]float32, top, bottom float32) {
	corners := []fyne.Position{r.at(x[0], top), r.at(x[1], top), r.at(x[2], bottom), r.at(x[3], bottom)}
	for i := range corners {
		r.drawing.round(Ink, 2, corners[i], corners[(i+1)%4])
	}
}

func (r *plugsRenderer) wireOf(i int) (PlugWire, bool) {
	for _, w := range r.p.wires {
		if i < socketPins && w.Socket == i+1 || i >= socketPins && w.Plug == i-socketPins+1 {
			return w, true
		}
	}
	return PlugWire{}, false
}

func (r *plugsRenderer) pin(i int) {
	p := r.p
	at := p.placed[i]
	k := min(1.3, p.Size().Width/plugsWide)
	fill, stroke, ink := paint(Card), paint(Edge), paint(Ink)
	if w, ok := r.wireOf(i); ok {
		fill, stroke, ink = paint(w.Colour), paint(w.Colour), paint(Card)
	}
	width := float32(1.2)
	if p.waiting == i+1 && i < socketPins || p.focused && p.cursor == i {
		stroke, width = paint(Accent), 3
	}
	number := strconv.Itoa(i + 1)
	if i < socketPins {
		b := canvas.NewRectangle(fill)
		b.StrokeColor, b.StrokeWidth, b.CornerRadius = stroke, width, 3
		b.Move(fyne.NewPos(at.X-10*k, at.Y-12*k))
		b.Resize(fyne.NewSize(20*k, 24*k))
		r.objects = append(r.objects, b)
	} else {
		number = strconv.Itoa(i - socketPins + 1)
		c := canvas.NewCircle(fill)
		c.StrokeColor, c.StrokeWidth = stroke, width
		c.Move(fyne.NewPos(at.X-11*k, at.Y-11*k))
		c.Resize(fyne.NewSquareSize(22 * k))
		r.objects = append(r.objects, c)
	}
	t := lettering(number, Style{Size: SizeSmall, Mono: true})
	t.TextSize, t.Color = min(t.TextSize, 13*k), ink
	centre(t, at.X-12*k, at.Y-12*k, 24*k, 24*k)
	r.objects = append(r.objects, t)
}

// wire is drawn as a curve that leaves both pins away from the other row.
func (r *plugsRenderer) wire(w PlugWire) {
	if w.Socket < 1 || w.Socket > socketPins || w.Plug < 1 || w.Plug > plugPins {
		return
	}
	a, b := r.p.placed[w.Socket-1], r.p.placed[socketPins+w.Plug-1]
	k := min(1.3, r.p.Size().Width/plugsWide)
	out := func(lower bool, by float32) float32 {
		if lower {
			return by * k
		}
		return -by * k
	}
	dx := b.X - a.X
	c := fyne.NewPos(a.X+dx*0.3, a.Y+out(w.Socket > 8, 70))
	d := fyne.NewPos(b.X-dx*0.3, b.Y+out(w.Plug > 5, 60))
	const pieces = 48
	last := a
	for i := 1; i <= pieces; i++ {
		t := float32(i) / pieces
		u := 1 - t
		at := fyne.NewPos(u*u*u*a.X+3*u*u*t*c.X+3*u*t*t*d.X+t*t*t*b.X, u*u*u*a.Y+3*u*u*t*c.Y+3*u*t*t*d.Y+t*t*t*b.Y)
		if !w.Dashed || i%3 != 0 {
			r.drawing.round(w.Colour, 2.6, last, at)
		}
		last = at
	}
}

// legend says in words what a wire is: a piece of it, and its name.
func (r *plugsRenderer) legend(w PlugWire, at, y float32) {
	high := Scaled(legendRow)
	pieces := 1
	if w.Dashed {
		pieces = 3
	}
	for i := range pieces {
		from := at + 28*float32(i)/float32(pieces)
		r.drawing.line(w.Colour, 2.6, fyne.NewPos(from, y+high/2), fyne.NewPos(from+28/float32(pieces)-4*float32(pieces-1)/2, y+high/2))
	}
	t := lettering(w.Name, Style{Size: SizeSmall, Bold: true, Color: w.Colour})
	centreLeft(t, at+36, y, high)
	r.objects = append(r.objects, t)
}

// centreLeft sets a text at x, in the middle of a height.
func centreLeft(t *canvas.Text, x, y, high float32) { set(t, x, snap(y)+baseline(t.TextSize, high)) }

func (r *plugsRenderer) MinSize() fyne.Size { return r.p.MinSize() }

func (r *plugsRenderer) Refresh() {
	r.Layout(r.p.Size())
	canvas.Refresh(r.p)
}

func (r *plugsRenderer) Objects() []fyne.CanvasObject { return r.objects }
func (r *plugsRenderer) Destroy()                     {}

func (p *Plugs) become(built fyne.CanvasObject) bool {
	n, ok := built.(*Plugs)
	if !ok {
		return false
	}
	p.wires, p.waiting, p.pick, p.tapped = n.wires, n.waiting, n.pick, n.tapped
	p.Refresh()
	return true
}
