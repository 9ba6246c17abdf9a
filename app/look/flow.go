package look

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
)

// tall is a part whose height depends on its width.
type tall interface{ HeightFor(width float32) float32 }

// flow is a layout whose height depends on its width.
type flow interface {
	fyne.Layout
	heightFor(objects []fyne.CanvasObject, width float32) float32
	natural(objects []fyne.CanvasObject) float32
}

// HeightFor is the height that an object takes at a width.
func HeightFor(o fyne.CanvasObject, width float32) float32 {
	if t, ok := o.(tall); ok {
		return t.HeightFor(width)
	}
	if c, ok := o.(*fyne.Container); ok {
		if f, ok := c.Layout.(flow); ok {
			return f.heightFor(c.Objects, width)
		}
	}
	return o.MinSize().Height
}

// naturalWidth is the width that an object would take if nothing had to wrap.
func naturalWidth(o fyne.CanvasObject) float32 {
	if t, ok := o.(interface{ natural() float32 }); ok {
		return t.natural()
	}
	if c, ok := o.(*fyne.Container); ok {
		if f, ok := c.Layout.(flow); ok {
			return f.natural(c.Objects)
		}
	}
	return o.MinSize().Width
}

// stand gives an object its place. Fyne draws the whole window again when a container or a part is moved, even to where it
// stands already, and lays everything out again before each frame in which something new has appeared.
func stand(o fyne.CanvasObject, at fyne.Position, size fyne.Size) {
	if o.Position() != at {
		o.Move(at)
	}
	o.Resize(size)
}

func minOf(f flow, objects []fyne.CanvasObject, last float32) fyne.Size {
	if last <= 0 {
		last = f.natural(objects)
	}
	w := float32(0)
	for _, o := range objects {
		w = max(w, o.MinSize().Width)
	}
	return fyne.NewSize(w, f.heightFor(objects, last))
}

// stack puts objects under one another, all as wide as there is room.
type stack struct{ gap, last float32 }

// Stack puts objects under one another with a gap between them.
func Stack(gap float32, objects ...fyne.CanvasObject) *fyne.Container {
	return container.New(&stack{gap: gap}, objects...)
}

func (s *stack) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	s.last = size.Width
	s.lay(objects, fyne.NewPos(0, 0), size.Width)
}

// lay puts the objects under one another from a place on.
func (s *stack) lay(objects []fyne.CanvasObject, at fyne.Position, width float32) {
	first := true
	for _, o := range objects {
		if !o.Visible() {
			continue
		}
		if !first {
			at.Y += s.gap
		}
		first = false
		h := HeightFor(o, width)
		stand(o, at, fyne.NewSize(width, h))
		at.Y += h
	}
}

func (s *stack) heightFor(objects []fyne.CanvasObject, width float32) float32 {
	h, first := float32(0), true
	for _, o := range objects {
		if !o.Visible() {
			continue
		}
		if !first {
			h += s.gap
		}
		first = false
		h += HeightFor(o, width)
	}
	return h
}

func (s *stack) natural(objects []fyne.CanvasObject) float32 {
	w := float32(0)
	for _, o := range objects {
		w = max(w, naturalWidth(o))
	}
	return w
}

func (s *stack) MinSize(objects []fyne.CanvasObject) fyne.Size { return minOf(s, objects, s.last) }

// Gap is empty room of a height.
func Gap(height float32) fyne.CanvasObject {
	r := canvas.NewRectangle(color.Transparent)
	r.SetMinSize(fyne.NewSize(1, height))
	return r
}

// Align is where an object stands in the height of its row.
type Align uint8

const (
	Middle Align = iota
	Top
	Fill
)

// Cell is one object of a row: of a fixed width, growing with the room that is left, or as wide as it likes.
type Cell struct {
	Object fyne.CanvasObject
	Width  float32
	Grow   float32
	Align  Align
}

type row struct {
	gap   float32
	cells []Cell
	last  float32
}

// Row puts cells beside one another.
func Row(gap float32, cells ...Cell) *fyne.Container {
	objects := make([]fyne.CanvasObject, len(cells))
	for i, c := range cells {
		objects[i] = c.Object
	}
	return container.New(&row{gap: gap, cells: cells}, objects...)
}

// Natural, Fixed and Growing are the kinds of a [Cell].
func Natural(o fyne.CanvasObject) Cell          { return Cell{Object: o} }
func Fixed(w float32, o fyne.CanvasObject) Cell { return Cell{Object: o, Width: w} }
func Growing(o fyne.CanvasObject) Cell          { return Cell{Object: o, Grow: 1} }

// At is the same cell with another alignment.
func (c Cell) At(a Align) Cell { c.Align = a; return c }

func (r *row) widths(total float32) []float32 {
	w := make([]float32, len(r.cells))
	left := total - r.gap*float32(len(r.cells)-1)
	grow := float32(0)
	for i, c := range r.cells {
		switch {
		case c.Width > 0:
			w[i] = c.Width
		case c.Grow > 0:
			grow += c.Grow
		default:
			w[i] = naturalWidth(c.Object)
		}
		left -= w[i]
	}
	if left < 0 { // what has no fixed width gives way
		for i, c := range r.cells {
			if c.Width == 0 && c.Grow == 0 {
				cut := min(-left, max(0, w[i]-40))
				w[i] -= cut
				left += cut
			}
		}
	}
	for i, c := range r.cells {
		if c.Grow > 0 {
			w[i] = snap(max(0, left) * c.Grow / grow)
		}
	}
	return w
}

func (r *row) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	r.last = size.Width
	x := float32(0)
	for i, w := range r.widths(size.Width) {
		o := objects[i]
		h := HeightFor(o, w)
		y := float32(0)
		switch r.cells[i].Align {
		case Middle:
			y = snap((size.Height - h) / 2)
		case Fill:
			h = size.Height
		}
		stand(o, fyne.NewPos(x, y), fyne.NewSize(w, h))
		x += w + r.gap
	}
}

func (r *row) heightFor(objects []fyne.CanvasObject, width float32) float32 {
	h := float32(0)
	for i, w := range r.widths(width) {
		h = max(h, HeightFor(objects[i], w))
	}
	return h
}

func (r *row) natural(objects []fyne.CanvasObject) float32 {
	total := r.gap * float32(len(r.cells)-1)
	for i, c := range r.cells {
		if c.Width > 0 {
			total += c.Width
			continue
		}
		total += naturalWidth(objects[i])
	}
	return total
}

func (r *row) MinSize(objects []fyne.CanvasObject) fyne.Size { return minOf(r, objects, r.last) }

// wrap puts objects beside one another and begins a new row where there is no room.
type wrap struct{ gap, last float32 }

// Wrap puts objects beside one another, in as many rows as they need.
func Wrap(gap float32, objects ...fyne.CanvasObject) *fyne.Container {
	return container.New(&wrap{gap: gap}, objects...)
}

func (f *wrap) place(objects []fyne.CanvasObject, width float32, put func(o fyne.CanvasObject, x, y, w, h float32)) float32 {
	type box struct {
		o       fyne.CanvasObject
		x, w, h float32
	}
	var line []box
	x, y, high := float32(0), float32(0), float32(0)
	end := func() {
		for _, b := range line {
			put(b.o, b.x, y+snap((high-b.h)/2), b.w, b.h)
		}
		line = nil
	}
	for _, o := range objects {
		if !o.Visible() {
			continue
		}
		w := min(naturalWidth(o), width)
		h := HeightFor(o, w)
		if x > 0 && x+w > width {
			end()
			x, y, high = 0, y+high+f.gap, 0
		}
		line = append(line, box{o, x, w, h})
		x += w + f.gap
		high = max(high, h)
	}
	end()
	return y + high
}

func (f *wrap) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	f.last = size.Width
	f.place(objects, size.Width, func(o fyne.CanvasObject, x, y, w, h float32) {
		stand(o, fyne.NewPos(x, y), fyne.NewSize(w, h))
	})
}

func (f *wrap) heightFor(objects []fyne.CanvasObject, width float32) float32 {
	return f.place(objects, width, func(fyne.CanvasObject, float32, float32, float32, float32) {})
}

func (f *wrap) natural(objects []fyne.CanvasObject) float32 {
	w := float32(0)
	for _, o := range objects {
		w += naturalWidth(o) + f.gap
	}
	return w
}

func (f *wrap) MinSize(objects []fyne.CanvasObject) fyne.Size { return minOf(f, objects, f.last) }

// pad leaves room around one object.
type pad struct{ top, right, bottom, left, last float32 }

// Pad leaves room around an object; a negative length lets it reach out.
func Pad(top, right, bottom, left float32, o fyne.CanvasObject) *fyne.Container {
	return container.New(&pad{top: top, right: right, bottom: bottom, left: left}, o)
}

func (p *pad) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	p.last = size.Width
	for _, o := range objects {
		stand(o, fyne.NewPos(p.left, p.top), fyne.NewSize(size.Width-p.left-p.right, size.Height-p.top-p.bottom))
	}
}

func (p *pad) heightFor(objects []fyne.CanvasObject, width float32) float32 {
	h := float32(0)
	for _, o := range objects {
		h = max(h, HeightFor(o, width-p.left-p.right))
	}
	return h + p.top + p.bottom
}

func (p *pad) natural(objects []fyne.CanvasObject) float32 {
	w := float32(0)
	for _, o := range objects {
		w = max(w, naturalWidth(o))
	}
	return w + p.left + p.right
}

func (p *pad) MinSize(objects []fyne.CanvasObject) fyne.Size {
	m := minOf(p, objects, p.last)
	return fyne.NewSize(m.Width+p.left+p.right, m.Height)
}
