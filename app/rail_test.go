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
	"readback/diag/garage"
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

// TestRailWithoutCodes: a car without codes is not said to have 0 codes in 0 modules, and a list that could not be read is
// not taken for an empty one.
func TestRailWithoutCodes(t *testing.T) {
	b := newBench(t, setup{})
	b.read()
	modules := slices.Clone(b.w.code.modules)
	for i := range modules {
		modules[i].Views, modules[i].CodesRead = nil, garage.Yes
	}
	rail := func(want string) {
		t.Helper()
		b.w.code.modules, b.w.code.record.Complete = modules, true
		b.w.siftCodes()
		b.w.draw()
		if text := reads(b.w.rail.Object); !strings.Contains(text, "Codes "+want) || strings.Contains(text, "0 codes") {
			t.Errorf("want %q: %s", want, text)
		}
	}
	rail("no codes 4 Request")
	modules[1].CodesRead = garage.Damaged
	rail("none, as far as it was read")
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
