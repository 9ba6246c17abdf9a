package app

import (
	"fmt"
	"slices"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/test"

	"readback/app/look"
)

// leastTarget is the least edge of what acts, in the theme's units (WCAG 2.2, 2.5.5).
const leastTarget = 44

// acting is a thing on the window that acts, and where it is in the window's content.
type acting struct {
	object fyne.CanvasObject
	at     fyne.Position
	zone   int // 0 the page, 1 its foot, 2 the margin, 3 the rail, 4 the bar of menus
}

func (a acting) id() string {
	if x, ok := a.object.(look.Identified); ok {
		return x.ID()
	}
	return fmt.Sprintf("%T", a.object)
}

// allActing are all things that act on what the window shows now, whether scrolled out of sight or not.
func (b *bench) allActing() []acting {
	var out []acting
	var walk func(o fyne.CanvasObject, at fyne.Position, zone int)
	walk = func(o fyne.CanvasObject, at fyne.Position, zone int) {
		if !o.Visible() {
			return
		}
		at = at.Add(o.Position())
		_, taps := o.(fyne.Tappable)
		_, named := o.(look.Identified)
		if taps || named {
			out = append(out, acting{o, at, zone})
			if _, ok := o.(*look.Choice); !ok { // other parts hold nothing that acts on its own
				return
			}
		}
		switch x := o.(type) {
		case *fyne.Container:
			for _, c := range x.Objects {
				walk(c, at, zone)
			}
		case *container.Scroll:
			walk(x.Content, at, zone)
		case *container.ThemeOverride:
			walk(x.Content, at, zone)
		case fyne.Widget:
			for _, c := range test.WidgetRenderer(x).Objects() {
				walk(c, at, zone)
			}
		}
	}
	for zone, o := range []fyne.CanvasObject{b.w.main.Object, b.w.foot.Object, b.w.side.Object, b.w.rail.Object, b.w.menu.bar} {
		walk(o, fyne.Position{}, zone)
	}
	return out
}

// TestAccess: on every page and in every state of it
//
//   - whatever acts is at least 44 units high and wide. What is drawn inside one part, such as the pins of a plug, belongs
//     to that part, which also takes the arrow keys;
//   - Tab comes by each thing that acts, once: first those of the page, then those of the margin, then those of the rail, then
//     the bar of menus;
//   - Tab goes down the page, not up and down.
func TestAccess(t *testing.T) {
	a := test.NewTempApp(t)
	for i, s := range scenes {
		if !watched(i) {
			continue
		}
		t.Run(s.name, func(t *testing.T) {
			in := s.setup
			in.app, in.shade, in.size = a, look.ShadeLight, fyne.NewSize(1024, 700)
			if in.log != nil {
				in.log = in.log.again()
			}
			b := newBench(t, in)
			s.reach(b)
			shown := b.allActing()
			if len(shown) < 12 {
				t.Errorf("only %d things act: the walk misses some", len(shown))
			}
			for _, x := range shown {
				if size := x.object.Size(); size.Height < leastTarget || size.Width < leastTarget {
					t.Errorf("%s is %.0f x %.0f", x.id(), size.Width, size.Height)
				}
			}
			b.tabOrder(shown)
		})
	}
}

// tabOrder checks where Tab leads against what acts.
func (b *bench) tabOrder(shown []acting) {
	b.t.Helper()
	tabs := b.tabs()
	last := acting{zone: -1}
	for _, id := range tabs {
		i := slices.IndexFunc(shown, func(x acting) bool { return x.id() == id })
		if i < 0 {
			b.t.Errorf("Tab comes by %q, which is not shown", id)
			continue
		}
		x := shown[i]
		if x.zone < last.zone {
			b.t.Errorf("Tab goes back from %q to %q in an earlier part of the window", last.id(), id)
		}
		if x.zone == last.zone && x.at.Y+x.object.Size().Height < last.at.Y+1 && x.at.X < last.at.X+1 {
			b.t.Errorf("Tab goes up from %q at %v to %q at %v", last.id(), last.at, id, x.at)
		}
		last = x
	}
	for _, x := range shown {
		if n := len(slices.DeleteFunc(slices.Clone(tabs), func(id string) bool { return id != x.id() })); n != 1 {
			b.t.Errorf("Tab comes by %q %d times", x.id(), n)
		}
	}
}
