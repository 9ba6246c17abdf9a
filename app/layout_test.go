package app

import (
	"fmt"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"

	"readback/app/look"
)

// layouts are the sizes of windows in which every page is laid out: the least that the program is for, its own, a screen of
// 1920x1080 and one of 3840x2160 that shows one unit as one dot. textSizes are the sizes of text. In the least window each
// state has all of them; in the others one each, another from state to state.
var (
	layouts   = []fyne.Size{{Width: 1024, Height: 700}, {Width: 1280, Height: 820}, {Width: 1920, Height: 1080}, {Width: 3840, Height: 2160}}
	textSizes = []float32{0.8, 1, 1.5, 2}
)

// TestLayout: in every state of every page, in every size of the window and of the text (WCAG 2.2, 1.4.4: to 200 %), no
// text is cut and whatever acts is at least 44 units high and wide (2.5.5). The window is given one size after the other,
// as by somebody who pulls at its edge.
func TestLayout(t *testing.T) {
	a := test.NewTempApp(t)
	for i, s := range goldenStates(t) {
		if !watched(i) {
			continue
		}
		t.Run(s.name, func(t *testing.T) {
			in := s.setup
			in.app, in.shade = a, look.ShadeLight
			if in.log != nil {
				in.log = in.log.again()
			}
			b := newBench(t, fresh(s.name, in))
			s.reach(b)
			for k, size := range layouts {
				b.win.Resize(size)
				for f, factor := range textSizes {
					if k > 0 && f != (i+k)%len(textSizes) {
						continue
					}
					taste := b.w.opt.Taste
					taste.Factor = factor
					b.w.taste(taste)
					b.until("drawn for its size", func() bool { return b.w.drawn == b.w.drawing() })
					name := fmt.Sprintf("%.0f-%.0f", size.Width, factor*100)
					t.Run(name, func(t *testing.T) {
						b.picture(s.name + "-" + name)
						fits(t, b.win)
						if s.name == "gate-open" {
							b.keyInSight()
						}
						for _, x := range b.allActing() {
							if size := x.object.Size(); size.Height < leastTarget || size.Width < leastTarget {
								t.Errorf("%s is %.0f x %.0f", x.id(), size.Width, size.Height)
							}
						}
					})
				}
			}
		})
	}
}

// keyInSight checks that the key of the gate can be seen whole, wherever the page is scrolled to.
func (b *bench) keyInSight() {
	b.t.Helper()
	driver, hold := fyne.CurrentApp().Driver(), b.w.pass.hold
	foot := driver.AbsolutePositionForObject(hold).Y + hold.Size().Height
	if edge := driver.AbsolutePositionForObject(b.w.strip).Y; foot > edge || hold.Size().Height < leastTarget {
		b.t.Errorf("the key ends at %.0f, the strip begins at %.0f", foot, edge)
	}
}

// TestGateInSight: in a window of 1280x760 and in one of its own size all rows of the gate are in sight, shut and open, and
// what acts keeps its size.
func TestGateInSight(t *testing.T) {
	for _, language := range []string{"en", "de"} {
		for _, high := range []float32{760, 820} {
			b := newBench(t, setup{language: language, size: fyne.NewSize(1280, high)})
			b.atGate()
			b.rowsInSight(fmt.Sprintf("%s, %.0f, shut", language, high))
			b.lineUp()
			b.rowsInSight(fmt.Sprintf("%s, %.0f, open", language, high))
			for _, x := range b.allActing() {
				if size := x.object.Size(); size.Height < leastTarget || size.Width < leastTarget {
					t.Errorf("%s: %s is %.0f x %.0f", language, x.id(), size.Width, size.Height)
				}
			}
		}
	}
}

// rowsInSight checks that the last row of the gate ends above the key.
func (b *bench) rowsInSight(how string) {
	b.t.Helper()
	driver := fyne.CurrentApp().Driver()
	b.picture("gate-in-sight-" + how)
	words := b.w.pass.words
	end, edge := driver.AbsolutePositionForObject(words).Y+words.Size().Height, driver.AbsolutePositionForObject(b.w.foot.Object).Y
	if end > edge {
		b.t.Errorf("%s: the last row ends at %.0f, the key begins at %.0f", how, end, edge)
	}
}
