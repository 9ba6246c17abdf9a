package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// sides puts two objects beside one another where each gets its least width, else under one another.
type sides struct {
	least, gap, last float32
	even             bool
}

// Sides puts two objects beside one another, under one another where there is less room than least for each. With
// even, both are equally high beside one another.
func Sides(least, gap float32, even bool, a, b fyne.CanvasObject) *fyne.Container {
	return container.New(&sides{least: least, gap: gap, even: even}, a, b)
}

func (s *sides) half(width float32) (w float32, beside bool) {
	w = snap((width - s.gap) / 2)
	if w < s.least {
		return width, false
	}
	return w, true
}

func (s *sides) Layout(o []fyne.CanvasObject, size fyne.Size) {
	s.last = size.Width
	w, beside := s.half(size.Width)
	a, b := HeightFor(o[0], w), HeightFor(o[1], w)
	if s.even && beside {
		a, b = max(a, b), max(a, b)
	}
	stand(o[0], fyne.NewPos(0, 0), fyne.NewSize(w, a))
	at := fyne.NewPos(0, a+s.gap)
	if beside {
		at = fyne.NewPos(size.Width-w, 0)
	}
	stand(o[1], at, fyne.NewSize(w, b))
}

func (s *sides) heightFor(o []fyne.CanvasObject, width float32) float32 {
	w, beside := s.half(width)
	a, b := HeightFor(o[0], w), HeightFor(o[1], w)
	if beside {
		return max(a, b)
	}
	return a + s.gap + b
}

func (s *sides) natural(o []fyne.CanvasObject) float32 {
	return naturalWidth(o[0]) + s.gap + naturalWidth(o[1])
}

func (s *sides) MinSize(o []fyne.CanvasObject) fyne.Size { return minOf(s, o, s.last) }

// either shows its first object where there is room for it, else the second.
type either struct{ least, last float32 }

// Either shows wide where there is at least a width of least, else narrow. The two must not share objects.
func Either(least float32, wide, narrow fyne.CanvasObject) *fyne.Container {
	narrow.Hide()
	return container.New(&either{least: least}, wide, narrow)
}

func (e *either) pick(o []fyne.CanvasObject, width float32) (shown, hidden fyne.CanvasObject) {
	if width < e.least {
		return o[1], o[0]
	}
	return o[0], o[1]
}

func (e *either) Layout(o []fyne.CanvasObject, size fyne.Size) {
	e.last = size.Width
	shown, hidden := e.pick(o, size.Width)
	hidden.Hide()
	shown.Show()
	stand(shown, fyne.NewPos(0, 0), size)
}

func (e *either) heightFor(o []fyne.CanvasObject, width float32) float32 {
	shown, _ := e.pick(o, width)
	return HeightFor(shown, width)
}

func (e *either) natural(o []fyne.CanvasObject) float32   { return naturalWidth(o[0]) }
func (e *either) MinSize(o []fyne.CanvasObject) fyne.Size { return minOf(e, o, e.last) }
