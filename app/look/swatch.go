package look

import (
	"image"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// Swatch is a short piece of a line as a [Plot] draws it: its colour, its pattern and its marker.
type Swatch struct {
	widget.BaseWidget
	style int
	pen   pen
}

// NewSwatch makes the piece of a style, 0 to CourseStyles-1.
func NewSwatch(style int) *Swatch {
	s := &Swatch{style: style}
	s.ExtendBaseWidget(s)
	return s
}

const (
	swatchWide = 52
	swatchHigh = 16
)

func (s *Swatch) HeightFor(float32) float32 { return Scaled(swatchHigh) }
func (s *Swatch) natural() float32          { return Scaled(swatchWide) }
func (s *Swatch) MinSize() fyne.Size        { return fyne.NewSize(Scaled(swatchWide), Scaled(swatchHigh)) }

func (s *Swatch) draw(w, h int) image.Image {
	s.pen.begin(w, h, float64(h)/swatchHigh, solid(Card))
	s.pen.forget()
	s.pen.segment(0, float64(h)/2, float64(w), float64(h)/2)
	c := solid(CourseColours[s.style%CourseStyles])
	every := int64(markerEvery * s.pen.scale)
	s.pen.paint(s.style, c, 0, float64(h), every*1000+every/2-int64(s.style)*every/CourseStyles) // without a marker by chance
	s.pen.marker(s.style, float64(w)/2, float64(h)/2, c)
	return s.pen.img
}

func (s *Swatch) CreateRenderer() fyne.WidgetRenderer {
	s.ExtendBaseWidget(s)
	return &swatchRenderer{s: s, picture: canvas.NewRaster(s.draw)}
}

type swatchRenderer struct {
	s       *Swatch
	picture *canvas.Raster
}

func (r *swatchRenderer) Layout(size fyne.Size) { r.picture.Resize(size) }
func (r *swatchRenderer) MinSize() fyne.Size    { return r.s.MinSize() }
func (r *swatchRenderer) Refresh()              { canvas.Refresh(r.picture) }
func (r *swatchRenderer) Objects() []fyne.CanvasObject {
	return []fyne.CanvasObject{r.picture}
}
func (r *swatchRenderer) Destroy() {}
