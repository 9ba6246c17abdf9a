package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// Slot is a place for one object that stands still while what is beside it scrolls. It may be empty.
type Slot struct {
	Object fyne.CanvasObject // what is put into a window
	inner  *fyne.Container
}

// NewSlot makes an empty Slot.
func NewSlot() *Slot {
	s := &Slot{inner: container.New(&stack{})}
	s.Object = s.inner
	return s
}

// Set puts another object in, nil for none; parts that have the same names stay.
func (s *Slot) Set(o fyne.CanvasObject) {
	var objects []fyne.CanvasObject
	if o != nil {
		for _, old := range s.inner.Objects {
			adopt(old, o)
		}
		objects = []fyne.CanvasObject{o}
	}
	if len(objects) == 0 && len(s.inner.Objects) == 0 {
		return
	}
	s.inner.Objects = objects
	s.inner.Layout.Layout(objects, s.inner.Size())
	s.inner.Refresh()
}

// HeightFor is the height that the slot needs at a width, 0 when it is empty.
func (s *Slot) HeightFor(width float32) float32 { return HeightFor(s.inner, width) }
