package look

import (
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/test"
	"fyne.io/fyne/v2/theme"
)

func newApp(t *testing.T) {
	t.Helper()
	test.NewTempApp(t).Settings().SetTheme(&Theme{Shade: ShadeLight})
}

// TestThemeIsItsOwn: every style has a Go font and follows the chosen shade whatever the system says.
func TestThemeIsItsOwn(t *testing.T) {
	th := &Theme{}
	for _, s := range []fyne.TextStyle{{}, {Bold: true}, {Italic: true}, {Bold: true, Italic: true}, {Monospace: true}, {Monospace: true, Bold: true},
		{Monospace: true, Italic: true}, {Monospace: true, Bold: true, Italic: true}, {Symbol: true}} {
		if name := th.Font(s).Name(); !strings.HasPrefix(name, "Go-") || s.Monospace != strings.Contains(name, "Mono") {
			t.Errorf("%+v is set in %s", s, name)
		}
	}
	if got := th.Color(Paper, theme.VariantDark); got != Dark[Paper] {
		t.Errorf("on a dark system: %v", got)
	}
	th.Shade = ShadeLight
	if got := th.Color(Paper, theme.VariantDark); got != Light[Paper] {
		t.Errorf("chosen light on a dark system: %v", got)
	}
	if got, want := (&Theme{Factor: 2}).Size(SizeBody), 2*th.Size(SizeBody); got != want {
		t.Errorf("text at twice the size: %v, want %v", got, want)
	}
}

func TestTextWraps(t *testing.T) {
	newApp(t)
	text := Body("one two three four five six seven eight nine ten")
	one := text.HeightFor(1000)
	if got := text.HeightFor(120); got < 3*one {
		t.Errorf("at a width of 120 it is %v high, one row is %v", got, one)
	}
	for _, l := range text.layOut(120) {
		if l.width > 120.5 {
			t.Errorf("a row is %v wide", l.width)
		}
	}
	word := Body("0TNCE23E3P0004217AAAAAAAAAAAAAAAAAAA")
	for _, l := range word.layOut(100) {
		if l.width > 100.5 {
			t.Errorf("a long word leaves a row %v wide", l.width)
		}
	}
	if got := Body("a\n\nb").HeightFor(500); got != 3*one {
		t.Errorf("a, an empty row, b: %v high, want %v", got, 3*one)
	}
}

// TestTextKeepsAll: what is laid out is what was given, at any width.
func TestTextKeepsAll(t *testing.T) {
	newApp(t)
	const s = "It answers at 7ED. See P1D5A-13 and **this** word."
	for _, width := range []float32{1, 30, 77, 200, 1000} {
		var got []string
		for _, l := range Body(s).layOut(width) {
			for _, p := range l.parts {
				got = append(got, p.Text)
			}
		}
		squeeze := func(x string) string { return strings.ReplaceAll(strings.ReplaceAll(x, " ", ""), "**", "") }
		if squeeze(strings.Join(got, "")) != squeeze(s) {
			t.Errorf("at %v: %q", width, got)
		}
	}
}

// TestCodesAreMono: codes and identifiers are set in the mono font by themselves, words and plain numbers are not.
func TestCodesAreMono(t *testing.T) {
	for text, mono := range map[string]string{
		"It answers at 7ED.": "7ED", "See P1D5A-13 now": "P1D5A-13", "the code U0140 in": "U0140", "FF FF asks": "FF FF", "missing: 14 FF FF FF is": "14 FF FF FF", "on 18DA10F1 only": "18DA10F1",
		"about 12 V and 500 kbit/s": "", "A FACE in a CAB": "", "8 bytes": "", "ADD AND BE": "",
	} {
		var got []string
		for _, r := range rich(text, Style{}) {
			if r.Mono {
				got = append(got, r.Text)
			}
		}
		if strings.Join(got, " ") != mono {
			t.Errorf("%q: mono are %q, want %q", text, got, mono)
		}
	}
}

// hold makes a button whose thread is the test's: do is called with the mutex of the bubble's own scheduling.
func hold(t *testing.T) (h *Hold, fired *int, parts *[]float32) {
	t.Helper()
	fired, parts = new(int), &[]float32{}
	h = NewHold("hold", "Hold", func(f func()) { f() }, func(p float32) { *parts = append(*parts, p) }, func() { *fired++ })
	h.Ready(true, "Hold")
	return h, fired, parts
}

func TestHold(t *testing.T) {
	newApp(t)
	press := &desktop.MouseEvent{Button: desktop.MouseButtonPrimary}
	space := &fyne.KeyEvent{Name: fyne.KeySpace}
	for name, c := range map[string]struct {
		begin, end func(h *Hold)
		held       time.Duration
		want       int
	}{
		"held with the pointer":  {func(h *Hold) { h.MouseDown(press) }, func(h *Hold) { h.MouseUp(press) }, HoldFor + 2*holdFrame, 1},
		"let go too early":       {func(h *Hold) { h.MouseDown(press) }, func(h *Hold) { h.MouseUp(press) }, HoldFor - 2*holdFrame, 0},
		"pointer leaves":         {func(h *Hold) { h.MouseDown(press) }, func(h *Hold) { h.MouseOut() }, HoldFor / 2, 0},
		"held with Space":        {func(h *Hold) { h.KeyDown(space) }, func(h *Hold) { h.KeyUp(space) }, HoldFor + 2*holdFrame, 1},
		"Space let go too early": {func(h *Hold) { h.KeyDown(space) }, func(h *Hold) { h.KeyUp(space) }, HoldFor / 2, 0},
		"Escape":                 {func(h *Hold) { h.KeyDown(space) }, func(h *Hold) { h.TypedKey(&fyne.KeyEvent{Name: fyne.KeyEscape}) }, HoldFor / 2, 0},
		"keyboard leaves":        {func(h *Hold) { h.KeyDown(space) }, func(h *Hold) { h.FocusLost() }, HoldFor / 2, 0},
		"a latch opens":          {func(h *Hold) { h.MouseDown(press) }, func(h *Hold) { h.Ready(false, "Closed") }, HoldFor / 2, 0},
		"a press is no hold":     {func(h *Hold) { h.MouseDown(press); h.MouseUp(press) }, func(*Hold) {}, 3 * HoldFor, 0},
		"Return does nothing":    {func(h *Hold) { h.TypedKey(&fyne.KeyEvent{Name: fyne.KeyReturn}) }, func(*Hold) {}, 3 * HoldFor, 0},
		"another pointer button": {func(h *Hold) { h.MouseDown(&desktop.MouseEvent{Button: desktop.MouseButtonSecondary}) }, func(*Hold) {}, 3 * HoldFor, 0},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				h, fired, parts := hold(t)
				c.begin(h)
				<-time.After(c.held)
				synctest.Wait()
				c.end(h)
				<-time.After(3 * HoldFor)
				synctest.Wait()
				if *fired != c.want {
					t.Errorf("fired %d times, want %d", *fired, c.want)
				}
				if h.Holding() {
					t.Error("it still holds")
				}
				if n := len(*parts); n > 0 && (*parts)[n-1] != 0 {
					t.Errorf("the key stays at %v", (*parts)[n-1])
				}
			})
		})
	}
}

// TestHoldFiresOnce: held for much longer, it acts once; held again, once more.
func TestHoldFiresOnce(t *testing.T) {
	newApp(t)
	synctest.Test(t, func(t *testing.T) {
		h, fired, _ := hold(t)
		for want := 1; want <= 2; want++ {
			h.KeyDown(&fyne.KeyEvent{Name: fyne.KeySpace})
			<-time.After(10 * HoldFor)
			synctest.Wait()
			h.KeyUp(&fyne.KeyEvent{Name: fyne.KeySpace})
			if *fired != want {
				t.Fatalf("fired %d times, want %d", *fired, want)
			}
		}
	})
}

func TestHoldNotReady(t *testing.T) {
	newApp(t)
	synctest.Test(t, func(t *testing.T) {
		h, fired, _ := hold(t)
		h.Ready(false, "Closed")
		h.KeyDown(&fyne.KeyEvent{Name: fyne.KeySpace})
		<-time.After(2 * HoldFor)
		synctest.Wait()
		if *fired != 0 || h.Holding() {
			t.Errorf("fired %d times, holding %v", *fired, h.Holding())
		}
	})
}

// TestRibbonChoosing: taps choose the span of a byte, arrow keys go from span to span.
func TestRibbonChoosing(t *testing.T) {
	newApp(t)
	spans := []Span{{From: -1}, {From: 0, To: 1}, {From: 1, To: 2}, {From: 2, To: 5}, {From: 5, To: 8, Filling: true}}
	got := -1
	r := NewRibbon("7E5", "0414FFFFFF555555", spans, 0, func(i int) { got = i })
	w := test.NewTempWindow(t, r)
	w.Resize(fyne.NewSize(700, 200))
	// Each tap goes to another span than the one before: a tap on the chosen span tells nothing new.
	for _, c := range [][2]int{{0, 1}, {1, 2}, {3, 3}, {7, 4}, {-1, 0}} {
		b, want := c[0], c[1]
		x, width := r.place(b)
		r.Tapped(&fyne.PointEvent{Position: fyne.NewPos(x+width/2, 20)})
		if got != want {
			t.Errorf("a tap on byte %d chooses span %d, want %d", b, got, want)
		}
	}
	r.pick(2)
	for key, want := range map[fyne.KeyName]int{fyne.KeyEnd: 4, fyne.KeyHome: 0} {
		r.pick(2)
		r.TypedKey(&fyne.KeyEvent{Name: key})
		if got != want {
			t.Errorf("%s chooses %d, want %d", key, got, want)
		}
	}
	r.pick(2)
	r.TypedKey(&fyne.KeyEvent{Name: fyne.KeyRight})
	if got != 3 {
		t.Errorf("right of 2 is %d", got)
	}
	r.TypedKey(&fyne.KeyEvent{Name: fyne.KeyLeft})
	if got != 2 {
		t.Errorf("left of 3 is %d", got)
	}
}

// TestRibbonShrinks: in a narrow page the whole frame is still drawn.
func TestRibbonShrinks(t *testing.T) {
	newApp(t)
	for _, id := range []string{"7E5", "18DA10F1"} {
		for _, width := range []float32{300, 480, 672} {
			r := NewRibbon(id, "0414FFFFFF555555", nil, -1, nil)
			r.Resize(fyne.NewSize(width, r.HeightFor(width)))
			if x, w := r.place(7); x+w > width+0.5 {
				t.Errorf("%s at %v: the last byte ends at %v", id, width, x+w)
			}
		}
	}
}

// TestTargets: what acts is at least 36 high and mostly 44 (WCAG 2.2, 2.5.8 asks for 24).
func TestTargets(t *testing.T) {
	newApp(t)
	for name, o := range map[string]fyne.CanvasObject{
		"button": NewButton("a", "Connect", Plain, nil), "small button": NewButton("b", "Connect", Plain, nil).Small(),
		"row": NewChoice("c", "row", Gap(1), false, nil), "tick": NewTick("d", "words", false, nil), "held button": NewHold("e", "Hold", nil, nil, nil),
		"step": NewStep("f", 1, "Link", "not connected", Ahead, false, nil),
	} {
		if h := o.MinSize().Height; h < 44 {
			t.Errorf("%s is %v high", name, h)
		}
	}
	if h := NewButton("g", "Light", Quiet, nil).MinSize().Height; h < 36 {
		t.Errorf("a quiet button is %v high", h)
	}
}

// TestFind: a part is found again by its name through cards, stacks and scrolls.
func TestFind(t *testing.T) {
	newApp(t)
	want := NewButton("deep", "x", Plain, nil)
	field := NewField("typed", "", true, nil)
	s := NewScroller(Stack(4, Rows(Pad(1, 1, 1, 1, Row(4, Natural(want)))), Large(field)))
	if got := Find(s.Object, "deep"); got != Identified(want) {
		t.Errorf("found %v", got)
	}
	if got := Find(s.Object, "typed"); got != Identified(field) {
		t.Errorf("found %v", got)
	}
	if got := Find(s.Object, "nowhere"); got != nil {
		t.Errorf("found %v", got)
	}
}

// TestNoLetterIsCut: at every size and factor in use the rows under the base line hold the lowest letter, after the
// rounding that the painter does on a screen of scale 1.
func TestNoLetterIsCut(t *testing.T) {
	newApp(t)
	for name := range sizes {
		for _, f := range Factors {
			s := (&Theme{Factor: f}).Size(name)
			size, base := fyne.CurrentApp().Driver().RenderedTextSize("gj", s, fyne.TextStyle{}, nil)
			if room := math.Round(float64(size.Height)) - math.Ceil(float64(base)); room < depth*float64(s) {
				t.Errorf("%s at %v (%.2f): %v rows under the base line, g needs %.2f", name, f, s, room, depth*s)
			}
		}
	}
}

// TestChosenKeepsItsWidth: choosing a quiet button moves nothing that stands beside it.
func TestChosenKeepsItsWidth(t *testing.T) {
	test.NewTempApp(t).Settings().SetTheme(&Theme{})
	for _, text := range []string{"km", "Who talks here", "100 %"} {
		plain, chosen := NewButton("a", text, Quiet, nil).MinSize(), NewButton("a", text, Quiet, nil).Chosen(true).MinSize()
		if plain != chosen {
			t.Errorf("%q is %v, chosen it is %v", text, plain, chosen)
		}
	}
}

// TestLargeForgetsNothing: a refresh of a page with a large field leaves the widths of texts known: asking for one again does not
// measure it, which takes many allocations. Another theme still reaches the field.
func TestLargeForgetsNothing(t *testing.T) {
	app := test.NewTempApp(t)
	th := &Theme{Shade: ShadeLight}
	app.Settings().SetTheme(th)
	field := NewField("field", "hint", true, nil)
	page := Stack(4, Large(field))
	win := test.NewTempWindow(t, page)
	win.Resize(fyne.NewSize(400, 300))
	const text = "a text that is long enough to be dear"
	width := func() { Style{}.measure(text) }
	width()
	known := testing.AllocsPerRun(10, width)
	alone := testing.AllocsPerRun(10, page.Refresh)
	if after := testing.AllocsPerRun(10, func() { page.Refresh(); width() }) - alone; after > known+2 {
		t.Errorf("%g allocations for a text that is known, %g after a refresh", known, after)
	}
	before := field.MinSize().Height
	th.Factor = 1.5
	app.Settings().SetTheme(th)
	if after := field.MinSize().Height; after < before*1.2 {
		t.Errorf("in larger text the field is %g high, before %g", after, before)
	}
	if plain := NewField("plain", "", true, nil).MinSize().Height; field.MinSize().Height <= plain {
		t.Errorf("a large field is %g high, another one %g", field.MinSize().Height, plain)
	}
	if Find(page, "field") != Identified(field) {
		t.Error("the field is not found in its page")
	}
}
