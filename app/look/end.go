package look

import "fyne.io/fyne/v2"

// ToEnd shows the end, AtEnd tells whether it is shown.
func (s *Scroller) ToEnd() {
	s.scroll.ScrollToOffset(fyne.NewPos(0, s.farthest()))
}

func (s *Scroller) AtEnd() bool { return s.scroll.Offset.Y >= s.farthest()-2 }

func (s *Scroller) farthest() float32 {
	return max(0, s.scroll.Content.Size().Height-s.scroll.Size().Height)
}
