package look

import (
	"context"
	"image/color"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
)

// HoldFor is how long the button has to be held.
const HoldFor = 2 * time.Second

const holdFrame = 33 * time.Millisecond

// Hold is a button that acts when it has been held for [HoldFor]: with the pointer, or with Space while it has the
// keyboard. Letting go, leaving it, or Escape cancels. It acts on completion, never on the press.
type Hold struct {
	part
	text     string
	ready    bool
	do       func(func()) // runs a function on the window's thread
	held     func()
	moved    func(part float32)
	progress float32
	stop     context.CancelFunc // nil while nobody holds it
}

var (
	_ desktop.Mouseable = (*Hold)(nil)
	_ desktop.Keyable   = (*Hold)(nil)
	_ desktop.Hoverable = (*Hold)(nil)
)

// NewHold makes the button. do runs a function on the window's thread; moved is told of the progress, 0 to 1.
func NewHold(id, text string, do func(func()), moved func(float32), held func()) *Hold {
	h := &Hold{text: text, do: do, moved: moved, held: held}
	h.id = id
	h.tapped = func() {}
	h.ExtendBaseWidget(h)
	return h
}

// Ready says whether holding does anything, and what stands on the button.
func (h *Hold) Ready(ready bool, text string) {
	if h.ready == ready && h.text == text {
		return
	}
	h.ready, h.text = ready, text
	if !ready {
		h.release()
	}
	h.Refresh()
}

// Progress is how far the holding has come, 0 to 1.
func (h *Hold) Progress() float32 { return h.progress }

// Holding tells whether it is being held.
func (h *Hold) Holding() bool { return h.stop != nil }

func (h *Hold) press() {
	if !h.ready || h.stop != nil {
		return
	}
	ctx, stop := context.WithCancel(context.Background())
	h.stop = stop
	begun := time.Now()
	go func() {
		tick := time.NewTicker(holdFrame)
		defer tick.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case now := <-tick.C:
				part := float32(now.Sub(begun)) / float32(HoldFor)
				h.do(func() { h.advance(ctx, part) })
				if part >= 1 {
					return
				}
			}
		}
	}()
}

func (h *Hold) advance(ctx context.Context, part float32) {
	if ctx.Err() != nil { // it was let go in the meantime
		return
	}
	h.show(min(1, part))
	if part < 1 {
		return
	}
	h.release()
	h.held()
}

// release ends the holding; nothing happens.
func (h *Hold) release() {
	if h.stop != nil {
		h.stop()
		h.stop = nil
	}
	if h.progress != 0 {
		h.show(0)
	}
}

func (h *Hold) show(part float32) {
	h.progress = part
	if h.moved != nil {
		h.moved(part)
	}
	h.Refresh()
}

func (h *Hold) MouseDown(e *desktop.MouseEvent) {
	if e.Button == desktop.MouseButtonPrimary {
		h.press()
	}
}
func (h *Hold) MouseUp(*desktop.MouseEvent)    { h.release() }
func (h *Hold) MouseIn(*desktop.MouseEvent)    { h.hover(h, true) }
func (h *Hold) MouseMoved(*desktop.MouseEvent) {}
func (h *Hold) MouseOut()                      { h.release(); h.hover(h, false) }
func (h *Hold) FocusGained()                   { h.take(h, true) }
func (h *Hold) FocusLost()                     { h.release(); h.take(h, false) }
func (h *Hold) KeyDown(e *fyne.KeyEvent) {
	if e.Name == fyne.KeySpace {
		h.press()
	}
	keyDown(h, e)
}
func (h *Hold) KeyUp(e *fyne.KeyEvent) {
	if e.Name == fyne.KeySpace {
		h.release()
	}
	keyUp(h, e)
}
func (h *Hold) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeySpace, fyne.KeyReturn, fyne.KeyEnter:
		return
	case fyne.KeyEscape:
		if h.stop != nil {
			h.release()
			return
		}
	}
	if !steps(h, e) {
		pass(h, e)
	}
}

// Cursor is a hand when holding does something.
func (h *Hold) Cursor() desktop.Cursor {
	if h.ready {
		return desktop.PointerCursor
	}
	return desktop.DefaultCursor
}

func (h *Hold) natural() float32 { return h.MinSize().Width }

func (h *Hold) MinSize() fyne.Size {
	w := Style{Bold: true}.measure(h.text)
	return fyne.NewSize(snap(max(Scaled(260), w+44)+2*grip), max(50, Style{Bold: true}.pitch()+24))
}

func (h *Hold) CreateRenderer() fyne.WidgetRenderer {
	r := &holdRenderer{h: h, back: canvas.NewRectangle(color.Transparent), fill: canvas.NewRectangle(color.Transparent),
		text: canvas.NewText("", color.Transparent), ring: ring()}
	r.Refresh()
	return r
}

type holdRenderer struct {
	h                *Hold
	back, fill, ring *canvas.Rectangle
	text             *canvas.Text
}

func (r *holdRenderer) Layout(size fyne.Size) {
	inner := fyne.NewSize(size.Width-2*grip, size.Height-2*grip)
	r.ring.Resize(size)
	r.back.Move(fyne.NewPos(grip, grip))
	r.back.Resize(inner)
	// The bar fills along the lower edge, so that the words stay legible on one ground.
	r.fill.Move(fyne.NewPos(grip, size.Height-grip-8))
	r.fill.Resize(fyne.NewSize(inner.Width*r.h.progress, 8))
	centre(r.text, 0, 0, size.Width, size.Height-2)
}

func (r *holdRenderer) MinSize() fyne.Size { return r.h.MinSize() }

func (r *holdRenderer) Refresh() {
	h := r.h
	r.back.CornerRadius, r.fill.CornerRadius = 7, 3
	ink := OnIdle
	r.back.FillColor, r.back.StrokeWidth = paint(Idle), 0
	r.fill.FillColor = paint(Alert)
	if h.ready {
		ink, r.back.FillColor = OnAccent, paint(Accent)
		r.fill.FillColor = paint(OnAccent)
		if h.hovered {
			r.back.StrokeWidth, r.back.StrokeColor = 2, paint(Ink)
		}
	}
	r.text.Text = h.text
	Style{Bold: true, Color: ink}.dress(r.text)
	r.fill.Hidden = h.progress == 0
	r.ring.Hidden, r.ring.StrokeColor = !h.focused, paint(Accent)
	r.Layout(h.Size())
	canvas.Refresh(h)
}

func (r *holdRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.back, r.fill, r.text, r.ring}
}
func (r *holdRenderer) Destroy() {}
