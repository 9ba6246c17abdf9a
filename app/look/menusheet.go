package look

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/widget"
)

// menuSheet lies over the whole window while a menu is open, with the list of the menu on it: what is under it is not touched.
type menuSheet struct {
	widget.BaseWidget
	bar    *MenuBar
	was    fyne.Focusable // what had the keyboard before
	open   int            // the menu
	at     int            // the entry that is marked, -1 for none
	rows   []*menuRow
	list   *fyne.Container
	scroll *container.Scroll
}

func newMenuSheet(b *MenuBar, was fyne.Focusable) *menuSheet {
	s := &menuSheet{bar: b, was: was, at: -1, list: container.New(&menuColumn{})}
	s.scroll = container.NewVScroll(s.list)
	s.ExtendBaseWidget(s)
	return s
}

// show shows a menu with one of its entries marked.
func (s *menuSheet) show(n, at int) {
	entries := s.bar.menus[n].Entries
	if at >= len(entries) || at >= 0 && entries[at].Disabled {
		at = -1
	}
	s.open, s.at, s.bar.at = n, at, n
	s.rows = nil
	var objects []fyne.CanvasObject
	for i, e := range entries {
		r := &menuRow{sheet: s, n: i, entry: e}
		r.ExtendBaseWidget(r)
		s.rows = append(s.rows, r)
		objects = append(objects, r)
	}
	s.list.Objects = objects
	s.list.Refresh()
	s.Refresh()
	s.bar.Refresh()
	s.mark(at)
}

// mark marks an entry and scrolls to it.
func (s *menuSheet) mark(n int) {
	was := s.at
	s.at = n
	for _, i := range []int{was, n} {
		if i >= 0 && i < len(s.rows) {
			s.rows[i].Refresh()
		}
	}
	if n < 0 {
		return
	}
	r := s.rows[n]
	top, high := r.Position().Y, s.scroll.Size().Height
	switch bottom := top + r.Size().Height; {
	case top < s.scroll.Offset.Y:
		scrollTo(s.scroll, top)
	case bottom > s.scroll.Offset.Y+high:
		scrollTo(s.scroll, bottom-high)
	}
}

// run shuts the menu, then does what an entry says.
func (s *menuSheet) run(n int) {
	if n < 0 || s.rows[n].entry.Disabled {
		return
	}
	e := s.rows[n].entry
	s.bar.Shut()
	e.Do()
}

// TypedKey leads through the menus.
func (s *menuSheet) TypedKey(e *fyne.KeyEvent) {
	entries, menus := s.bar.menus[s.open].Entries, len(s.bar.menus)
	switch e.Name {
	case fyne.KeyDown:
		s.mark(next(entries, s.at, 1))
	case fyne.KeyUp:
		s.mark(next(entries, s.at, -1))
	case fyne.KeyHome, fyne.KeyPageUp:
		s.mark(next(entries, -1, 1))
	case fyne.KeyEnd, fyne.KeyPageDown:
		s.mark(next(entries, -1, -1))
	case fyne.KeyLeft:
		s.bar.Open((s.open+menus-1)%menus, true)
	case fyne.KeyRight:
		s.bar.Open((s.open+1)%menus, true)
	case fyne.KeyReturn, fyne.KeyEnter, fyne.KeySpace:
		s.run(s.at)
	case fyne.KeyEscape, fyne.KeyF10, fyne.KeyTab:
		s.bar.Shut()
	}
}

// TypedRune marks the next entry that begins with a letter.
func (s *menuSheet) TypedRune(letter rune) {
	if n := lettered(s.bar.menus[s.open].Entries, s.at, letter); n >= 0 {
		s.mark(n)
	}
}

// TypedShortcut shuts the menu and gives the keys to the window.
func (s *menuSheet) TypedShortcut(k fyne.Shortcut) {
	s.bar.Shut()
	if window, ok := fyne.CurrentApp().Driver().CanvasForObject(s.bar).(fyne.Shortcutable); ok {
		window.TypedShortcut(k)
	}
}

// AcceptsTab is so, for there is nowhere to go: it shuts the menu.
func (s *menuSheet) AcceptsTab() bool { return true }

func (s *menuSheet) KeyDown(e *fyne.KeyEvent) { s.bar.KeyDown(e) }
func (s *menuSheet) KeyUp(e *fyne.KeyEvent)   { s.bar.KeyUp(e) }
func (s *menuSheet) FocusGained()             {}
func (s *menuSheet) FocusLost()               {}

// Tapped shuts the menu, or opens the one whose name was tapped.
func (s *menuSheet) Tapped(e *fyne.PointEvent) {
	if n := s.nameAt(e.Position); n >= 0 && n != s.open {
		s.bar.Open(n, false)
		return
	}
	s.bar.Shut()
}

func (s *menuSheet) nameAt(p fyne.Position) int {
	return s.bar.nameAt(p.Subtract(fyne.CurrentApp().Driver().AbsolutePositionForObject(s.bar)))
}

// MouseMoved opens the menu whose name the pointer has come to.
func (s *menuSheet) MouseMoved(e *desktop.MouseEvent) {
	if n := s.nameAt(e.Position); n >= 0 && n != s.open {
		s.bar.Open(n, false)
	}
}

func (s *menuSheet) MouseIn(e *desktop.MouseEvent) { s.MouseMoved(e) }
func (s *menuSheet) MouseOut()                     {}

func (s *menuSheet) CreateRenderer() fyne.WidgetRenderer {
	r := &menuSheetRenderer{s: s, back: canvas.NewRectangle(color.Transparent)}
	r.Refresh()
	return r
}

type menuSheetRenderer struct {
	s    *menuSheet
	back *canvas.Rectangle
}

// sheetRim is the room between the edge of a menu and its entries.
const sheetRim = 6

func (r *menuSheetRenderer) Layout(size fyne.Size) {
	s := r.s
	top := fyne.CurrentApp().Driver().AbsolutePositionForObject(s.bar).Y + s.bar.Size().Height
	left, need := s.bar.edges()[s.open], s.list.MinSize()
	width := min(need.Width+2*sheetRim, size.Width)
	height := min(need.Height+2*sheetRim, size.Height-top-4)
	left = max(0, min(left, size.Width-width))
	stand(r.back, fyne.NewPos(left, top), fyne.NewSize(width, height))
	stand(s.scroll, fyne.NewPos(left+sheetRim, top+sheetRim), fyne.NewSize(width-2*sheetRim, height-2*sheetRim))
}

func (r *menuSheetRenderer) MinSize() fyne.Size { return fyne.Size{} }

func (r *menuSheetRenderer) Refresh() {
	r.back.FillColor, r.back.StrokeColor, r.back.StrokeWidth, r.back.CornerRadius = paint(Card), paint(Edge), 1, 7
	r.Layout(r.s.Size())
	canvas.Refresh(r.s)
}
func (r *menuSheetRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.back, r.s.scroll}
}
func (r *menuSheetRenderer) Destroy() {}

// menuColumn stacks the entries, all as wide as the widest.
type menuColumn struct{}

func (*menuColumn) Layout(rows []fyne.CanvasObject, size fyne.Size) {
	y := float32(0)
	for _, r := range rows {
		h := r.MinSize().Height
		stand(r, fyne.NewPos(0, y), fyne.NewSize(size.Width, h))
		y += h
	}
}

func (*menuColumn) MinSize(rows []fyne.CanvasObject) fyne.Size {
	out := fyne.Size{}
	for _, r := range rows {
		m := r.MinSize()
		out = fyne.NewSize(max(out.Width, m.Width), out.Height+m.Height)
	}
	return out
}

// menuRow is an entry in the list. The keyboard stays with the sheet.
type menuRow struct {
	widget.BaseWidget
	sheet *menuSheet
	n     int
	entry MenuEntry
}

// ID names the entry within its bar.
func (r *menuRow) ID() string { return r.entry.ID }

func (r *menuRow) Tapped(*fyne.PointEvent) { r.sheet.run(r.n) }

// MouseIn marks the entry.
func (r *menuRow) MouseIn(*desktop.MouseEvent) { r.MouseMoved(nil) }
func (r *menuRow) MouseOut()                   {}
func (r *menuRow) MouseMoved(*desktop.MouseEvent) {
	if r.sheet.at != r.n && !r.entry.Disabled {
		r.sheet.mark(r.n)
	}
}

func (r *menuRow) style() Style {
	if r.entry.Disabled {
		return Style{Color: Soft, Italic: true}
	}
	return Style{}
}

// What stands beside the words of an entry: the tick before them, the gap to the keys, the room at the ends; and the room
// above an entry that a line parts from the one before.
const (
	rowTick   = 16
	rowRoom   = 10
	rowGap    = 36
	rowParted = 9
)

func (r *menuRow) above() float32 {
	if r.entry.Parted {
		return rowParted
	}
	return 0
}

func (r *menuRow) MinSize() fyne.Size {
	w := 2*rowRoom + Scaled(rowTick) + rowRoom + r.style().measure(r.entry.Text)
	if r.entry.Key != "" {
		w += rowGap + keyStyle.measure(r.entry.Key)
	}
	return fyne.NewSize(snap(max(160, w)+0.5), max(44, Style{}.pitch()+16)+r.above())
}

var keyStyle = Style{Color: Soft}

func (r *menuRow) CreateRenderer() fyne.WidgetRenderer {
	x := &menuRowRenderer{r: r, line: flat(Line), back: canvas.NewRectangle(color.Transparent), ring: ring(), tick: NewMark(MarkCheck, rowTick),
		text: lettering("", Style{}), key: lettering("", Style{})}
	x.Refresh()
	return x
}

type menuRowRenderer struct {
	r                *menuRow
	line, back, ring *canvas.Rectangle
	tick             *Mark
	text, key        *canvas.Text
}

func (x *menuRowRenderer) Layout(size fyne.Size) {
	up, edge := x.r.above(), Scaled(rowTick)
	high := size.Height - up
	stand(x.line, fyne.NewPos(0, 4), fyne.NewSize(size.Width, 1))
	for _, o := range []*canvas.Rectangle{x.back, x.ring} {
		stand(o, fyne.NewPos(1, up+1), fyne.NewSize(size.Width-2, high-2))
	}
	stand(x.tick, fyne.NewPos(rowRoom, snap(up+(high-edge)/2)), fyne.NewSquareSize(edge))
	left := 2*rowRoom + edge
	set(x.text, left, up+baseline(x.text.TextSize, high))
	set(x.key, size.Width-rowRoom-x.key.MinSize().Width, up+baseline(x.key.TextSize, high))
}

func (x *menuRowRenderer) MinSize() fyne.Size { return x.r.MinSize() }

func (x *menuRowRenderer) Refresh() {
	r := x.r
	x.text.Text, x.key.Text = r.entry.Text, r.entry.Key
	r.style().dress(x.text)
	keyStyle.dress(x.key)
	marked := r.sheet.at == r.n
	x.back.FillColor, x.back.CornerRadius, x.back.Hidden = paint(Tint), 5, !marked
	x.ring.StrokeColor, x.ring.CornerRadius, x.ring.Hidden = paint(Accent), 5, !marked
	x.line.FillColor, x.line.Hidden = paint(Line), !r.entry.Parted
	x.tick.Hidden = !r.entry.Chosen
	x.tick.Refresh()
	x.Layout(r.Size())
	canvas.Refresh(r)
}

func (x *menuRowRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{x.line, x.back, x.tick, x.text, x.key, x.ring}
}
func (x *menuRowRenderer) Destroy() {}
