package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// Figure is a short text in the mono font that changes often. Each of its letters is a text of its own: the painter
// keeps a picture of every text that it has drawn, and of letters there are only a few.
type Figure struct {
	widget.BaseWidget
	text  string
	style Style
	right bool
}

// NewFigure makes a figure; the style is always mono.
func NewFigure(style Style) *Figure {
	style.Mono = true
	f := &Figure{style: style}
	f.ExtendBaseWidget(f)
	return f
}

// Right sets the figure flush right.
func (f *Figure) Right() *Figure { f.right = true; return f }

// Set changes the text in place.
func (f *Figure) Set(text string) {
	if f.text != text {
		f.text = text
		f.Refresh()
	}
}

// String is the text.
func (f *Figure) String() string { return f.text }

func (f *Figure) pitch() float32 { return f.style.measure("0") }

// HeightFor is the same at every width.
func (f *Figure) HeightFor(float32) float32 { return f.style.pitch() }

func (f *Figure) natural() float32 {
	return snap(float32(len([]rune(f.text)))*f.pitch() + 1)
}

func (f *Figure) MinSize() fyne.Size { return fyne.NewSize(f.pitch(), f.HeightFor(0)) }

func (f *Figure) CreateRenderer() fyne.WidgetRenderer {
	f.ExtendBaseWidget(f)
	r := &figureRenderer{f: f}
	r.Layout(f.Size())
	return r
}

type figureRenderer struct {
	f       *Figure
	letters []*canvas.Text
	objects []fyne.CanvasObject
}

func (r *figureRenderer) Layout(size fyne.Size) {
	f := r.f
	text, pitch := []rune(f.text), f.pitch()
	if room := int((size.Width + 0.5) / pitch); len(text) > room {
		text = text[:max(0, room)]
		if room > 0 {
			text[room-1] = []rune(ellipsis)[0]
		}
	}
	for len(r.letters) < len(text) {
		t := canvas.NewText("", nil)
		r.letters, r.objects = append(r.letters, t), append(r.objects, t)
	}
	left := float32(0)
	if f.right {
		left = size.Width - float32(len(text))*pitch
	}
	base := baseline(f.style.size(), size.Height)
	for i, t := range r.letters {
		letter := ""
		if i < len(text) && text[i] != ' ' {
			letter = string(text[i])
		}
		t.Text, t.Hidden = letter, letter == ""
		f.style.dress(t)
		if letter != "" {
			set(t, left+float32(i)*pitch, base)
		}
	}
}

func (r *figureRenderer) MinSize() fyne.Size { return r.f.MinSize() }

func (r *figureRenderer) Refresh() {
	r.Layout(r.f.Size())
	canvas.Refresh(r.f)
}

func (r *figureRenderer) Objects() []fyne.CanvasObject { return r.objects }
func (r *figureRenderer) Destroy()                     {}
