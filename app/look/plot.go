package look

import (
	"image"
	"image/color"
	"slices"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
)

// Stroke is one value in a [Plot].
type Stroke struct {
	Course *Course
	Style  int    // 0 to CourseStyles-1
	Unit   string // values of one unit share an axis
	Digits int    // behind the point
}

// Plot draws values over time, those of each unit in a lane with an axis of its own, all over the same time. It follows
// the newest reading until it is held. It is one stop of the keyboard: plus and minus make the time that is shown
// shorter and longer, page up and page down go back and forth in it, home and end to its ends, Space holds it, the arrow
// keys move a line that tells what was read at its time. The wheel and the pointer do the same. What the values are
// called stands in words beside it. It paints the ground of its card itself: see [Rim].
type Plot struct {
	part
	strokes []Stroke
	lanes   []lane
	high    float32
	figures func(string) string
	none    string // over the axis of values without a unit

	span   int       // of Spans
	newest time.Time // the time of now
	end    time.Time // right edge, while it is held
	held   bool
	cursor time.Time // zero: none
	over   float32   // where the pointer is, below 0 when it is somewhere else
	told   func()    // told when the owner has changed what is shown

	pen  pen
	line *canvas.Line // at the cursor
}

// lane is what the values of one unit share.
type lane struct {
	unit        string
	digits      int
	scale       scale
	top, bottom float32 // of its room
}

var (
	_ desktop.Hoverable = (*Plot)(nil)
	_ fyne.Scrollable   = (*Plot)(nil)
	_ fyne.Draggable    = (*Plot)(nil)
)

// NewPlot makes a plot. none stands over the axis of values without a unit, figures gives a number the decimal mark of the
// language, and told is told of whatever the owner changes.
func NewPlot(id, none string, figures func(string) string, told func()) *Plot {
	p := &Plot{none: none, figures: figures, told: told, high: 300, span: 3, over: -1, line: canvas.NewLine(color.Transparent)}
	p.id, p.tapped = id, func() {}
	p.ExtendBaseWidget(p)
	return p
}

// Fill sets what is drawn, and how high the plot is.
func (p *Plot) Fill(strokes []Stroke, high float32) {
	before := p.lanes
	p.strokes, p.lanes, p.high = slices.Clone(strokes), nil, high
	for _, s := range strokes {
		at := slices.IndexFunc(p.lanes, func(l lane) bool { return l.unit == s.Unit })
		if at < 0 {
			at = len(p.lanes)
			l := lane{unit: s.Unit}
			if i := slices.IndexFunc(before, func(l lane) bool { return l.unit == s.Unit }); i >= 0 {
				l.scale = before[i].scale
			}
			p.lanes = append(p.lanes, l)
		}
		p.lanes[at].digits = max(p.lanes[at].digits, s.Digits)
	}
	p.Refresh()
}

// Now moves the plot on to a time, as far as it is not held. The line stays under the pointer; without one it goes along
// with its time until it is out of sight.
func (p *Plot) Now(at time.Time) {
	if at.Equal(p.newest) {
		return
	}
	p.newest = at
	if from, _ := p.shown(); p.over >= 0 {
		p.cursor = p.timeAt(p.over)
	} else if p.cursor.Before(from) {
		p.cursor = time.Time{}
	}
	if !p.held {
		p.Refresh()
	}
}

// Held reports whether the picture stands still, and at which time.
func (p *Plot) Held() (at time.Time, held bool) { return p.end, p.held }

// Hold lets the picture stand still, or follow the newest reading.
func (p *Plot) Hold(hold bool) {
	p.held, p.end = hold, p.newest
	p.change()
}

// Span is how much time is shown.
func (p *Plot) Span() time.Duration { return Spans[p.span] }

// Zoom shows more time, or less where by is below zero. Where there is a line its time stays in sight.
func (p *Plot) Zoom(by int) {
	span := max(0, min(p.span+by, len(Spans)-1))
	if span == p.span {
		return
	}
	if p.held && !p.cursor.IsZero() { // the line stays where it is
		share := float64(p.end.Sub(p.cursor)) / float64(Spans[p.span])
		p.end = p.bounded(p.cursor.Add(time.Duration(share * float64(Spans[span]))))
	}
	p.span = span
	p.change()
}

// Shift goes back in time, or forth, by parts of what is shown, and holds the picture.
func (p *Plot) Shift(parts float64) {
	if !p.held {
		p.held, p.end = true, p.newest
	}
	p.end = p.bounded(p.end.Add(time.Duration(parts * float64(p.Span()))))
	p.change()
}

// bounded is an end that has something to its left and not only emptiness.
func (p *Plot) bounded(end time.Time) time.Time {
	if began := p.began(); !began.IsZero() && end.Before(began.Add(p.Span()/2)) {
		end = began.Add(p.Span() / 2)
	}
	if end.After(p.newest) {
		end = p.newest
	}
	return end
}

func (p *Plot) began() (first time.Time) {
	for _, s := range p.strokes {
		if b := s.Course.Began(); !b.IsZero() && (first.IsZero() || b.Before(first)) {
			first = b
		}
	}
	return first
}

// Pointed is the time of the line that the owner has put somewhere; the zero time when there is none.
func (p *Plot) Pointed() time.Time { return p.cursor }

// Cursor is a cross over the plot.
func (p *Plot) Cursor() desktop.Cursor { return desktop.CrosshairCursor }

// Point puts the line at a time; the zero time takes it away.
func (p *Plot) Point(at time.Time) {
	if !at.IsZero() {
		from, to := p.shown()
		if at.Before(from) {
			at = from
		}
		if at.After(to) {
			at = to
		}
	}
	if p.cursor.Equal(at) {
		return
	}
	p.cursor = at
	p.putLine()
	canvas.Refresh(p.line) // the picture under it stays as it is
	p.told()
}

// putLine puts the line where its time is.
func (p *Plot) putLine() {
	from, to := p.shown()
	p.line.Hidden = p.cursor.Before(from) || p.cursor.After(to)
	x := p.placeOf(p.cursor)
	p.line.Position1, p.line.Position2 = fyne.NewPos(x, 4), fyne.NewPos(x, p.Size().Height-Scaled(plotFoot))
}

func (p *Plot) change() {
	p.Refresh()
	p.told()
}

// shown are the ends of the time that is shown.
func (p *Plot) shown() (from, to time.Time) {
	to = p.newest
	if p.held {
		to = p.end
	}
	return to.Add(-p.Span()), to
}

func (p *Plot) FocusGained()              { p.take(p, true) }
func (p *Plot) FocusLost()                { p.take(p, false) }
func (p *Plot) Tapped(e *fyne.PointEvent) { p.Point(p.timeAt(e.Position.X)) }

func (p *Plot) MouseIn(e *desktop.MouseEvent) { p.MouseMoved(e) }

func (p *Plot) MouseMoved(e *desktop.MouseEvent) {
	p.over = e.Position.X
	p.Point(p.timeAt(p.over))
}

func (p *Plot) MouseOut() {
	p.over = -1
	p.Point(time.Time{})
}

// Scrolled zooms with the wheel, and goes back and forth with a wheel that lies.
func (p *Plot) Scrolled(e *fyne.ScrollEvent) {
	switch {
	case e.Scrolled.DX != 0:
		p.Shift(-float64(e.Scrolled.DX) / float64(max(1, p.Size().Width)))
	case e.Scrolled.DY > 0:
		p.Zoom(-1)
	case e.Scrolled.DY < 0:
		p.Zoom(1)
	}
}

// Dragged moves the time with the pointer.
func (p *Plot) Dragged(e *fyne.DragEvent) {
	p.Shift(-float64(e.Dragged.DX) / float64(max(1, p.Size().Width-p.gutter())))
}

func (p *Plot) DragEnd() {}

// TypedRune takes the signs that have no key of their own on every keyboard.
func (p *Plot) TypedRune(r rune) {
	switch r {
	case '+', '=':
		p.Zoom(-1)
	case '-':
		p.Zoom(1)
	}
}

// pageShare is how much of what is shown page up and page down go, cursorShare how much an arrow key moves the line.
const (
	pageShare   = 0.8
	cursorShare = 1.0 / 60
)

func (p *Plot) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeyLeft:
		p.lead(-1)
	case fyne.KeyRight:
		p.lead(1)
	case fyne.KeyPageUp:
		p.Shift(-pageShare)
	case fyne.KeyPageDown:
		p.Shift(pageShare)
	case fyne.KeyHome:
		if began := p.began(); !began.IsZero() {
			p.held, p.end = true, p.bounded(began.Add(p.Span()))
			p.change()
		}
	case fyne.KeyEnd:
		p.Hold(false)
	case fyne.KeySpace:
		p.Hold(!p.held)
	case fyne.KeyEscape:
		if p.cursor.IsZero() {
			pass(p, e)
			return
		}
		p.Point(time.Time{})
	default:
		if !steps(p, e) {
			pass(p, e)
		}
	}
}

// lead moves the line; the first time it is put at the right edge.
func (p *Plot) lead(by int) {
	at := p.cursor
	if _, to := p.shown(); at.IsZero() {
		at = to
	}
	p.Point(at.Add(time.Duration(float64(by) * cursorShare * float64(p.Span()))))
}

// Lengths inside a plot.
const (
	plotGutter = 62 // for the numbers of an axis
	plotHead   = 20 // for the unit over a lane
	plotFoot   = 24 // for the times
	plotEnd    = 14 // right of the newest reading
	leastLane  = 62
)

func (p *Plot) gutter() float32 { return Scaled(plotGutter) }

// HeightFor is what was wished, and more where there are many lanes.
func (p *Plot) HeightFor(float32) float32 {
	lanes := float32(max(1, len(p.lanes)))
	return snap(max(p.high, lanes*(Scaled(plotHead)+Scaled(leastLane))+Scaled(plotFoot)))
}

func (p *Plot) natural() float32 { return 640 }

func (p *Plot) MinSize() fyne.Size { return fyne.NewSize(200, p.HeightFor(0)) }

// timeAt is the time at a place across the plot.
func (p *Plot) timeAt(x float32) time.Time {
	from, to := p.shown()
	width := p.Size().Width - p.gutter() - plotEnd
	if width <= 0 || p.newest.IsZero() {
		return time.Time{}
	}
	share := float64(max(0, min(1, (x-p.gutter())/width)))
	return from.Add(time.Duration(share * float64(to.Sub(from))))
}

// placeOf is the opposite of timeAt.
func (p *Plot) placeOf(at time.Time) float32 {
	from, to := p.shown()
	return p.gutter() + float32(float64(at.Sub(from))/float64(to.Sub(from)))*(p.Size().Width-p.gutter()-plotEnd)
}

// pictureTop leaves room at the top for the frame and the first unit.
func (p *Plot) pictureTop() float32 { return Scaled(plotHead) - 2 }

// place gives every lane its room and its scale.
func (p *Plot) place(height float32) {
	from, to := p.shown()
	head := Scaled(plotHead)
	each := (height - Scaled(plotFoot)) / float32(max(1, len(p.lanes)))
	for i := range p.lanes {
		l := &p.lanes[i]
		l.top, l.bottom = snap(float32(i)*each+head+4), snap(float32(i+1)*each-6)
		low, high, any := 0.0, 0.0, false
		for _, s := range p.strokes {
			if s.Unit != l.unit {
				continue
			}
			a, b, ok := s.Course.Bounds(from, to)
			switch {
			case !ok:
			case !any:
				low, high, any = a, b, true
			default:
				low, high = min(low, a), max(high, b)
			}
		}
		if any {
			l.scale = fit(l.scale, low, high, l.digits, max(2, int((l.bottom-l.top)/Scaled(17))))
		}
	}
}

// height is where a value lies in a lane.
func (l *lane) height(v float64) float32 {
	return l.bottom - float32((v-l.scale.low)/(l.scale.high-l.scale.low))*(l.bottom-l.top)
}

// draw makes the picture of all lanes: the lines, and the grid under them.
func (p *Plot) draw(w, h int) image.Image {
	size := p.Size()
	scale := 1.0
	if width := float64(size.Width - p.gutter() - plotEnd); width > 0 {
		scale = float64(w) / width
	}
	top := p.pictureTop()
	down := func(y float32) float64 { return float64(y-top) * scale }
	p.pen.begin(w, h, scale, solid(Card))
	if w < 2 || p.newest.IsZero() {
		return p.pen.img
	}
	from, to := p.shown()
	perPixel := float64(to.Sub(from)) / float64(w)
	phase := int64(float64(from.UnixNano()) / perPixel)
	begin := int64(float64(phase) * perPixel) // whole columns: a line that moves keeps its form
	line := solid(Line)
	step := p.timeStep()
	for at := firstTick(from, step); !at.After(to); at = at.Add(step) {
		x := float64(at.Sub(from)) / perPixel
		for _, l := range p.lanes {
			p.pen.upright(x, down(l.top), down(l.bottom), line)
		}
	}
	for i := range p.lanes {
		l := &p.lanes[i]
		if l.scale.step == 0 {
			p.pen.level(down(l.bottom), line)
			continue
		}
		for n := range l.marks() {
			p.pen.level(down(l.height(l.scale.low+float64(n)*l.scale.step)), line)
		}
		for _, s := range p.strokes {
			if s.Unit != l.unit || s.Course.Empty() {
				continue
			}
			p.pen.forget()
			p.pen.course(s.Course, begin, perPixel, func(v float64) float64 { return down(l.height(v)) })
			p.pen.paint(s.Style, solid(CourseColours[s.Style%CourseStyles]), down(l.top), down(l.bottom), phase)
		}
	}
	return p.pen.img
}

// marks is how many numbers an axis has.
func (l *lane) marks() int { return int((l.scale.high-l.scale.low)/l.scale.step+0.5) + 1 }

func (p *Plot) timeStep() time.Duration {
	return timeStep(p.Span(), int((p.Size().Width-p.gutter())/Scaled(92)))
}

// firstTick is the first time from one on that is a whole number of steps into the day.
func firstTick(from time.Time, step time.Duration) time.Time {
	t := from.Truncate(step)
	if t.Before(from) {
		t = t.Add(step)
	}
	return t
}

func solid(n fyne.ThemeColorName) color.NRGBA {
	return color.NRGBAModel.Convert(paint(n)).(color.NRGBA)
}

func (p *Plot) CreateRenderer() fyne.WidgetRenderer {
	p.ExtendBaseWidget(p)
	r := &plotRenderer{p: p, ring: ring()}
	r.picture = canvas.NewRaster(p.draw)
	for i := range r.ground {
		r.ground[i] = flat(Card)
	}
	r.Refresh()
	return r
}

type plotRenderer struct {
	p       *Plot
	ring    *canvas.Rectangle
	picture *canvas.Raster
	ground  [4]*canvas.Rectangle // around the picture
	labels  []*canvas.Text
	used    int
	objects []fyne.CanvasObject
}

func (r *plotRenderer) Layout(size fyne.Size) {
	p := r.p
	p.place(size.Height)
	r.ring.Move(fyne.NewPos(grip, grip)) // what can be scrolled is cut at its edge
	r.ring.Resize(fyne.NewSize(size.Width-2*grip, size.Height-2*grip))
	low := size.Height - Scaled(plotFoot)
	r.picture.Move(fyne.NewPos(p.gutter(), p.pictureTop()))
	r.picture.Resize(fyne.NewSize(max(0, size.Width-p.gutter()-plotEnd), max(0, low-p.pictureTop())))
	r.around(size)
	r.used = 0
	r.axes(size, low)
	for _, t := range r.labels[r.used:] {
		t.Hide()
	}
	p.putLine()
}

// around lays the ground around the picture, as far as it is not the rim of the card: what lies under the picture needs none.
func (r *plotRenderer) around(size fyne.Size) {
	at, room := within(size.AddWidthHeight(2, 2)) // of the card, which is a pixel larger at each edge
	left, top := at.X-1, at.Y-1
	right, bottom := left+room.Width, top+room.Height
	from, to := r.picture.Position(), r.picture.Position().Add(r.picture.Size())
	to.X, to.Y = min(to.X, right), min(to.Y, bottom)
	for i, box := range [4][4]float32{
		{left, top, right, from.Y},
		{left, from.Y, from.X, to.Y},
		{to.X, from.Y, right, to.Y},
		{left, to.Y, right, bottom},
	} {
		stand(r.ground[i], fyne.NewPos(box[0], box[1]), fyne.NewSize(max(0, box[2]-box[0]), max(0, box[3]-box[1])))
	}
}

// axes sets the numbers and units at the left, and the times at the foot.
func (r *plotRenderer) axes(size fyne.Size, low float32) {
	p, gap := r.p, Scaled(8)
	for i := range p.lanes {
		l := &p.lanes[i]
		unit := l.unit
		if unit == "" {
			unit = p.none
		}
		r.label(unit, Style{Size: SizeFine, Bold: true}, l.top-Scaled(plotHead)/2, func(float32) float32 { return p.gutter() })
		if l.scale.step == 0 {
			continue
		}
		for n := range l.marks() {
			v := l.scale.low + float64(n)*l.scale.step
			r.label(p.figures(l.scale.label(v)), Style{Size: SizeFine, Color: Soft}, l.height(v), func(w float32) float32 { return p.gutter() - gap - w })
		}
	}
	if p.newest.IsZero() {
		return
	}
	from, to := p.shown()
	step := p.timeStep()
	for at := firstTick(from, step); !at.After(to); at = at.Add(step) {
		x := p.placeOf(at)
		r.label(clock(at, step), Style{Size: SizeFine, Color: Soft}, low+Scaled(plotFoot)/2-2, func(w float32) float32 {
			return max(p.gutter()-gap, min(size.Width-w-4, x-w/2))
		})
	}
}

// label sets a text around a height. Objects and texts that are there already are used again.
func (r *plotRenderer) label(text string, s Style, middle float32, left func(width float32) float32) {
	if r.used == len(r.labels) {
		r.labels = append(r.labels, canvas.NewText("", nil))
	}
	t := r.labels[r.used]
	r.used++
	t.Text, t.Hidden = text, false
	s.dress(t)
	high := s.pitch()
	set(t, left(t.MinSize().Width), snap(middle-high/2)+baseline(s.size(), high))
}

func (r *plotRenderer) MinSize() fyne.Size { return r.p.MinSize() }

func (r *plotRenderer) Refresh() {
	r.p.line.StrokeColor, r.p.line.StrokeWidth = paint(Ink), 1
	r.ring.StrokeColor, r.ring.Hidden = paint(Accent), !r.p.focused
	for _, g := range r.ground {
		g.FillColor = paint(Card)
	}
	if r.p.Size().Width > 0 {
		r.Layout(r.p.Size())
	}
	canvas.Refresh(r.p)
}

func (r *plotRenderer) Objects() []fyne.CanvasObject {
	r.objects = append(r.objects[:0], r.picture)
	for _, g := range r.ground {
		r.objects = append(r.objects, g)
	}
	for _, t := range r.labels {
		r.objects = append(r.objects, t)
	}
	r.objects = append(r.objects, r.p.line, r.ring)
	return r.objects
}
func (r *plotRenderer) Destroy() {}
