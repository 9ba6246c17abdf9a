package look

import (
	"strings"
	"unicode/utf8"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"
)

// Field is a line of text that the owner types. Escape and the function keys go to the window.
type Field struct {
	widget.Entry
	id    string
	most  int // lines that it grows to; 0 for a single line
	lines int
}

// NewField makes a field; mono sets what is typed in the mono font.
func NewField(id, hint string, mono bool, changed func(string)) *Field {
	f := &Field{id: id}
	f.ExtendBaseWidget(f)
	// As a symbol, text is set in the same font without the large ones behind it. No part of a field is measured before it
	// is shown.
	f.TextStyle = fyne.TextStyle{Monospace: mono, Symbol: !mono}
	f.PlaceHolder = hint
	f.OnChanged = func(text string) {
		f.grow()
		if changed != nil {
			changed(text)
		}
	}
	f.Scroll = container.ScrollHorizontalOnly
	f.Wrapping = fyne.TextWrapOff
	return f
}

// Lines lets the field grow with what is typed or pasted, up to a number of lines. Tab still goes on to the next part.
func (f *Field) Lines(most int) *Field {
	f.most = most
	f.MultiLine = true
	f.Wrapping = fyne.TextWrapBreak
	f.Scroll = container.ScrollVerticalOnly
	return f
}

// MinSize is the size of as many lines as are typed.
func (f *Field) MinSize() fyne.Size {
	if f.lines == 0 {
		f.grow()
	}
	return f.Entry.MinSize()
}

// grow makes the field as high as what is in it.
func (f *Field) grow() {
	if f.most == 0 {
		return
	}
	across := 20
	if width := f.Size().Width - 4*f.Theme().Size(theme.SizeNameInnerPadding); width > 0 {
		digit := fyne.MeasureText("0", f.Theme().Size(theme.SizeNameText), f.TextStyle).Width
		across = max(across, int(width/max(1, digit)))
	}
	lines := 0
	for line := range strings.SplitSeq(f.Text, "\n") {
		lines += 1 + max(0, utf8.RuneCountInString(line)-1)/across
	}
	if lines = max(1, min(lines, f.most)); lines != f.lines {
		f.lines = lines
		f.SetMinRowsVisible(lines)
	}
}

// SetText puts another text into the field.
func (f *Field) SetText(text string) {
	f.Entry.SetText(text)
	f.grow()
}

// Resize gives the field a size.
func (f *Field) Resize(size fyne.Size) {
	f.Entry.Resize(size)
	f.grow()
}

// AcceptsTab is never so: the keyboard can always go on.
func (f *Field) AcceptsTab() bool { return false }

// ID names the field within its window.
func (f *Field) ID() string { return f.id }

// TypedKey gives Escape and the function keys to the window and keeps the other keys.
func (f *Field) TypedKey(e *fyne.KeyEvent) {
	if e.Name == fyne.KeyEscape || strings.HasPrefix(string(e.Name), "F") && len(e.Name) > 1 {
		pass(f, e)
		return
	}
	f.Entry.TypedKey(e)
}

// KeyDown and KeyUp also tell the window of the key.
func (f *Field) KeyDown(e *fyne.KeyEvent) {
	f.Entry.KeyDown(e)
	keyDown(f, e)
}

// KeyUp is described at KeyDown.
func (f *Field) KeyUp(e *fyne.KeyEvent) {
	f.Entry.KeyUp(e)
	keyUp(f, e)
}

// FocusGained scrolls the field into view.
func (f *Field) FocusGained() {
	f.Entry.FocusGained()
	Reveal(f)
}

// Large sets the field in the size of a frame that is being typed.
func Large(f *Field) fyne.CanvasObject {
	l := &large{field: f, over: container.NewThemeOverride(f, &largeTheme{fyne.CurrentApp().Settings().Theme()})}
	l.ExtendBaseWidget(l)
	return l
}

// large is a field in a theme of its own. Fyne forgets how wide all the texts of the program are when such an override is
// refreshed. A page is refreshed with each key, so only the field is then; Fyne itself refreshes the override when the theme
// has changed.
type large struct {
	widget.BaseWidget
	field *Field
	over  *container.ThemeOverride
}

func (l *large) CreateRenderer() fyne.WidgetRenderer { return widget.NewSimpleRenderer(l.over) }

func (l *large) Refresh() { l.field.Refresh() }

type largeTheme struct{ fyne.Theme }

func (t *largeTheme) Size(n fyne.ThemeSizeName) float32 {
	switch n {
	case theme.SizeNameText:
		return t.Theme.Size(SizeHex)
	case theme.SizeNameInnerPadding: // the field is at least 44 high
		return max(12, (44.5-1.32*t.Theme.Size(SizeHex))/2)
	}
	return t.Theme.Size(n)
}

// TypedShortcut gives the window the shortcuts that are its own.
func (f *Field) TypedShortcut(s fyne.Shortcut) {
	f.Entry.TypedShortcut(s)
	if _, own := s.(*desktop.CustomShortcut); !own {
		return
	}
	if c := fyne.CurrentApp().Driver().CanvasForObject(f); c != nil {
		if window, ok := c.(fyne.Shortcutable); ok {
			window.TypedShortcut(s)
		}
	}
}
