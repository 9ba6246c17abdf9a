package look

import (
	"image/color"
	"sync"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/theme"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gobolditalic"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/gomonobold"
	"golang.org/x/image/font/gofont/gomonobolditalic"
	"golang.org/x/image/font/gofont/gomonoitalic"
	"golang.org/x/image/font/gofont/goregular"
)

// Sizes of type, in the theme's units at a factor of 1.
const (
	SizeTitle fyne.ThemeSizeName = "title" // the sentence a page begins with
	SizeBody  fyne.ThemeSizeName = "body"
	SizeSmall fyne.ThemeSizeName = "small"
	SizeFine  fyne.ThemeSizeName = "fine" // sources and captions
	SizeHex   fyne.ThemeSizeName = "hex"  // a frame being typed
	SizeByte  fyne.ThemeSizeName = "byte" // bytes in the ribbon
)

var sizes = map[fyne.ThemeSizeName]float32{
	SizeTitle: 22.5, SizeBody: 14.5, SizeSmall: 12.8, SizeFine: 11.8, SizeHex: 17, SizeByte: 22,
	theme.SizeNameText: 14.5, theme.SizeNameCaptionText: 11.8, theme.SizeNameHeadingText: 22, theme.SizeNameSubHeadingText: 17,
}

// lineHeight is the height of a line of body text at a factor of 1.
const lineHeight = 19

// Shade says which palette is wanted.
type Shade string

// The shades: the system's own, or one of the two whatever the system says.
const (
	ShadeSystem Shade = ""
	ShadeLight  Shade = "light"
	ShadeDark   Shade = "dark"
)

// Factors of the text size that can be chosen.
var Factors = []float32{0.8, 0.9, 1, 1.15, 1.3, 1.5, 2}

// OrdinaryFactor is the place of the ordinary size among the Factors.
const OrdinaryFactor = 2

// Theme is the program's theme: the two palettes, the Go fonts for every style, and a factor for the text size.
type Theme struct {
	Shade  Shade
	Factor float32 // 1 is the ordinary size, 0 stands for it; what is out of the range of the Factors counts as its end
	OpenGL bool    // Fyne paints with it
}

// cleared is a colour that a window is cleared with. Fyne 2.7.1 tells OpenGL the shares of 255 times 255 there, although the
// whole is 65535, which would make light colours lighter than the same ones of rectangles (internal/painter/gl, max16bit).
type cleared struct{ color.NRGBA }

// RGBA has shares of 255 times 255; they are the same ones to whoever divides them by a.
func (c cleared) RGBA() (r, g, b, a uint32) {
	return uint32(c.R) * 0xFF, uint32(c.G) * 0xFF, uint32(c.B) * 0xFF, 0xFF * 0xFF
}

// The Go fonts, each made when it is first asked for.
var (
	regular        = goFont("Go-Regular.ttf", goregular.TTF)
	bold           = goFont("Go-Bold.ttf", gobold.TTF)
	italic         = goFont("Go-Italic.ttf", goitalic.TTF)
	boldItalic     = goFont("Go-Bold-Italic.ttf", gobolditalic.TTF)
	mono           = goFont("Go-Mono.ttf", gomono.TTF)
	monoBold       = goFont("Go-Mono-Bold.ttf", gomonobold.TTF)
	monoItalic     = goFont("Go-Mono-Italic.ttf", gomonoitalic.TTF)
	monoBoldItalic = goFont("Go-Mono-Bold-Italic.ttf", gomonobolditalic.TTF)
)

func goFont(name string, ttf []byte) func() fyne.Resource {
	return sync.OnceValue(func() fyne.Resource { return fyne.NewStaticResource(name, roomy(ttf)) })
}

// Font gives a Go font for every style, symbols included: pictures are then the same on every machine.
func (t *Theme) Font(s fyne.TextStyle) fyne.Resource { return font(s) }

func font(s fyne.TextStyle) fyne.Resource {
	switch {
	case s.Monospace && s.Bold && s.Italic:
		return monoBoldItalic()
	case s.Monospace && s.Bold:
		return monoBold()
	case s.Monospace && s.Italic:
		return monoItalic()
	case s.Monospace:
		return mono()
	case s.Bold && s.Italic:
		return boldItalic()
	case s.Bold:
		return bold()
	case s.Italic:
		return italic()
	}
	return regular()
}

// Icon leaves the few icons of ready-made widgets to the default theme.
func (t *Theme) Icon(n fyne.ThemeIconName) fyne.Resource { return theme.DefaultTheme().Icon(n) }

// Size is a size of type or of a gap; sizes of type grow with the factor.
func (t *Theme) Size(n fyne.ThemeSizeName) float32 {
	if s, ok := sizes[n]; ok {
		return s * t.factor()
	}
	switch n {
	case theme.SizeNameInputRadius, theme.SizeNameSelectionRadius:
		return 6
	case theme.SizeNameInputBorder:
		return 1.5
	case theme.SizeNameScrollBar:
		return 12
	case theme.SizeNameInnerPadding: // a line of text with this above and below is at least 44 high
		return max(8, (44.5-lineHeight*t.factor())/2)
	case theme.SizeNameInlineIcon:
		return 20 * t.factor()
	}
	return theme.DefaultTheme().Size(n)
}

func (t *Theme) factor() float32 {
	if t.Factor == 0 {
		return 1
	}
	return max(Factors[0], min(t.Factor, Factors[len(Factors)-1]))
}

// Dark tells whether the dark palette is used under a system's variant.
func (t *Theme) Dark(system fyne.ThemeVariant) bool {
	return t.Shade == ShadeDark || t.Shade != ShadeLight && system == theme.VariantDark
}

// Color is a colour of the palette; the names of ready-made widgets are mapped to it.
func (t *Theme) Color(n fyne.ThemeColorName, v fyne.ThemeVariant) color.Color {
	p := Light
	if t.Dark(v) {
		p = Dark
	}
	if c, ok := p[n]; ok {
		return c
	}
	if n == theme.ColorNameBackground && t.OpenGL {
		return cleared{p[Paper]}
	}
	if own, ok := ready[n]; ok {
		return p[own]
	}
	switch n {
	case theme.ColorNameHover, theme.ColorNamePressed:
		return faint(p[Accent], 0x18)
	case theme.ColorNameFocus, theme.ColorNameSelection:
		return faint(p[Accent], 0x50)
	case theme.ColorNameShadow:
		return color.NRGBA{A: 0x30}
	}
	return theme.DefaultTheme().Color(n, v)
}

func faint(c color.NRGBA, a uint8) color.NRGBA { c.A = a; return c }

// ready maps the colour names of ready-made widgets to the palette.
var ready = map[fyne.ThemeColorName]fyne.ThemeColorName{
	theme.ColorNameBackground: Paper, theme.ColorNameForeground: Ink, theme.ColorNamePlaceHolder: Soft, theme.ColorNameDisabled: Soft,
	theme.ColorNamePrimary: Accent, theme.ColorNameForegroundOnPrimary: OnAccent, theme.ColorNameHyperlink: Accent,
	theme.ColorNameInputBackground: Card, theme.ColorNameInputBorder: Edge, theme.ColorNameButton: Card, theme.ColorNameDisabledButton: Idle,
	theme.ColorNameSeparator: Line, theme.ColorNameScrollBar: Edge, theme.ColorNameScrollBarBackground: Rail,
	theme.ColorNameMenuBackground: Card, theme.ColorNameOverlayBackground: Card, theme.ColorNameHeaderBackground: Rail,
	theme.ColorNameError: Danger, theme.ColorNameForegroundOnError: OnAccent, theme.ColorNameWarning: Amber,
	theme.ColorNameForegroundOnWarning: OnAccent, theme.ColorNameSuccess: Accent, theme.ColorNameForegroundOnSuccess: OnAccent,
}

func paint(n fyne.ThemeColorName) color.Color { return theme.Color(n) }

// Scaled is a length that grows with the text size.
func Scaled(v float32) float32 { return snap(v * theme.Size(SizeBody) / sizes[SizeBody]) }
