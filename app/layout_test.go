package app

import (
	"fmt"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/test"

	"readback/app/look"
)

// layouts are the sizes of windows in which every page is laid out: the least that the program is for, its own, a
// screen of 1920x1080 and one of 3840x2160 that shows one unit as one dot.
var layouts = []fyne.Size{{Width: 1024, Height: 700}, {Width: 1280, Height: 780}, {Width: 1920, Height: 1080}, {Width: 3840, Height: 2160}}

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
			for _, factor := range []float32{0.8, 1, 1.5, 2} {
				taste := b.w.opt.Taste
				taste.Factor = factor
				b.w.taste(taste)
				for _, size := range layouts {
					b.win.Resize(size)
					name := fmt.Sprintf("%.0f-%.0f", size.Width, factor*100)
					t.Run(name, func(t *testing.T) {
						b.picture(s.name + "-" + name)
						fits(t, b.win)
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
