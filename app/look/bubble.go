package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/container"
)

// Bubble is one thing said: the frame as it was, and what it means. What this computer sent is dark and at the left;
// what the car answered is light and at the right. The square corner points to who spoke.
func Bubble(sent bool, frame, words string) fyne.CanvasObject {
	ink, ground, edge := Ink, Card, Line
	if sent {
		ink, ground, edge = OnPlate, Plate, Plate
	}
	back := board(ground, edge)
	back.CornerRadius = 0
	back.TopLeftCornerRadius, back.TopRightCornerRadius = 10, 10
	back.BottomLeftCornerRadius, back.BottomRightCornerRadius = 10, 10
	if sent {
		back.BottomLeftCornerRadius = 0
	} else {
		back.BottomRightCornerRadius = 0
	}
	soft := Soft
	if sent {
		soft = PlateSoft
	}
	text := Stack(2, Styled(frame, Style{Mono: true, Color: soft, Size: SizeSmall}), Styled(words, Style{Color: ink, Size: SizeSmall}))
	return container.New(&bubble{sent: sent}, back, Pad(9, 14, 10, 14, text))
}

// bubble makes its objects as wide as they like, up to four fifths of the room.
type bubble struct {
	sent bool
	last float32
}

func (b *bubble) width(o fyne.CanvasObject, room float32) float32 {
	return min(naturalWidth(o), room*0.8)
}

func (b *bubble) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	b.last = size.Width
	w := b.width(objects[1], size.Width)
	x := float32(0)
	if !b.sent {
		x = size.Width - w
	}
	for _, o := range objects {
		stand(o, fyne.NewPos(x, 0), fyne.NewSize(w, size.Height))
	}
}

func (b *bubble) heightFor(objects []fyne.CanvasObject, width float32) float32 {
	return HeightFor(objects[1], b.width(objects[1], width))
}

func (b *bubble) natural(objects []fyne.CanvasObject) float32   { return naturalWidth(objects[1]) }
func (b *bubble) MinSize(objects []fyne.CanvasObject) fyne.Size { return minOf(b, objects, b.last) }

// Bar is an honest bar: done of total, nothing when the total is not known.
func Bar(done, total int) fyne.CanvasObject {
	back, fill := canvas.NewRectangle(paint(Idle)), canvas.NewRectangle(paint(Accent))
	back.CornerRadius, fill.CornerRadius = 4, 4
	part := float32(0)
	if total > 0 {
		part = min(1, float32(done)/float32(total))
	}
	return container.New(&bar{part}, back, fill)
}

type bar struct{ part float32 }

func (b *bar) Layout(objects []fyne.CanvasObject, size fyne.Size) {
	objects[0].Resize(size)
	objects[1].Resize(fyne.NewSize(size.Width*b.part, size.Height))
}

func (b *bar) MinSize([]fyne.CanvasObject) fyne.Size { return fyne.NewSize(60, 8) }
