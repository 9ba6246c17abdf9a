package look

import (
	"slices"
	"sort"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"
)

// Column is what a [Many] shows. A row is a heading, or one that can be chosen.
type Column interface {
	Len() int
	Heading(i int) bool
	Height(i int, width float32) float32
	Build(i int) fyne.CanvasObject
}

// Many is a column of rows of which only those in sight are built, so that it can hold thousands. Rows between two
// headings share a card. The column is one stop of the keyboard: the arrow keys, page up, page down, home and end
// choose a row, and so does a tap.
type Many struct {
	part
	rows   Column
	chosen int
	choose func(i int)

	open   func(i int)
	atOnce bool // a tap opens a row at once
	beyond func(by int, all bool) bool

	width    float32   // the width that the places were made for
	size     float32   // the size of text that they were made for
	tops     []float32 // where each row begins; the last is the end of all. Empty for a column of even rows
	even     evenTops
	from, to float32 // what is in sight
	built    map[int]fyne.CanvasObject
}

var _ desktop.Hoverable = (*Many)(nil)

// NewMany makes a column without rows. choose is told of a row that the owner has chosen.
func NewMany(id string, choose func(i int)) *Many {
	m := &Many{choose: choose, chosen: -1, to: 1600, built: map[int]fyne.CanvasObject{}}
	m.id, m.tapped = id, func() {}
	m.ExtendBaseWidget(m)
	return m
}

// Fill sets the rows and the chosen one, -1 for none. Rows that are the same value as before keep their heights.
func (m *Many) Fill(rows Column, chosen int) {
	if rows != m.rows {
		m.rows, m.width, m.even.n = rows, -1, 0
	}
	m.chosen = chosen
	m.forget()
	m.Refresh()
}

// forget lets the rows be built anew; parts in them that have a name stay the same objects.
func (m *Many) forget() {
	for i, o := range m.built {
		if m.rows == nil || i >= m.rows.Len() {
			delete(m.built, i)
			continue
		}
		fresh := m.rows.Build(i)
		adopt(o, fresh)
		m.built[i] = fresh
	}
}

// Chosen is the chosen row, -1 when there is none.
func (m *Many) Chosen() int { return m.chosen }

// measure finds where each row begins at a width.
func (m *Many) measure(width float32) {
	size := theme.Size(SizeBody)
	if m.rows == nil || m.width == width && m.size == size {
		return
	}
	m.size = size
	n := m.rows.Len()
	if e, ok := m.rows.(Even); ok {
		m.tops, m.width = m.tops[:0], width
		m.even.measure(e, width)
		return
	}
	m.even = evenTops{}
	m.tops = slices.Grow(m.tops[:0], n+1)[:n+1]
	y := float32(0)
	for i := range n {
		m.tops[i] = y
		y += m.rows.Height(i, width)
		if !m.rows.Heading(i) {
			y++ // the line under it
		}
	}
	m.tops[n], m.width = y, width
}

// HeightFor is the height of all rows together.
func (m *Many) HeightFor(width float32) float32 {
	if m.rows == nil || m.rows.Len() == 0 {
		return 0
	}
	m.measure(width)
	return m.top(m.places()) + 1
}

func (m *Many) natural() float32 { return 640 }

func (m *Many) MinSize() fyne.Size {
	w := m.Size().Width
	if w <= 0 {
		w = m.natural()
	}
	return fyne.NewSize(200, m.HeightFor(w))
}

// see tells which part of the column is in sight.
func (m *Many) see(from, to float32) {
	if m.from == from && m.to == to {
		return
	}
	m.from, m.to = from, to
	m.Refresh()
}

// at is the row at a height, -1 when there is none.
func (m *Many) at(y float32) int {
	n := m.places()
	if n < 1 || y < 0 || y >= m.top(n) {
		return -1
	}
	return sort.Search(n, func(i int) bool { return m.top(i+1) > y })
}

// group is the first row of the card that row i belongs to, and the one after its last.
func (m *Many) group(i int) (first, end int) {
	if m.even.n > 0 {
		return 0, m.even.n
	}
	for first = i; first > 0 && !m.rows.Heading(first-1); first-- {
	}
	for end = i + 1; end < m.rows.Len() && !m.rows.Heading(end); end++ {
	}
	return first, end
}

func (m *Many) Tapped(e *fyne.PointEvent) {
	i := m.at(e.Position.Y)
	if i >= 0 && m.open != nil && (i == m.chosen || m.atOnce && !m.rows.Heading(i)) {
		m.pick(i)
		m.open(i)
		return
	}
	m.pick(i)
}

func (m *Many) pick(i int) {
	if i < 0 || m.rows == nil || i >= m.rows.Len() || m.rows.Heading(i) {
		return
	}
	if i != m.chosen {
		m.chosen = i
		m.choose(i)
	}
	m.reveal()
	m.Refresh()
}

func (m *Many) FocusGained() {
	m.focused, m.self = true, m
	m.reveal()
	m.Refresh()
}

func (m *Many) FocusLost() {
	m.focused = false
	m.Refresh()
}

func (m *Many) MouseIn(*desktop.MouseEvent)    {}
func (m *Many) MouseMoved(*desktop.MouseEvent) {}
func (m *Many) MouseOut()                      {}

// reveal scrolls the chosen row into view.
func (m *Many) reveal() {
	if m.chosen >= 0 && m.chosen < m.places() {
		top := m.top(m.chosen)
		if m.chosen > 0 && m.rows.Heading(m.chosen-1) {
			top = m.top(m.chosen - 1)
		}
		reveal(m, top, m.top(m.chosen+1))
	}
}

// step is the next row that can be chosen from i in a direction, -1 when there is none.
func (m *Many) step(i, by int) int {
	for i += by; i >= 0 && i < m.rows.Len(); i += by {
		if !m.rows.Heading(i) {
			return i
		}
	}
	return -1
}

func (m *Many) TypedKey(e *fyne.KeyEvent) {
	if m.rows == nil || m.places() == 0 {
		pass(m, e)
		return
	}
	page := max(60, m.to-m.from-60)
	next := -1
	switch e.Name {
	case fyne.KeyDown:
		next = m.step(m.chosen, 1)
	case fyne.KeyUp:
		next = m.step(max(m.chosen, 0), -1)
	case fyne.KeyHome:
		next = m.step(-1, 1)
	case fyne.KeyEnd:
		next = m.step(m.rows.Len(), -1)
	case fyne.KeyPageDown:
		if next = m.at(m.top(max(0, m.chosen)) + page); next < 0 {
			next = m.step(m.rows.Len(), -1)
		} else if m.rows.Heading(next) {
			next = m.step(next, 1)
		}
	case fyne.KeyPageUp:
		next = m.at(max(0, m.top(max(0, m.chosen))-page))
		if next >= 0 && m.rows.Heading(next) {
			next = m.step(next, 1)
		}
	case fyne.KeyReturn, fyne.KeyEnter, fyne.KeySpace:
		if m.open == nil || m.chosen < 0 {
			pass(m, e)
			return
		}
		m.open(m.chosen)
		return
	default:
		pass(m, e)
		return
	}
	if m.goBeyond(e.Name, next) {
		return
	}
	if next < 0 {
		steps(m, e) // at either end the arrow keys go on to the next part
		return
	}
	m.pick(next)
}

func (m *Many) CreateRenderer() fyne.WidgetRenderer {
	r := &manyRenderer{m: m}
	r.Layout(m.Size())
	return r
}

type manyRenderer struct {
	m       *Many
	objects []fyne.CanvasObject
	shapes  []*canvas.Rectangle
	used    int // of shapes
	slabs   []*slab
	laid    int // of slabs
}

// shape is a rectangle like the given one. It is the same object again after the next Layout: new objects let Fyne lay
// the column out before the next frame, and then there would be no end of frames.
func (r *manyRenderer) shape(like *canvas.Rectangle) *canvas.Rectangle {
	if r.used == len(r.shapes) {
		r.shapes = append(r.shapes, like)
	}
	s := r.shapes[r.used]
	r.used++
	s.FillColor, s.StrokeColor, s.StrokeWidth, s.CornerRadius, s.Hidden = like.FillColor, like.StrokeColor, like.StrokeWidth, like.CornerRadius, false
	return s
}

// ahead is how far beyond its sight a column is built.
const ahead = 400

func (r *manyRenderer) Layout(size fyne.Size) {
	m := r.m
	r.objects, r.used, r.laid = r.objects[:0], 0, 0
	if m.rows == nil || size.Width <= 0 || m.rows.Len() == 0 {
		clear(m.built)
		return
	}
	m.measure(size.Width)
	n := m.rows.Len()
	first := max(0, m.at(max(0, m.from-ahead)))
	last := first
	for last < n && m.top(last) < m.to+ahead {
		last++
	}
	for i := range m.built {
		if i < first || i >= last {
			delete(m.built, i)
		}
	}
	for i := first; i < last; i++ {
		if !m.rows.Heading(i) && (i == first || m.rows.Heading(i-1)) {
			r.card(i, size.Width)
		}
		r.row(i, size.Width)
	}
}

// card is drawn under the rows between two headings.
func (r *manyRenderer) card(i int, width float32) {
	first, end := r.m.group(i)
	const beyond = ahead + 4*radius // a card is drawn no further than just out of sight
	top, bottom := max(r.m.top(first), r.m.from-beyond), min(r.m.top(end), r.m.to+beyond)
	if r.laid == len(r.slabs) {
		r.slabs = append(r.slabs, newSlab(Card, Line))
	}
	b := r.slabs[r.laid]
	r.laid++
	stand(b, fyne.NewPos(0, top), fyne.NewSize(width, bottom-top))
	r.objects = append(r.objects, b)
}

func (r *manyRenderer) row(i int, width float32) {
	m := r.m
	o, ok := m.built[i]
	if !ok {
		o = m.rows.Build(i)
		m.built[i] = o
	}
	y, h := m.top(i), m.top(i+1)-m.top(i)
	if m.rows.Heading(i) {
		stand(o, fyne.NewPos(0, y), fyne.NewSize(width, h))
		r.objects = append(r.objects, o)
		return
	}
	if i == m.chosen {
		tint := flat(Tint)
		tint.CornerRadius = radius - 1
		back := r.shape(tint)
		stand(back, fyne.NewPos(1, y+1), fyne.NewSize(width-2, h-2))
		r.objects = append(r.objects, back)
	}
	stand(o, fyne.NewPos(0, y), fyne.NewSize(width, h-1))
	r.objects = append(r.objects, o)
	if i+1 < m.rows.Len() && !m.rows.Heading(i+1) {
		l := r.shape(flat(Line))
		stand(l, fyne.NewPos(1, y+h-1), fyne.NewSize(width-2, 1))
		r.objects = append(r.objects, l)
	}
	if i == m.chosen && m.focused {
		f := r.shape(ring())
		stand(f, fyne.NewPos(1, y+1), fyne.NewSize(width-2, h-2))
		r.objects = append(r.objects, f)
	}
}

func (r *manyRenderer) MinSize() fyne.Size { return r.m.MinSize() }

func (r *manyRenderer) Refresh() {
	r.Layout(r.m.Size())
	canvas.Refresh(r.m)
}

func (r *manyRenderer) Objects() []fyne.CanvasObject { return r.objects }
func (r *manyRenderer) Destroy()                     {}

// inSight tells every [Many] in a scroll what can be seen of it.
func inSight(s *container.Scroll) {
	var tell func(o fyne.CanvasObject, y float32)
	tell = func(o fyne.CanvasObject, y float32) {
		y += o.Position().Y
		switch x := o.(type) {
		case *fyne.Container:
			for _, c := range x.Objects {
				tell(c, y)
			}
		case *Many:
			from := max(0, s.Offset.Y-y)
			x.see(from, max(from, s.Offset.Y+s.Size().Height-y))
		}
	}
	for _, o := range s.Content.(*fyne.Container).Objects {
		tell(o, 0)
	}
}
