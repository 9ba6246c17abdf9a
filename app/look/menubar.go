package look

import (
	"image/color"
	"strings"
	"unicode"
	"unicode/utf8"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/driver/desktop"
)

// MenuEntry is a line of a menu.
type MenuEntry struct {
	ID       string // names it within its bar
	Text     string
	Key      string // the keys that do the same, "" for none
	Chosen   bool   // a tick stands before it
	Disabled bool   // it can't be done now
	Parted   bool   // a line stands above it
	Do       func()
}

// Menu is a list under a name.
type Menu struct {
	Name    string
	Entries []MenuEntry
}

// MenuBar is the row of menus at the top of a window. The whole bar is one stop of the Tab key; in it the arrow keys lead on.
// The toolkit's own bar leaves its letters to the theme, which reads three more fonts for them, some nine megabytes.
type MenuBar struct {
	part
	menus []Menu
	at    int        // the name that has the keyboard when the bar has it
	over  int        // the name under the pointer, -1 for none
	sheet *menuSheet // nil while all menus are shut
	alt   bool       // Alt is held, and nothing else has been pressed since
}

// NewMenuBar makes a bar without menus; id names it within its window.
func NewMenuBar(id string) *MenuBar {
	b := &MenuBar{over: -1}
	b.id, b.tapped = id, func() {}
	b.ExtendBaseWidget(b)
	return b
}

// Set gives the bar its menus. One that is open stays open.
func (b *MenuBar) Set(menus []Menu) {
	b.menus = menus
	b.at, b.over = max(0, min(b.at, len(menus)-1)), -1
	b.Refresh()
	if s := b.sheet; s != nil {
		s.show(min(s.open, len(menus)-1), s.at)
	}
}

// Open opens the menu of a number; with marked, its first entry that can be chosen is marked.
func (b *MenuBar) Open(n int, marked bool) {
	c := fyne.CurrentApp().Driver().CanvasForObject(b)
	if c == nil || n < 0 || n >= len(b.menus) {
		return
	}
	at := -1
	if marked {
		at = next(b.menus[n].Entries, -1, 1)
	}
	if b.sheet != nil {
		b.sheet.show(n, at)
		return
	}
	s := newMenuSheet(b, c.Focused())
	b.sheet = s
	c.Unfocus()
	s.show(n, at)
	c.Overlays().Add(s)
	s.Resize(c.Size())
	c.Focus(s)
}

// Shut shuts the menu that is open, and gives the keyboard back to what had it.
func (b *MenuBar) Shut() {
	s, c := b.sheet, fyne.CurrentApp().Driver().CanvasForObject(b)
	if s == nil || c == nil {
		return
	}
	b.sheet = nil
	c.Overlays().Remove(s)
	if was, ok := s.was.(Identified); ok && Find(c.Content(), was.ID()) == was {
		c.Focus(was)
	}
	b.Refresh()
}

// Toggle opens the first menu, or shuts the one that is open.
func (b *MenuBar) Toggle() {
	if b.sheet != nil {
		b.Shut()
		return
	}
	b.Open(0, true)
}

// KeyDown and KeyUp hear of every key of the window: Alt, pressed alone and let go, toggles the menus. The right one is a
// key to write with on many keyboards.
func (b *MenuBar) KeyDown(e *fyne.KeyEvent) {
	held := fyne.KeyModifier(0)
	if d, ok := fyne.CurrentApp().Driver().(desktop.Driver); ok {
		held = d.CurrentKeyModifiers()
	}
	b.alt = e.Name == desktop.KeyAltLeft && held&^fyne.KeyModifierAlt == 0
}

// KeyUp is described at [MenuBar.KeyDown].
func (b *MenuBar) KeyUp(e *fyne.KeyEvent) {
	toggles := b.alt && e.Name == desktop.KeyAltLeft
	b.alt = false
	if toggles {
		b.Toggle()
	}
}

// Forget tells that the window has lost the keyboard: an Alt that is let go then was meant for another one.
func (b *MenuBar) Forget() { b.alt = false }

// TypedKey leads along the names and opens their menus.
func (b *MenuBar) TypedKey(e *fyne.KeyEvent) {
	switch e.Name {
	case fyne.KeyLeft:
		b.lead(b.at - 1)
	case fyne.KeyRight:
		b.lead(b.at + 1)
	case fyne.KeyDown, fyne.KeySpace, fyne.KeyReturn, fyne.KeyEnter:
		b.Open(b.at, true)
	case fyne.KeyUp:
		steps(b, e)
	default:
		pass(b, e)
	}
}

func (b *MenuBar) lead(n int) {
	if len(b.menus) > 0 {
		b.at = (n + len(b.menus)) % len(b.menus)
		b.Refresh()
	}
}

func (b *MenuBar) FocusGained()                  { b.take(b, true) }
func (b *MenuBar) FocusLost()                    { b.take(b, false) }
func (b *MenuBar) MouseIn(e *desktop.MouseEvent) { b.MouseMoved(e) }
func (b *MenuBar) MouseOut()                     { b.point(-1) }

// MouseMoved marks the name under the pointer.
func (b *MenuBar) MouseMoved(e *desktop.MouseEvent) { b.point(b.nameAt(e.Position)) }

func (b *MenuBar) point(n int) {
	if n != b.over {
		b.over = n
		b.Refresh()
	}
}

// Tapped opens the menu whose name was tapped.
func (b *MenuBar) Tapped(e *fyne.PointEvent) {
	if n := b.nameAt(e.Position); n >= 0 {
		b.Open(n, false)
	}
}

// The room beside a name, and where the first one begins: its letters stand above those of the strip.
const (
	nameRoom  = 14
	nameBegin = 6
)

// edges are where the names begin, and where the last one ends.
func (b *MenuBar) edges() []float32 {
	x := float32(nameBegin)
	out := []float32{x}
	for _, m := range b.menus {
		x += max(44, snap(Style{}.measure(m.Name))+2*nameRoom)
		out = append(out, x)
	}
	return out
}

// nameAt is the number of the name at a place, -1 for none.
func (b *MenuBar) nameAt(p fyne.Position) int {
	e := b.edges()
	for n := range b.menus {
		if p.Y >= 0 && p.Y < b.Size().Height && e[n] <= p.X && p.X < e[n+1] {
			return n
		}
	}
	return -1
}

func (b *MenuBar) natural() float32 { return b.MinSize().Width }

// MinSize is as wide as the names, and as high as what acts.
func (b *MenuBar) MinSize() fyne.Size {
	e := b.edges()
	return fyne.NewSize(max(44, e[len(e)-1]+nameBegin), max(44, Style{}.pitch()+20))
}

func (b *MenuBar) CreateRenderer() fyne.WidgetRenderer {
	r := &menuBarRenderer{b: b, back: canvas.NewRectangle(color.Transparent), ring: ring()}
	r.Refresh()
	return r
}

type menuBarRenderer struct {
	b          *MenuBar
	back, ring *canvas.Rectangle // under the name that is open or pointed at, around the one that has the keyboard
	names      []*canvas.Text
}

func (r *menuBarRenderer) Layout(size fyne.Size) {
	e := r.b.edges()
	over := func(o fyne.CanvasObject, n int, inset float32) {
		if n >= 0 && n < len(e)-1 {
			stand(o, fyne.NewPos(e[n]+inset, inset), fyne.NewSize(e[n+1]-e[n]-2*inset, size.Height-2*inset))
		}
	}
	over(r.back, r.b.lit(), grip)
	over(r.ring, r.b.at, 1)
	for n, t := range r.names {
		centre(t, e[n], 0, e[n+1]-e[n], size.Height)
	}
}

// lit is the name that is marked: the one that is open, else the one under the pointer.
func (b *MenuBar) lit() int {
	if b.sheet != nil {
		return b.sheet.open
	}
	return b.over
}

func (r *menuBarRenderer) MinSize() fyne.Size { return r.b.MinSize() }

func (r *menuBarRenderer) Refresh() {
	for len(r.names) < len(r.b.menus) {
		r.names = append(r.names, lettering("", Style{}))
	}
	r.names = r.names[:len(r.b.menus)]
	for n, m := range r.b.menus {
		r.names[n].Text = m.Name
		Style{}.dress(r.names[n])
	}
	r.back.FillColor, r.back.CornerRadius, r.back.Hidden = paint(Tint), 7, r.b.lit() < 0
	r.ring.StrokeColor, r.ring.Hidden = paint(Accent), !r.b.focused
	r.Layout(r.b.Size())
	canvas.Refresh(r.b)
}

func (r *menuBarRenderer) Objects() []fyne.CanvasObject {
	out := []fyne.CanvasObject{r.back}
	for _, t := range r.names {
		out = append(out, t)
	}
	return append(out, r.ring)
}
func (r *menuBarRenderer) Destroy() {}

// next is the next entry after one, in a direction, that can be chosen; from -1 the first or the last one. Where there is none
// it is -1.
func next(entries []MenuEntry, from, by int) int {
	n := len(entries)
	if from < 0 && by < 0 {
		from = n
	}
	for k := 1; k <= n; k++ {
		if i := ((from+k*by)%n + n) % n; !entries[i].Disabled {
			return i
		}
	}
	return -1
}

// lettered is the next entry after one that begins with a letter, -1 for none.
func lettered(entries []MenuEntry, from int, letter rune) int {
	for k := 1; k <= len(entries); k++ {
		i := (from + k + len(entries)) % len(entries)
		first, _ := utf8.DecodeRuneInString(strings.TrimSpace(entries[i].Text))
		if !entries[i].Disabled && unicode.ToLower(first) == unicode.ToLower(letter) {
			return i
		}
	}
	return -1
}
