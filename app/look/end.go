package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// scrollTo scrolls to a height, and tells what is in sight then.
func scrollTo(s *container.Scroll, y float32) {
	s.ScrollToOffset(fyne.NewPos(0, y))
	inSight(s)
}

// ToEnd shows the end, AtEnd tells whether it is shown.
func (s *Scroller) ToEnd() {
	scrollTo(s.scroll, s.farthest())
}

func (s *Scroller) AtEnd() bool { return s.scroll.Offset.Y >= s.farthest()-2 }

func (s *Scroller) farthest() float32 {
	return max(0, s.scroll.Content.Size().Height-s.scroll.Size().Height)
}
