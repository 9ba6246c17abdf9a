package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// Scroller shows an object at the width of the scroller and as high as it needs to be.
type Scroller struct {
	Object fyne.CanvasObject // what is put into a window
	scroll *container.Scroll
	body   *scrollBody
}

// NewScroller makes a Scroller.
func NewScroller(o fyne.CanvasObject) *Scroller {
	s := &Scroller{body: &scrollBody{}}
	s.scroll = container.NewVScroll(container.New(s.body, o))
	s.scroll.OnScrolled = func(fyne.Position) { inSight(s.scroll) }
	s.Object = container.New(&scrollFrame{s.body}, s.scroll)
	return s
}

// Set puts another object in; the place stays, and so do parts that have the same names.
func (s *Scroller) Set(o fyne.CanvasObject) {
	inner := s.scroll.Content.(*fyne.Container)
	for _, old := range inner.Objects {
		adopt(old, o)
	}
	inner.Objects = []fyne.CanvasObject{o}
	s.settle()
}

func (s *Scroller) settle() {
	inner := s.scroll.Content.(*fyne.Container)
	s.body.width = s.scroll.Size().Width
	size := inner.MinSize().Max(s.scroll.Size())
	if inner.Size() == size {
		inner.Layout.Layout(inner.Objects, size)
	}
	s.scroll.Refresh()
	inner.Refresh()
	inSight(s.scroll)
}

// HeightFor is the height of what is in it at a width.
func (s *Scroller) HeightFor(width float32) float32 {
	return HeightFor(s.scroll.Content.(*fyne.Container).Objects[0], width)
}

// ToTop shows the beginning.
func (s *Scroller) ToTop() { scrollTo(s.scroll, 0) }

// scrollFrame tells the body its width before the scroll asks for its height.
type scrollFrame struct{ body *scrollBody }

func (f *scrollFrame) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	f.body.width = size.Width
	for _, o := range objects {
		stand(o, fyne.NewPos(0, 0), size)
		inSight(o.(*container.Scroll))
	}
}

func (f *scrollFrame) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(32, 32) }

type scrollBody struct{ width float32 }

func (b *scrollBody) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	for _, o := range objects {
		stand(o, fyne.NewPos(0, 0), size)
	}
}

func (b *scrollBody) MinSize(objects []fyne.CanvasObject) fyne.Size {
	h := float32(0)
	for _, o := range objects {
		h = max(h, HeightFor(o, b.width))
	}
	return fyne.NewSize(0, h)
}

// Reveal scrolls so that o can be seen. It is called when a part takes the keyboard.
func Reveal(o fyne.CanvasObject) { reveal(o, 0, o.Size().Height) }

// reveal scrolls so that the part of o between two heights can be seen.
func reveal(o fyne.CanvasObject, from, to float32) {
	driver := fyne.CurrentApp().Driver()
	c := driver.CanvasForObject(o)
	if c == nil {
		return
	}
	s := scrollAround(c.Content(), o)
	if s == nil {
		return
	}
	at := driver.AbsolutePositionForObject(o).Y - driver.AbsolutePositionForObject(s).Y
	top, bottom := at+from, at+to
	switch {
	case top < 8:
		scrollTo(s, max(0, s.Offset.Y+top-8))
	case bottom > s.Size().Height-8:
		scrollTo(s, s.Offset.Y+bottom-s.Size().Height+8)
	}
}

// scrollAround is the innermost scroll that o is in.
func scrollAround(tree, o fyne.CanvasObject) *container.Scroll {
	var found *container.Scroll
	walk(tree, nil, func(x fyne.CanvasObject, s *container.Scroll) bool {
		if x == o {
			found = s
		}
		return x != o
	})
	return found
}

func walk(o fyne.CanvasObject, s *container.Scroll, visit func(fyne.CanvasObject, *container.Scroll) bool) bool {
	if !visit(o, s) {
		return false
	}
	switch x := o.(type) {
	case *fyne.Container:
		for _, c := range x.Objects {
			if !walk(c, s, visit) {
				return false
			}
		}
	case *container.Scroll:
		return walk(x.Content, x, visit)
	case *large:
		return walk(x.field, s, visit)
	case *Choice:
		return walk(x.content, s, visit)
	case *Many:
		for _, c := range x.built {
			if !walk(c, s, visit) {
				return false
			}
		}
	}
	return true
}
