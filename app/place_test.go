package app

import (
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// scrolled is how far the page is scrolled.
func (b *bench) scrolled() *container.Scroll {
	return b.w.main.Object.(*fyne.Container).Objects[0].(*container.Scroll)
}

// TestReadingBeginsAtTheTop: a reading that begins or ends shows another page in the same place, from its title on,
// wherever the page before it was scrolled to.
func TestReadingBeginsAtTheTop(t *testing.T) {
	v := vanVisit()
	v.hold = make(chan struct{})
	b := newBench(t, setup{visit: v, factor: 2, size: fyne.NewSize(1024, 700)})
	b.connect()
	b.w.Show(PageCodes)
	down := func() {
		t.Helper()
		if b.scrolled().ScrollToOffset(fyne.NewPos(0, 60)); b.scrolled().Offset.Y == 0 {
			t.Fatal("the page can't be scrolled")
		}
	}
	down()
	b.w.startLooking()
	if y := b.scrolled().Offset.Y; y != 0 {
		t.Errorf("a reading begins %.0f down the page", y)
	}
	b.until("reading", func() bool { return b.w.code.looking != nil })
	down()
	close(v.hold)
	b.until("read", func() bool { return b.w.code.looking == nil })
	if y := b.scrolled().Offset.Y; y != 0 {
		t.Errorf("the codes begin %.0f down the page", y)
	}
}
