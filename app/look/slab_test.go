package look

import (
	"image/color"
	"testing"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/test"
	"fyne.io/fyne/v2/theme"
)

// area is where something is painted.
type area struct{ left, top, right, bottom float32 }

func areaOf(o fyne.CanvasObject, at fyne.Position) area {
	at = at.Add(o.Position())
	return area{at.X, at.Y, at.X + o.Size().Width, at.Y + o.Size().Height}
}

func (a area) has(x, y float32) bool { return x > a.left && x < a.right && y > a.top && y < a.bottom }

// painted is how many times a pixel is painted by rectangles with round corners, and by plain ones.
type painted struct{ rim, plain int }

// paintedAt looks at what paints a pixel of a slab.
func paintedAt(t *testing.T, s *slab, x, y float32) (p painted) {
	t.Helper()
	for _, o := range test.WidgetRenderer(s).Objects() {
		clip, cut := o.(*container.Clip)
		if !cut {
			if r := o.(*canvas.Rectangle); areaOf(r, fyne.Position{}).has(x, y) {
				if r.CornerRadius > 0 {
					p.rim++
				} else {
					p.plain++
				}
			}
			continue
		}
		r := clip.Content.(*fyne.Container).Objects[0].(*canvas.Rectangle)
		window, rect := areaOf(clip, fyne.Position{}), areaOf(r, clip.Position())
		if !window.has(x, y) || !rect.has(x, y) {
			continue
		}
		p.rim++
		size := s.Size()
		// What shows of a strip is as near to an edge of its rectangle as it is to the same edge of the slab, or far from both.
		for _, d := range [4][2]float32{{x - rect.left, x}, {rect.right - x, size.Width - x}, {y - rect.top, y}, {rect.bottom - y, size.Height - y}} {
			if d[0] != d[1] && min(d[0], d[1]) < radius {
				t.Fatalf("%v: at %g, %g shows an edge that is not there", size, x, y)
			}
		}
	}
	return p
}

// TestSlab: with OpenGL the strips of a large slab and what lies between them cover all of it, and no more. What is not of one
// colour is painted as a rectangle with round corners; it is painted once but for the pixels in which two strips meet.
func TestSlab(t *testing.T) {
	test.NewTempApp(t).Settings().SetTheme(&Theme{Shade: ShadeLight, OpenGL: true})
	for _, size := range []fyne.Size{{Width: 20, Height: 20}, {Width: 300, Height: 48}, {Width: 301, Height: 47}, {Width: 96, Height: 200}, {Width: 95, Height: 200}, {Width: 350, Height: 263}} {
		s := newSlab(Card, Line)
		test.NewTempWindow(t, s)
		s.Resize(size)
		large := size.Width >= 4*slabPart && size.Height >= 2*slabPart
		if pieces := len(test.WidgetRenderer(s).Objects()); pieces != map[bool]int{false: 1, true: 5}[large] {
			t.Errorf("%v: %d pieces", size, pieces)
		}
		twice := 0
		for y := float32(-2.5); y < size.Height+3; y++ {
			for x := float32(-2.5); x < size.Width+3; x++ {
				in := x > 0 && y > 0 && x < size.Width && y < size.Height
				p := paintedAt(t, s, x, y)
				if in != (p.rim+p.plain > 0) {
					t.Fatalf("%v: at %g, %g: %+v", size, x, y, p)
				}
				near := min(x, y, size.Width-x, size.Height-y)
				corner := min(x, size.Width-x) < radius && min(y, size.Height-y) < radius
				if large && in && (near < 2 || corner) {
					if p.rim == 0 || p.plain > 0 {
						t.Fatalf("%v: at %g, %g at the edge: %+v", size, x, y, p)
					}
					if p.rim > 1 {
						twice++
					}
				}
			}
		}
		if twice > 4*2 {
			t.Errorf("%v: %d pixels of the edge are painted twice", size, twice)
		}
	}
	s := newSlab(Card, Line)
	test.NewTempWindow(t, s)
	s.Resize(fyne.NewSize(300, 200))
	s.Resize(fyne.NewSize(60, 30))
	if pieces := len(test.WidgetRenderer(s).Objects()); pieces != 1 {
		t.Errorf("a slab that has become small has %d pieces", pieces)
	}
	newApp(t)
	s = newSlab(Card, Line)
	test.NewTempWindow(t, s)
	s.Resize(fyne.NewSize(300, 200))
	if pieces := len(test.WidgetRenderer(s).Objects()); pieces != 1 {
		t.Errorf("without OpenGL a slab has %d pieces", pieces)
	}
}

// TestSlabFollowsThePalette: a slab that stays has the colours of the palette that is chosen.
func TestSlabFollowsThePalette(t *testing.T) {
	app := test.NewTempApp(t)
	th := &Theme{Shade: ShadeLight, OpenGL: true}
	app.Settings().SetTheme(th)
	s := newSlab(Card, Line)
	test.NewTempWindow(t, s)
	s.Resize(fyne.NewSize(300, 200))
	th.Shade = ShadeDark
	app.Settings().SetTheme(th)
	s.Refresh()
	for _, o := range test.WidgetRenderer(s).Objects() {
		r, plain := o.(*canvas.Rectangle)
		if !plain {
			r = o.(*container.Clip).Content.(*fyne.Container).Objects[0].(*canvas.Rectangle)
		}
		if r.FillColor != color.Color(Dark[Card]) || r.StrokeColor != nil && r.StrokeColor != color.Color(Dark[Line]) {
			t.Errorf("a piece is %v in %v", r.FillColor, r.StrokeColor)
		}
	}
}

// TestRim: with OpenGL the rim of a plot's card, the ground that the plot paints and its picture cover all of the card, and the
// ground leaves alone what is not of one colour. There is nothing under the picture.
func TestRim(t *testing.T) {
	test.NewTempApp(t).Settings().SetTheme(&Theme{Shade: ShadeLight, OpenGL: true})
	for _, size := range []fyne.Size{{Width: 380, Height: 280}, {Width: 213, Height: 120}, {Width: 111, Height: 99}} {
		p := NewPlot("plot", "none", func(s string) string { return s }, func() {})
		p.Fill([]Stroke{{Course: &Course{}, Unit: "km/h"}}, size.Height)
		rim := Rim(p)
		test.NewTempWindow(t, rim)
		rim.Layout.Layout(rim.Objects, size)
		s, r := rim.Objects[0].(*slab), test.WidgetRenderer(p).(*plotRenderer)
		p.Resize(fyne.NewSize(size.Width-2, size.Height-2))
		for y := float32(0.5); y < size.Height; y++ {
			for x := float32(0.5); x < size.Width; x++ {
				n := 0
				for _, g := range r.ground {
					if areaOf(g, p.Position()).has(x, y) {
						n++
					}
				}
				picture := areaOf(r.picture, p.Position()).has(x, y)
				if picture {
					n++
				}
				near := min(x, y, size.Width-x, size.Height-y)
				corner := min(x, size.Width-x) < radius && min(y, size.Height-y) < radius
				at := paintedAt(t, s, x, y)
				if at.plain > 0 || n > 1 || n+at.rim == 0 || n > 0 && (near < 2 || corner) {
					t.Fatalf("%v: at %g, %g the ground is painted %d times (picture %t), the card %+v", size, x, y, n, picture, at)
				}
			}
		}
	}
}

// TestCleared: the colour that the window is cleared with is paper to both who ask for it. Fyne 2.7.1 gives OpenGL the shares of
// 255 times 255 when it clears (internal/painter/gl: Clear, max16bit), and the shares of a when it draws (getFragmentColor).
func TestCleared(t *testing.T) {
	for shade, p := range map[Shade]Palette{ShadeLight: Light, ShadeDark: Dark} {
		th := &Theme{Shade: shade, OpenGL: true}
		r, g, b, a := th.Color(theme.ColorNameBackground, theme.VariantLight).RGBA()
		want := p[Paper]
		for i, v := range []uint32{r, g, b} {
			full := []uint8{want.R, want.G, want.B}[i]
			if cleared, drawn := float32(v)/(255*255)*255, float32(v)/float32(a)*255; cleared != float32(full) || drawn != float32(full) {
				t.Errorf("%s: part %d is cleared with %g and drawn with %g, want %d", shade, i, cleared, drawn, full)
			}
		}
		if a != 255*255 {
			t.Errorf("%s: %d of %d covers", shade, a, 255*255)
		}
		if got := (&Theme{Shade: shade}).Color(theme.ColorNameBackground, theme.VariantLight); got != color.Color(want) {
			t.Errorf("%s: without OpenGL it is %v", shade, got)
		}
	}
}
