package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/driver/desktop"
	"fyne.io/fyne/v2/theme"
	"fyne.io/fyne/v2/widget"
)

// Field is a line of text that the owner types. Escape goes to the window.
type Field struct {
	widget.Entry
	id string
}

// NewField makes a field; mono sets what is typed in the mono font.
func NewField(id, hint string, mono bool, changed func(string)) *Field {
	f := &Field{id: id}
	f.ExtendBaseWidget(f)
	f.SetPlaceHolder(hint)
	f.TextStyle = fyne.TextStyle{Monospace: mono}
	f.OnChanged = changed
	f.Scroll = container.ScrollHorizontalOnly
	f.Wrapping = fyne.TextWrapOff
	return f
}

// ID names the field within its window.
func (f *Field) ID() string { return f.id }

// TypedKey gives Escape to the window and keeps the other keys.
func (f *Field) TypedKey(e *fyne.KeyEvent) {
	if e.Name == fyne.KeyEscape {
		pass(f, e)
		return
	}
	f.Entry.TypedKey(e)
}

// FocusGained scrolls the field into view.
func (f *Field) FocusGained() {
	f.Entry.FocusGained()
	Reveal(f)
}

// Large sets the field in the size of a frame that is being typed.
func Large(f *Field) fyne.CanvasObject {
	return container.NewThemeOverride(f, &largeTheme{fyne.CurrentApp().Settings().Theme()})
}

type largeTheme struct{ fyne.Theme }

func (t *largeTheme) Size(n fyne.ThemeSizeName) float32 {
	switch n {
	case theme.SizeNameText:
		return t.Theme.Size(SizeHex)
	case theme.SizeNameInnerPadding:
		return 12
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
