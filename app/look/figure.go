package look

import (
	"strings"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// Figure is a short text in the mono font that changes often. Each of its digits is a text of its own, and so is each word
// between them: the painter keeps a picture of every text that it has drawn, and of digits and units there are only a few.
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

// Set changes the text in place, and tells whether it is another one.
func (f *Figure) Set(text string) (changed bool) {
	if f.text == text {
		return false
	}
	f.text = text
	f.Refresh()
	return true
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
	pieces  []*canvas.Text
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
	left := float32(0)
	if f.right {
		left = size.Width - float32(len(text))*pitch
	}
	base, used := baseline(f.style.size(), size.Height), 0
	for i, n := 0, 0; i < len(text); i += n {
		if n = figurePiece(text[i:]); text[i] == ' ' {
			continue
		}
		if used == len(r.pieces) {
			t := canvas.NewText("", nil)
			r.pieces, r.objects = append(r.pieces, t), append(r.objects, t)
		}
		t := r.pieces[used]
		used++
		t.Text, t.Hidden = string(text[i:i+n]), false
		f.style.dress(t)
		set(t, left+float32(i)*pitch, base)
	}
	for _, t := range r.pieces[used:] {
		t.Text, t.Hidden = "", true
	}
}

// figurePiece is how many letters are one text: a word without digits, or one of all others.
func figurePiece(text []rune) (n int) {
	for n < len(text) && !strings.ContainsRune("0123456789.,:-+ ", text[n]) {
		n++
	}
	return max(1, n)
}

func (r *figureRenderer) MinSize() fyne.Size { return r.f.MinSize() }

func (r *figureRenderer) Refresh() {
	r.Layout(r.f.Size())
	canvas.Refresh(r.f)
}

func (r *figureRenderer) Objects() []fyne.CanvasObject { return r.objects }
func (r *figureRenderer) Destroy()                     {}
