package app

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/test"

	"readback/app/look"
	"readback/diag"
	"readback/diag/obd"
)

// cutShort are the texts that end before their end for lack of room.
func cutShort(o fyne.CanvasObject) (out []string) {
	if !o.Visible() {
		return nil
	}
	switch x := o.(type) {
	case *fyne.Container:
		for _, c := range x.Objects {
			out = append(out, cutShort(c)...)
		}
	case *container.Scroll:
		return cutShort(x.Content)
	case *look.Cut:
		if shown := reads(x); strings.HasSuffix(shown, "…") && !strings.HasSuffix(x.String(), "…") {
			out = append(out, x.String())
		}
	case fyne.Widget:
		for _, c := range test.WidgetRenderer(x).Objects() {
			out = append(out, cutShort(c)...)
		}
	}
	return out
}

// TestLiveNames: every value that SAE J1979 names can be read whole where it is chosen and where it is drawn, in each
// language, in the least window and in large text.
func TestLiveNames(t *testing.T) {
	a := test.NewTempApp(t)
	for _, language := range []string{"en", "de"} {
		for _, factor := range []float32{1, 1.5, 2} {
			t.Run(fmt.Sprintf("%s-%.0f", language, factor*100), func(t *testing.T) {
				v := liveVisit()
				for i, p := range obd.Parameters() {
					offer := parameter(0x7E0, uint16(0x100+i), upperFirst(p.Name), "Engine or drive")
					for _, x := range p.Values {
						offer.Parts = append(offer.Parts, diag.LivePart{Label: x.Label, Unit: string(x.Unit)})
					}
					v.offers = append(v.offers, offer)
				}
				b := newBench(t, setup{app: a, visit: v, language: language, factor: factor, size: fyne.NewSize(1024, 700)})
				b.live()
				c, width := b.w.live.column, b.w.live.list.Size().Width
				odd := c.Odd(width)
				for i := range c.items {
					row := c.Build(i)
					row.Resize(fyne.NewSize(width, c.Height(i, width)))
					for _, s := range cutShort(row) {
						t.Errorf("where it is chosen: %q", s)
					}
					if high := c.Height(i, width) > c.EvenHeight(width); high != slices.Contains(odd, i) {
						t.Errorf("%q is in more than one line: %v", c.items[i].name, high)
					}
				}
				if n := len(b.w.live.column.items); n < 170 {
					t.Errorf("only %d values", n)
				}
				for _, many := range []int{1, 2, 8} { // high rows, and low ones
					b.choose(longestNames(b.w.live.column.items, many)...)
					b.w.showLive()
					b.picture(fmt.Sprintf("live-names-%s-%.0f-%d", language, factor*100, many))
					for _, s := range cutShort(b.w.main.Object) {
						t.Errorf("where %d are drawn: %q", many, s)
					}
					fits(t, b.win)
					b.w.chooseNone()
					b.w.draw()
				}
			})
		}
	}
}

// longestNames are the keys of values with one number whose names are the longest.
func longestNames(items []liveItem, n int) (keys []string) {
	items = slices.DeleteFunc(slices.Clone(items), func(i liveItem) bool { return len(i.value.Parts) != 1 })
	slices.SortFunc(items, func(x, y liveItem) int { return len(y.name) - len(x.name) })
	for _, i := range items[:n] {
		keys = append(keys, i.key)
	}
	return keys
}
