package look

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
)

// Weight is how much a button stands out.
type Weight uint8

const (
	Plain Weight = iota // outlined
	Main                // filled; one a page
	Quiet               // text alone
)

// Button acts when it is tapped, or when Space or Return is typed while it has the keyboard.
type Button struct {
	part
	text   string
	weight Weight
	small  bool
	chosen bool
	flush  bool
}

var _ desktop.Hoverable = (*Button)(nil)

// NewButton makes a button; id names it within its window.
func NewButton(id, text string, weight Weight, tapped func()) *Button {
	b := &Button{text: text, weight: weight}
	b.id, b.tapped = id, tapped
	b.ExtendBaseWidget(b)
	return b
}

// Small makes the button lower, for a place inside a row.
func (b *Button) Small() *Button { b.small = true; return b }

// Chosen marks the button as the choice that is in force.
func (b *Button) Chosen(is bool) *Button { b.chosen = is; return b }

// Flush begins the text at the left, for buttons that stand under one another.
func (b *Button) Flush() *Button { b.flush = true; return b }

// Text is what stands on the button.
func (b *Button) Text() string { return b.text }

func (b *Button) Tapped(*fyne.PointEvent)        { b.tap() }
func (b *Button) FocusGained()                   { b.take(b, true) }
func (b *Button) FocusLost()                     { b.take(b, false) }
func (b *Button) MouseIn(*desktop.MouseEvent)    { b.hover(b, true) }
func (b *Button) MouseMoved(*desktop.MouseEvent) {}
func (b *Button) MouseOut()                      { b.hover(b, false) }

func (b *Button) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeySpace, fyne.KeyReturn, fyne.KeyEnter:
		b.tap()
	default:
		if !steps(b, e) {
			pass(b, e)
		}
	}
}

// grip is the room around the visible button for the ring of the keyboard.
const grip = 3

func (b *Button) style() Style {
	s := Style{Bold: true}
	switch {
	case b.weight == Main:
		s.Color = OnAccent
	case b.weight == Quiet && !b.chosen:
		s.Color = Ink
		s.Bold = false
	default:
		s.Color = Accent
	}
	if b.small || b.weight == Quiet {
		s.Size = SizeSmall
	}
	return s
}

func (b *Button) room() (side, height float32) {
	switch {
	case b.weight == Quiet:
		return 8, 44
	case b.small:
		return 13, 44
	}
	return 18, 44
}

func (b *Button) natural() float32 { return b.MinSize().Width }

func (b *Button) MinSize() fyne.Size {
	s := b.style()
	w := s.measure(b.text)
	if b.weight == Quiet { // as wide chosen as not, so that nothing beside it moves
		strong := s
		strong.Bold = true
		w = max(w, strong.measure(b.text))
	}
	side, h := b.room()
	return fyne.NewSize(max(44, snap(w+2*(side+grip))), max(h, s.pitch()+16+2*grip))
}

func (b *Button) CreateRenderer() fyne.WidgetRenderer {
	r := &buttonRenderer{b: b, back: canvas.NewRectangle(color.Transparent), ring: ring(), text: canvas.NewText("", nil)}
	r.Refresh()
	return r
}

type buttonRenderer struct {
	b          *Button
	back, ring *canvas.Rectangle
	text       *canvas.Text
}

func (r *buttonRenderer) Layout(size fyne.Size) {
	inset := float32(grip)
	if r.b.small {
		inset = grip + 3
	}
	r.back.Move(fyne.NewPos(grip, inset))
	r.back.Resize(fyne.NewSize(size.Width-2*grip, size.Height-2*inset))
	r.ring.Move(fyne.NewPos(0, inset-grip))
	r.ring.Resize(fyne.NewSize(size.Width, size.Height-2*(inset-grip)))
	width := size.Width
	if r.b.flush {
		side, _ := r.b.room()
		width = r.text.MinSize().Width + 2*(side+grip)
	}
	centre(r.text, 0, 0, width, size.Height)
}

func (r *buttonRenderer) MinSize() fyne.Size { return r.b.MinSize() }

func (r *buttonRenderer) Refresh() {
	b, s := r.b, r.b.style()
	r.text.Text = b.text
	s.dress(r.text)
	r.back.CornerRadius = 7
	r.back.StrokeWidth, r.back.FillColor = 0, color.Transparent
	switch {
	case b.weight == Main:
		r.back.FillColor = paint(Accent)
		if b.hovered {
			r.back.StrokeWidth, r.back.StrokeColor = 2, paint(Ink)
		}
	case b.weight == Plain:
		r.back.StrokeWidth, r.back.StrokeColor, r.back.FillColor = 1.5, paint(Accent), paint(Card)
		if b.hovered || b.chosen {
			r.back.FillColor = paint(Tint)
		}
	case b.hovered || b.chosen:
		r.back.FillColor = paint(Tint)
	}
	r.ring.StrokeColor = paint(Accent)
	r.ring.Hidden = !b.focused
	r.Layout(b.Size())
	canvas.Refresh(b)
}

func (r *buttonRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.back, r.text, r.ring}
}
func (r *buttonRenderer) Destroy() {}

// Buttons puts buttons beside one another, flush with the text above them.
func Buttons(buttons ...fyne.CanvasObject) fyne.CanvasObject {
	out := float32(grip)
	if len(buttons) > 0 {
		if b, ok := buttons[0].(*Button); ok && b.weight == Quiet && !b.chosen { // its text alone is seen
			side, _ := b.room()
			out += side
		}
	}
	return Pad(0, 0, 0, -out, Wrap(10-2*grip, buttons...))
}

// Tick is a box that is ticked or not, with words beside it.
type Tick struct {
	part
	text    string
	on      bool
	changed func(bool)
}

// NewTick makes a tick box; id names it within its window.
func NewTick(id, text string, on bool, changed func(bool)) *Tick {
	t := &Tick{text: text, on: on, changed: changed}
	t.id = id
	t.tapped = func() {
		t.on = !t.on
		t.Refresh()
		t.changed(t.on)
	}
	t.ExtendBaseWidget(t)
	return t
}

func (t *Tick) Tapped(*fyne.PointEvent)        { t.tap() }
func (t *Tick) FocusGained()                   { t.take(t, true) }
func (t *Tick) FocusLost()                     { t.take(t, false) }
func (t *Tick) MouseIn(*desktop.MouseEvent)    { t.hover(t, true) }
func (t *Tick) MouseMoved(*desktop.MouseEvent) {}
func (t *Tick) MouseOut()                      { t.hover(t, false) }
func (t *Tick) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeySpace, fyne.KeyReturn, fyne.KeyEnter:
		t.tap()
	default:
		if !steps(t, e) {
			pass(t, e)
		}
	}
}

const tickBox = 20

func (t *Tick) HeightFor(width float32) float32 {
	return max(44, styled(t.text, Style{Size: SizeSmall}).HeightFor(width-tickBox-12-2*grip)+12)
}

func (t *Tick) natural() float32 {
	return styled(t.text, Style{Size: SizeSmall}).natural() + tickBox + 12 + 2*grip
}

func (t *Tick) MinSize() fyne.Size {
	w := t.Size().Width
	if w <= 0 {
		w = t.natural()
	}
	return fyne.NewSize(140, t.HeightFor(w))
}

func (t *Tick) CreateRenderer() fyne.WidgetRenderer {
	text := styled(t.text, Style{Size: SizeSmall})
	box := canvas.NewRectangle(color.Transparent)
	mark := NewMark(MarkTick, tickBox)
	r := &tickRenderer{t: t, text: text, box: box, mark: mark, ring: ring()}
	r.Refresh()
	return r
}

type tickRenderer struct {
	t         *Tick
	text      *Text
	box, ring *canvas.Rectangle
	mark      *Mark
}

func (r *tickRenderer) Layout(size fyne.Size) {
	r.ring.Resize(size)
	r.box.Move(fyne.NewPos(grip+2, (size.Height-tickBox)/2))
	r.box.Resize(fyne.NewSize(tickBox, tickBox))
	r.mark.Move(r.box.Position())
	r.mark.Resize(r.box.Size())
	w := size.Width - tickBox - 12 - 2*grip
	h := r.text.HeightFor(w)
	r.text.Move(fyne.NewPos(grip+tickBox+12, snap((size.Height-h)/2)))
	r.text.Resize(fyne.NewSize(w, h))
}

func (r *tickRenderer) MinSize() fyne.Size { return r.t.MinSize() }
func (r *tickRenderer) Refresh() {
	r.box.StrokeWidth, r.box.StrokeColor, r.box.CornerRadius, r.box.FillColor = 1.5, paint(Edge), 4, paint(Card)
	r.mark.Hidden = !r.t.on
	r.ring.Hidden = !r.t.focused
	r.ring.StrokeColor = paint(Accent)
	r.mark.Refresh()
	r.text.Set(rich(r.t.text, Style{Size: SizeSmall})...)
	canvas.Refresh(r.t)
}
func (r *tickRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.box, r.mark, r.text, r.ring}
}
func (r *tickRenderer) Destroy() {}
