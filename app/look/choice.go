package look

import (
	"image/color"
	"strconv"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
)

// Choice is a row that can be chosen: by a tap, or by Return or Space while it has the keyboard. The arrow keys go to
// the next part. With follow, taking the keyboard chooses it.
type Choice struct {
	part
	content  fyne.CanvasObject
	selected bool
	follow   bool
	lit      bool
	least    float32
	name     string
	over     func(bool)
}

var _ desktop.Hoverable = (*Choice)(nil)

// NewChoice makes a row that can be chosen. name says in words what it is.
func NewChoice(id, name string, content fyne.CanvasObject, selected bool, tapped func()) *Choice {
	c := &Choice{content: content, selected: selected, least: 44, name: name}
	c.id, c.tapped = id, tapped
	c.ExtendBaseWidget(c)
	return c
}

// Follow lets the choice be made as soon as the row has the keyboard.
func (c *Choice) Follow() *Choice { c.follow = true; return c }

// Over sets what is told when the pointer comes and goes.
func (c *Choice) Over(f func(in bool)) *Choice { c.over = f; return c }

// Light marks the row for as long as something else points at it.
func (c *Choice) Light(on bool) {
	if c.lit != on {
		c.lit = on
		c.Refresh()
	}
}

// Name says in words what the row is.
func (c *Choice) Name() string { return c.name }

func (c *Choice) Tapped(*fyne.PointEvent) { c.tap() }
func (c *Choice) FocusGained() {
	c.take(c, true)
	if c.follow && !c.selected {
		c.tap()
	}
}
func (c *Choice) FocusLost()                     { c.take(c, false) }
func (c *Choice) MouseIn(*desktop.MouseEvent)    { c.point(true) }
func (c *Choice) MouseMoved(*desktop.MouseEvent) {}
func (c *Choice) MouseOut()                      { c.point(false) }

func (c *Choice) point(in bool) {
	c.hover(c, in)
	if c.over != nil {
		c.over(in)
	}
}

func (c *Choice) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeySpace, fyne.KeyReturn, fyne.KeyEnter:
		c.tap()
	default:
		if !steps(c, e) {
			pass(c, e)
		}
	}
}

func (c *Choice) HeightFor(width float32) float32 { return max(c.least, HeightFor(c.content, width)) }
func (c *Choice) natural() float32                { return naturalWidth(c.content) }

func (c *Choice) MinSize() fyne.Size {
	m := c.content.MinSize()
	w := c.Size().Width
	if w <= 0 {
		w = c.natural()
	}
	return fyne.NewSize(m.Width, c.HeightFor(w))
}

func (c *Choice) CreateRenderer() fyne.WidgetRenderer {
	r := &choiceRenderer{c: c, back: canvas.NewRectangle(color.Transparent), ring: ring()}
	r.Refresh()
	return r
}

type choiceRenderer struct {
	c          *Choice
	back, ring *canvas.Rectangle
}

func (r *choiceRenderer) Layout(size fyne.Size) {
	r.back.Resize(size)
	stand(r.ring, fyne.NewPos(1, 1), fyne.NewSize(size.Width-2, size.Height-2))
	h := HeightFor(r.c.content, size.Width)
	stand(r.c.content, fyne.NewPos(0, snap((size.Height-h)/2)), fyne.NewSize(size.Width, h))
}

func (r *choiceRenderer) MinSize() fyne.Size { return r.c.MinSize() }

func (r *choiceRenderer) Refresh() {
	r.back.FillColor = color.Transparent
	r.back.CornerRadius = radius - 1
	if r.c.selected || r.c.hovered || r.c.lit {
		r.back.FillColor = paint(Tint)
	}
	r.ring.Hidden = !r.c.focused
	r.ring.StrokeColor = paint(Accent)
	if r.c.Size().Width > 0 {
		r.Layout(r.c.Size())
	}
	canvas.Refresh(r.c)
}

func (r *choiceRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.back, r.c.content, r.ring}
}
func (r *choiceRenderer) Destroy() {}

// Progress of a step of a visit.
type Progress uint8

const (
	Ahead Progress = iota // still to come
	Here                  // the page that is shown
	Done                  // ticked
)

// Step is one step of a visit in the rail: a numbered circle or a tick, a name, and a line about it.
type Step struct {
	part
	number    int
	progress  Progress
	current   bool
	name, sub *Text
}

// NewStep makes a step; current tells that its page is shown.
func NewStep(id string, number int, name, sub string, p Progress, current bool, tapped func()) *Step {
	s := &Step{number: number, progress: p, current: current, name: Head(name), sub: Fine(sub)}
	s.id, s.tapped = id, tapped
	s.ExtendBaseWidget(s)
	return s
}

func (s *Step) Tapped(*fyne.PointEvent)        { s.tap() }
func (s *Step) FocusGained()                   { s.take(s, true) }
func (s *Step) FocusLost()                     { s.take(s, false) }
func (s *Step) MouseIn(*desktop.MouseEvent)    { s.hover(s, true) }
func (s *Step) MouseMoved(*desktop.MouseEvent) {}
func (s *Step) MouseOut()                      { s.hover(s, false) }
func (s *Step) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeySpace, fyne.KeyReturn, fyne.KeyEnter:
		s.tap()
	default:
		if !steps(s, e) {
			pass(s, e)
		}
	}
}

func (s *Step) textLeft() float32 { return 8 + Scaled(22) + 10 }

func (s *Step) HeightFor(width float32) float32 {
	w := width - s.textLeft() - 6
	return max(44, s.name.HeightFor(w)+s.sub.HeightFor(w)+8)
}

func (s *Step) MinSize() fyne.Size {
	w := s.Size().Width
	if w <= 0 {
		w = 200
	}
	return fyne.NewSize(120, s.HeightFor(w))
}

func (s *Step) CreateRenderer() fyne.WidgetRenderer {
	r := &stepRenderer{s: s, back: canvas.NewRectangle(color.Transparent), bar: flat(Accent), ring: ring()}
	r.Refresh()
	return r
}

type stepRenderer struct {
	s               *Step
	back, bar, ring *canvas.Rectangle
	circle          fyne.CanvasObject
	number          *canvas.Text
}

func (r *stepRenderer) Layout(size fyne.Size) {
	r.back.Resize(size)
	stand(r.bar, fyne.NewPos(0, 4), fyne.NewSize(3, size.Height-8))
	r.ring.Resize(size)
	w := size.Width - r.s.textLeft() - 6
	nameH, subH := r.s.name.HeightFor(w), r.s.sub.HeightFor(w)
	top := snap((size.Height - nameH - subH) / 2)
	d := Scaled(22)
	stand(r.circle, fyne.NewPos(8, top+1), fyne.NewSquareSize(d))
	if r.number != nil {
		centre(r.number, 8, top+1, d, d)
	}
	stand(r.s.name, fyne.NewPos(r.s.textLeft(), top), fyne.NewSize(w, nameH))
	stand(r.s.sub, fyne.NewPos(r.s.textLeft(), top+nameH), fyne.NewSize(w, subH))
}

func (r *stepRenderer) MinSize() fyne.Size { return r.s.MinSize() }

func (r *stepRenderer) Refresh() {
	s := r.s
	r.back.FillColor, r.back.CornerRadius = color.Transparent, radius
	if s.current {
		r.back.FillColor = paint(Card)
	} else if s.hovered {
		r.back.FillColor = paint(Tint)
	}
	r.bar.FillColor, r.bar.Hidden = paint(Accent), !s.current
	r.ring.Hidden, r.ring.StrokeColor = !s.focused, paint(Accent)
	if s.progress == Done {
		r.circle, r.number = NewMark(MarkTick, 22), nil
	} else {
		c := canvas.NewCircle(paint(Card))
		c.StrokeWidth, c.StrokeColor = 2, paint(Edge)
		st := Style{Size: SizeFine, Bold: true, Color: Soft}
		if s.current {
			c.StrokeColor, st.Color = paint(Accent), Accent
		}
		r.number = lettering(strconv.Itoa(s.number), st)
		r.circle = c
	}
	s.name.Refresh()
	s.sub.Refresh()
	if s.Size().Width > 0 {
		r.Layout(s.Size())
	}
	canvas.Refresh(s)
}

func (r *stepRenderer) Objects() []fyne.CanvasObject {
	o := []fyne.CanvasObject{r.back, r.bar, r.circle}
	if r.number != nil {
		o = append(o, r.number)
	}
	return append(o, r.s.name, r.s.sub, r.ring)
}
func (r *stepRenderer) Destroy() {}
