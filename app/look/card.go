package look

import (
	"image/color"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
	"fyne.io/fyne/v2/widget"
)

const radius = 8

// Rows is a card with rows under one another, a hair line between them.
func Rows(rows ...fyne.CanvasObject) *fyne.Container {
	return onSlab(newSlab(Card, Line), rows)
}

// Rim is a card that one object fills, and whose ground that object paints as far as it is [within] the rim.
func Rim(o fyne.CanvasObject) *fyne.Container {
	s := newSlab(Card, Line)
	s.hollow = true
	return onSlab(s, []fyne.CanvasObject{o})
}

func onSlab(s *slab, rows []fyne.CanvasObject) *fyne.Container {
	l := &cardRows{}
	objects := []fyne.CanvasObject{s}
	for i, r := range rows {
		if i > 0 {
			objects = append(objects, Hair())
		}
		objects = append(objects, r)
	}
	l.stack.gap = 0
	return container.New(l, objects...)
}

// Boxed is a card around one object.
func Boxed(o fyne.CanvasObject) *fyne.Container { return Rows(Pad(14, 16, 14, 16, o)) }

// Framed is a card that one object fills, whatever the height of the card.
func Framed(o fyne.CanvasObject) *fyne.Container {
	return container.New(&under{}, newSlab(Card, Line), Pad(1, 1, 1, 1, o))
}

// Noted is a card with a coloured edge at its left, for a notice inside a page.
func Noted(edge fyne.ThemeColorName, o fyne.CanvasObject) *fyne.Container {
	return container.New(&noted{}, newSlab(Card, Line), flat(edge), Pad(12, 16, 12, 20, o))
}

// Ground puts an object on a flat colour.
func Ground(c fyne.ThemeColorName, o fyne.CanvasObject) *fyne.Container {
	return container.New(&under{}, flat(c), o)
}

func board(fill, stroke fyne.ThemeColorName) *canvas.Rectangle {
	r := canvas.NewRectangle(paint(fill))
	r.StrokeColor, r.StrokeWidth, r.CornerRadius = paint(stroke), 1, radius
	return r
}

func flat(c fyne.ThemeColorName) *canvas.Rectangle { return canvas.NewRectangle(paint(c)) }

// Floor is a plain ground that follows the palette for as long as the window stands.
func Floor(c fyne.ThemeColorName) fyne.CanvasObject {
	f := &floor{color: c, rect: flat(c)}
	f.ExtendBaseWidget(f)
	return f
}

type floor struct {
	widget.BaseWidget
	color fyne.ThemeColorName
	rect  *canvas.Rectangle
}

func (f *floor) CreateRenderer() fyne.WidgetRenderer { return widget.NewSimpleRenderer(f.rect) }

func (f *floor) Refresh() {
	f.rect.FillColor = paint(f.color)
	f.rect.Refresh()
}

// Hair is a hair line across its room.
func Hair() fyne.CanvasObject {
	r := flat(Line)
	r.SetMinSize(fyne.NewSize(1, 1))
	return r
}

// cardRows lays the first object under the others, which are stacked inside its edge.
type cardRows struct{ stack }

func (c *cardRows) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	stand(objects[0], fyne.NewPos(0, 0), size)
	c.lay(objects[1:], fyne.NewPos(1, 1), size.Width-2)
	c.last = size.Width
}

func (c *cardRows) heightFor(objects []fyne.CanvasObject, width float32) float32 {
	return c.stack.heightFor(objects[1:], width-2) + 2
}

func (c *cardRows) natural(objects []fyne.CanvasObject) float32 {
	return c.stack.natural(objects[1:]) + 2
}

func (c *cardRows) MinSize(objects []fyne.CanvasObject) fyne.Size { return minOf(c, objects, c.last) }

// noted lays a board and a coloured edge under one object.
type noted struct{ last float32 }

func (n *noted) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	n.last = size.Width
	stand(objects[0], fyne.NewPos(0, 0), size)
	stand(objects[1], fyne.NewPos(0, radius), fyne.NewSize(4, max(0, size.Height-2*radius)))
	stand(objects[2], fyne.NewPos(0, 0), size)
}

func (n *noted) heightFor(objects []fyne.CanvasObject, width float32) float32 {
	return HeightFor(objects[2], width)
}

func (n *noted) natural(objects []fyne.CanvasObject) float32   { return naturalWidth(objects[2]) }
func (n *noted) MinSize(objects []fyne.CanvasObject) fyne.Size { return minOf(n, objects, n.last) }

// under lays its first object under the second.
type under struct{ last float32 }

func (u *under) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	u.last = size.Width
	for _, o := range objects {
		stand(o, fyne.NewPos(0, 0), size)
	}
}

func (u *under) heightFor(objects []fyne.CanvasObject, width float32) float32 {
	return HeightFor(objects[len(objects)-1], width)
}

func (u *under) natural(objects []fyne.CanvasObject) float32 {
	return naturalWidth(objects[len(objects)-1])
}

func (u *under) MinSize(objects []fyne.CanvasObject) fyne.Size { return minOf(u, objects, u.last) }

// ring is the frame around the part that has the keyboard.
func ring() *canvas.Rectangle {
	r := canvas.NewRectangle(color.Transparent)
	r.StrokeColor, r.StrokeWidth, r.CornerRadius = paint(Accent), 2, radius+2
	r.Hide()
	return r
}

// Badge is a word in a frame, for what must not be overlooked.
func Badge(word string) fyne.CanvasObject {
	r := board(Card, Amber)
	r.StrokeWidth, r.CornerRadius = 2, 4
	return container.New(&under{}, r, Pad(5, 10, 5, 10, Styled(word, Style{Bold: true, Color: Amber, Size: SizeSmall}).OneRow()))
}
