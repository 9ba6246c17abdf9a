package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/widget"
)

// part is what every part that acts has in common: a name to find it again after the page was built anew, the
// keyboard, the pointer.
type part struct {
	widget.BaseWidget
	id      string
	self    fyne.CanvasObject // once it has had the keyboard
	focused bool
	hovered bool
	tapped  func()
}

// ID names the part within its window; it stays the same when the page is built anew.
func (p *part) ID() string { return p.id }

func (p *part) take(self fyne.CanvasObject, focused bool) {
	p.focused, p.self = focused, self
	if focused {
		Reveal(self)
	}
	self.Refresh()
}

func (p *part) hover(self fyne.CanvasObject, over bool) {
	if p.hovered != over {
		p.hovered = over
		self.Refresh()
	}
}

func (p *part) tap() {
	if p.tapped != nil {
		p.tapped()
	}
}

// TypedRune takes nothing.
func (p *part) TypedRune(rune) {}

// KeyDown and KeyUp tell the window of a key that is pressed or let go: it hears of none while a part has the keyboard.
func (p *part) KeyDown(e *fyne.KeyEvent) { keyDown(p.self, e) }

// KeyUp is described at KeyDown.
func (p *part) KeyUp(e *fyne.KeyEvent) { keyUp(p.self, e) }

func keyDown(self fyne.CanvasObject, e *fyne.KeyEvent) {
	if c := keyCanvas(self); c != nil && c.OnKeyDown() != nil {
		c.OnKeyDown()(e)
	}
}

func keyUp(self fyne.CanvasObject, e *fyne.KeyEvent) {
	if c := keyCanvas(self); c != nil && c.OnKeyUp() != nil {
		c.OnKeyUp()(e)
	}
}

// keyCanvas is the canvas of a part where it hears of keys, nil where it does not.
func keyCanvas(self fyne.CanvasObject) desktop.Canvas {
	if self == nil {
		return nil
	}
	c, _ := fyne.CurrentApp().Driver().CanvasForObject(self).(desktop.Canvas)
	return c
}

// Cursor is a hand over what acts.
func (p *part) Cursor() desktop.Cursor {
	if p.tapped == nil {
		return desktop.DefaultCursor
	}
	return desktop.PointerCursor
}

// pass gives a key that a part has no use for to the window, as if nothing had the keyboard.
func pass(self fyne.CanvasObject, e *fyne.KeyEvent) {
	if c := fyne.CurrentApp().Driver().CanvasForObject(self); c != nil {
		if typed := c.OnTypedKey(); typed != nil {
			typed(e)
		}
	}
}

// steps moves the keyboard with the arrow keys and reports whether the key was one of them.
func steps(self fyne.CanvasObject, e *fyne.KeyEvent) bool {
	c := fyne.CurrentApp().Driver().CanvasForObject(self)
	if c == nil {
		return false
	}
	switch e.Name {
	case fyne.KeyDown:
		c.FocusNext()
	case fyne.KeyUp:
		c.FocusPrevious()
	default:
		return false
	}
	return true
}

// Identified is a part that can be found again by its name.
type Identified interface {
	fyne.Focusable
	ID() string
}

// Find finds the part with a name in a tree of objects, nil when there is none.
func Find(tree fyne.CanvasObject, id string) Identified {
	var found Identified
	walk(tree, nil, func(o fyne.CanvasObject, _ *container.Scroll) bool {
		if x, ok := o.(Identified); ok && x.ID() == id {
			found = x
		}
		return found == nil
	})
	return found
}
