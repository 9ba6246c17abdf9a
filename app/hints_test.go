package app

import (
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/test"
	"fyne.io/fyne/v2/theme"

	"readback/app/look"
)

// fieldsIn are the fields that are shown.
func fieldsIn(o fyne.CanvasObject) (out []*look.Field) {
	if !o.Visible() {
		return nil
	}
	switch x := o.(type) {
	case *fyne.Container:
		for _, c := range x.Objects {
			out = append(out, fieldsIn(c)...)
		}
	case *container.Scroll:
		return fieldsIn(x.Content)
	case *container.ThemeOverride:
		return fieldsIn(x.Content)
	case *look.Field:
		return []*look.Field{x}
	case fyne.Widget:
		for _, c := range test.WidgetRenderer(x).Objects() {
			out = append(out, fieldsIn(c)...)
		}
	}
	return out
}

// TestHints: the hint in an empty field can be read whole in the least window, at text of 100 and of 150 %, in each language.
func TestHints(t *testing.T) {
	a := test.NewTempApp(t)
	pages := []struct {
		name  string
		reach func(b *bench)
	}{
		{"link", func(b *bench) { b.w.Show(PageLink) }},
		{"request", func(b *bench) { b.read(); b.w.Show(PageRequest) }},
		{"compare", func(b *bench) { b.read(); b.write(clearText) }},
		{"car", func(b *bench) { b.read(); b.w.Show(PageCar) }},
		{"gate", func(b *bench) { b.atGate() }},
		{"live", func(b *bench) { b.live() }},
		{"report", func(b *bench) { b.logbook(); b.tap("report 8") }},
	}
	for _, language := range []string{"en", "de"} {
		for _, factor := range []float32{1, 1.5} {
			seen := 0
			for _, p := range pages {
				b := newBench(t, setup{app: a, language: language, factor: factor, size: fyne.NewSize(1024, 700), visit: liveVisit(), log: keptLog()})
				p.reach(b)
				for _, f := range fieldsIn(b.w.main.Object) {
					if f.Text != "" {
						continue
					}
					seen++
					size, _ := fyne.CurrentApp().Driver().RenderedTextSize(f.PlaceHolder, theme.Size(theme.SizeNameText), f.TextStyle, nil)
					if room := f.Size().Width - 2*theme.InnerPadding(); size.Width > room {
						t.Errorf("%s, %s, %.0f %%: %q needs %.0f and has %.0f", language, p.name, factor*100, f.PlaceHolder, size.Width, room)
					}
				}
			}
			if seen < 8 {
				t.Errorf("only %d fields", seen)
			}
		}
	}
}
