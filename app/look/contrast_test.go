package look

import (
	"image/color"
	"math"
	"testing"

	"fyne.io/fyne/v2"
)

// luminance and contrast are the formulas of WCAG 2.2, "relative luminance" and "contrast ratio".
func luminance(c color.NRGBA) float64 {
	part := func(v uint8) float64 {
		x := float64(v) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return 0.2126*part(c.R) + 0.7152*part(c.G) + 0.0722*part(c.B)
}

func contrast(a, b color.NRGBA) float64 {
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// TestContrastFormula: black on white is 21:1 by the definition; 767676 on white is the grey that just passes 4.5:1
// (WCAG 2.2, technique G18 and its examples).
func TestContrastFormula(t *testing.T) {
	if got := contrast(hex(0), hex(0xFFFFFF)); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white: %v, want 21", got)
	}
	if got := contrast(hex(0x767676), hex(0xFFFFFF)); got < 4.5 || got > 4.6 {
		t.Errorf("767676 on white: %v, want just above 4.5", got)
	}
	if got := contrast(hex(0x777777), hex(0xFFFFFF)); got >= 4.5 {
		t.Errorf("777777 on white: %v, want just below 4.5", got)
	}
}

// grounds tells on which colours each colour is used. Text needs 4.5:1 (WCAG 2.2, 1.4.3), outlines and marks 3:1 (1.4.11).
var grounds = []struct {
	ink  fyne.ThemeColorName
	on   []fyne.ThemeColorName
	need float64
}{
	{Ink, []fyne.ThemeColorName{Paper, Rail, Card, Tint, AlertTint}, 4.5},
	{Soft, []fyne.ThemeColorName{Paper, Rail, Card, Tint, AlertTint}, 4.5},
	{Accent, []fyne.ThemeColorName{Paper, Rail, Card, Tint}, 4.5},
	{Alert, []fyne.ThemeColorName{Paper, Card, Tint, AlertTint}, 4.5},
	{Amber, []fyne.ThemeColorName{Paper, Rail, Card, Tint}, 4.5},
	{Danger, []fyne.ThemeColorName{Paper, Card, Tint}, 4.5},
	{OnAccent, []fyne.ThemeColorName{Accent}, 4.5},
	{OnPlate, []fyne.ThemeColorName{Plate}, 4.5},
	{PlateSoft, []fyne.ThemeColorName{Plate}, 4.5},
	{OnIdle, []fyne.ThemeColorName{Idle}, 4.5},
	{Edge, []fyne.ThemeColorName{Paper, Rail, Card}, 3},
}

func TestContrast(t *testing.T) {
	for name, p := range map[string]Palette{"light": Light, "dark": Dark} {
		for _, g := range grounds {
			for _, on := range g.on {
				if got := contrast(p[g.ink], p[on]); got < g.need {
					t.Errorf("%s: %s on %s is %.2f:1, needs %.1f:1", name, g.ink, on, got, g.need)
				}
			}
		}
		for _, c := range CourseColours {
			if got := contrast(p[c], p[Card]); got < 4.5 {
				t.Errorf("%s: %s on a card is %.2f:1", name, c, got)
			}
		}
	}
}

// TestPalettesComplete: both palettes name the same colours.
func TestPalettesComplete(t *testing.T) {
	for n := range Light {
		if _, ok := Dark[n]; !ok {
			t.Errorf("the dark palette has no %s", n)
		}
	}
	if len(Light) != len(Dark) {
		t.Errorf("light has %d colours, dark %d", len(Light), len(Dark))
	}
}
