package look

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// Latch is one latch of the drawn gate.
type Latch struct {
	Label   string
	InLine  bool
	Awaited bool   // nobody can tell yet
	Word    string // "in line", "open"
}

// Gate draws the latches in a row with the key before them and the car behind. A latch that is in line has its notch
// at the height of the key; one that is not stands too low and keeps the key out.
type Gate struct {
	widget.BaseWidget
	latches []Latch
	car     string
	travel  float32 // how far the key has come, 0 to 1
	low     bool
}

// NewGate makes a drawing of latches; car is the word at the end of the way.
func NewGate(latches []Latch, car string) *Gate {
	g := &Gate{latches: latches, car: car}
	g.ExtendBaseWidget(g)
	return g
}

// Travel moves the key, 0 before the first latch, 1 at the car.
func (g *Gate) Travel(part float32) {
	g.travel = max(0, min(1, part))
	g.Refresh()
}

// Low draws the latches shorter, for a window that has little height.
func (g *Gate) Low(low bool) *Gate { g.low = low; return g }

const gateEnds = 56 // room for the key at the left and the car at the right

// arm is how far a latch reaches beyond its notch, level the height of the key's way, high how far it is to the labels.
func (g *Gate) arm() float32 {
	if g.low {
		return 17
	}
	return 30
}

func (g *Gate) level() float32 { return g.arm() + 28 }
func (g *Gate) high() float32  { return 2*g.arm() + 56 }

func (g *Gate) HeightFor(float32) float32 { return g.high() + 2*Style{Size: SizeFine}.pitch() + 12 }
func (g *Gate) natural() float32          { return 660 }
func (g *Gate) MinSize() fyne.Size        { return fyne.NewSize(240, g.HeightFor(0)) }

func (g *Gate) CreateRenderer() fyne.WidgetRenderer {
	r := &gateRenderer{g: g, drawn: newInkPicture()}
	r.Layout(g.Size())
	return r
}

type gateRenderer struct {
	g       *Gate
	drawing ink // the way and the latches
	drawn   *inkPicture
	objects []fyne.CanvasObject
}

func (r *gateRenderer) Layout(size fyne.Size) {
	r.objects, r.drawing = r.objects[:0], ink{}
	if size.Width <= 0 {
		return
	}
	r.objects = append(r.objects, r.drawn.picture)
	g := r.g
	all := len(g.latches) > 0
	for _, l := range g.latches {
		all = all && l.InLine
	}
	carX, level := size.Width-gateEnds, g.level()
	from, to := fyne.NewPos(gateEnds-8, level), fyne.NewPos(carX, level)
	if all {
		r.drawing.line(Accent, 2, from, to)
	} else {
		r.drawing.dashed(Edge, 1.4, 6, 5, from, to)
	}
	if n := len(g.latches); n > 0 {
		room := (carX - gateEnds) / float32(n)
		for i, l := range g.latches {
			r.latch(gateEnds+room*(float32(i)+0.5), room, l)
		}
	}
	r.drawn.show(r.drawing, size)
	r.key(8+g.travel*(carX-70), all)
	r.vehicle(carX+2, size.Width)
}

// latch draws one latch around x.
func (r *gateRenderer) latch(x, room float32, l Latch) {
	const wide, neck, notch = 30, 12, 28
	level, arm, shift := r.g.level(), r.g.arm(), float32(0)
	tint := Soft
	if !l.InLine && !l.Awaited {
		tint = Alert
	}
	if !l.InLine {
		shift = 20 // it stands too low: the key meets the full width
	}
	top, cut := level-notch/2-arm+shift, level-notch/2+shift
	low, end := level+notch/2+shift, level+notch/2+arm+shift
	if l.InLine {
		for _, b := range [][4]float32{{x - wide/2, top, wide, cut - top}, {x - neck/2, cut - 1, neck, low - cut + 2}, {x - wide/2, low, wide, end - low}} {
			r.drawing.box(Accent, fyne.NewPos(b[0], b[1]), fyne.NewSize(b[2], b[3]), 0)
		}
	} else {
		r.drawing.box(Card, fyne.NewPos(x-wide/2, top), fyne.NewSize(wide, cut-top), 0)
		a, n := float32(wide)/2, float32(neck)/2
		corners := []fyne.Position{{X: x - a, Y: top}, {X: x + a, Y: top}, {X: x + a, Y: cut}, {X: x + n, Y: cut}, {X: x + n, Y: low}, {X: x + a, Y: low},
			{X: x + a, Y: end}, {X: x - a, Y: end}, {X: x - a, Y: low}, {X: x - n, Y: low}, {X: x - n, Y: cut}, {X: x - a, Y: cut}, {X: x - a, Y: top}}
		for i := 1; i < len(corners); i++ {
			r.drawing.dashed(tint, 2, 6, 3, corners[i-1], corners[i])
		}
	}
	y := r.g.high() + 8
	size := r.labelSize(room)
	r.label(l.Label, Ink, size, x, y, room)
	r.label(l.Word, tint, size, x, y+Style{Size: SizeFine}.pitch()-2, room)
}

// labelSize is the size at which the longest label has room; all labels share it.
func (r *gateRenderer) labelSize(room float32) float32 {
	s := Style{Size: SizeFine}
	widest := float32(1)
	for _, l := range r.g.latches {
		widest = max(widest, s.measure(l.Label), s.measure(l.Word))
	}
	return s.size() * min(1, (room-4)/widest)
}

func (r *gateRenderer) label(s string, c fyne.ThemeColorName, size, x, y, room float32) {
	t := lettering(s, Style{Color: c})
	t.TextSize = size
	centre(t, x-room/2, y, room, Style{Size: SizeFine}.pitch())
	r.objects = append(r.objects, t)
}

func (r *gateRenderer) key(x float32, all bool) {
	c, level := Ink, r.g.level()
	if all {
		c = Accent
	}
	shank := flat(c)
	shank.CornerRadius = 2
	shank.Move(fyne.NewPos(x+16, level-5))
	shank.Resize(fyne.NewSize(30, 10))
	bit := flat(c)
	bit.Move(fyne.NewPos(x+34, level))
	bit.Resize(fyne.NewSize(6, 11))
	head := canvas.NewCircle(paint(c))
	head.Move(fyne.NewPos(x, level-11))
	head.Resize(fyne.NewSquareSize(22))
	hole := canvas.NewCircle(paint(Card))
	hole.Move(fyne.NewPos(x+6, level-5))
	hole.Resize(fyne.NewSquareSize(10))
	r.objects = append(r.objects, shank, bit, head, hole)
}

func (r *gateRenderer) vehicle(x, right float32) {
	level := r.g.level()
	body := canvas.NewRectangle(color.Transparent)
	body.StrokeColor, body.StrokeWidth, body.CornerRadius, body.FillColor = paint(Ink), 2, 6, paint(Card)
	body.Move(fyne.NewPos(x, level-12))
	body.Resize(fyne.NewSize(right-x-12, 24))
	r.objects = append(r.objects, body)
	r.label(r.g.car, Soft, Style{Size: SizeFine}.size(), x+(right-x-12)/2, level+16, right-x)
}

func (r *gateRenderer) MinSize() fyne.Size { return r.g.MinSize() }
func (r *gateRenderer) Refresh() {
	r.Layout(r.g.Size())
	canvas.Refresh(r.g)
}
func (r *gateRenderer) Objects() []fyne.CanvasObject { return r.objects }
func (r *gateRenderer) Destroy()                     {}
