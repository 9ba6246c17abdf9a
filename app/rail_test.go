package app

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/test"

	"readback/app/look"
)

// broken are the words that are parted between two rows.
func broken(o fyne.CanvasObject) (out []string) {
	if !o.Visible() {
		return nil
	}
	switch x := o.(type) {
	case *fyne.Container:
		for _, c := range x.Objects {
			out = append(out, broken(c)...)
		}
	case *container.Scroll:
		return broken(x.Content)
	case *look.Text:
		whole := strings.Fields(x.String())
		for _, c := range test.WidgetRenderer(x).Objects() {
			if c, ok := c.(*canvas.Text); ok {
				for word := range strings.FieldsSeq(c.Text) {
					if !slices.Contains(whole, word) {
						out = append(out, word)
					}
				}
			}
		}
	case fyne.Widget:
		for _, c := range test.WidgetRenderer(x).Objects() {
			out = append(out, broken(c)...)
		}
	}
	return out
}

// TestRailWords: in the rail no word is parted, in any language and size of the text, and neither is
// the identification number of the car.
func TestRailWords(t *testing.T) {
	a := test.NewTempApp(t)
	for _, language := range []string{"en", "de"} {
		b := newBench(t, setup{app: a, language: language, size: fyne.NewSize(1024, 700)})
		b.read()
		for _, size := range layouts[:2] {
			b.win.Resize(size)
			for _, factor := range textSizes {
				taste := b.w.opt.Taste
				taste.Factor = factor
				b.w.taste(taste)
				b.picture(fmt.Sprintf("rail-%s-%.0f-%.0f", language, size.Width, factor*100))
				if words := broken(b.w.rail.Object); len(words) > 0 {
					t.Errorf("%s, %v, %.0f %%: %q", language, size, factor*100, words)
				}
				if text := reads(b.w.rail.Object); !strings.Contains(text, "0TN·") || !strings.Contains(text, "·4217") {
					t.Errorf("no identification number: %s", text)
				}
			}
		}
	}
}
