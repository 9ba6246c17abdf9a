package look

import (
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// Moment is one thing on a time line.
type Moment struct {
	At   time.Time
	Sign Sign
	Bare bool // a stroke instead of a mark: looked, and nothing there
}

// Timeline draws moments on a line from one time to another. What they mean stands in words beside it.
type Timeline struct {
	widget.BaseWidget
	from, to time.Time
	moments  []Moment
	labels   []Label // under the line; nil for none
}

// Label is a word at a time under a [Timeline].
type Label struct {
	At   time.Time
	Text string
}

// NewTimeline makes a line with moments, and words under it.
func NewTimeline(from, to time.Time, moments []Moment, labels ...Label) *Timeline {
	t := &Timeline{from: from, to: to, moments: moments, labels: labels}
	t.ExtendBaseWidget(t)
	return t
}

const (
	momentEdge = 14
	labelHigh  = 16
)

func (t *Timeline) HeightFor(float32) float32 {
	h := Scaled(momentEdge) + 8
	if len(t.moments) == 0 && len(t.labels) > 0 {
		h = 0
	}
	if len(t.labels) > 0 {
		h += Scaled(labelHigh)
	}
	return snap(h)
}

func (t *Timeline) natural() float32 { return 320 }

func (t *Timeline) MinSize() fyne.Size { return fyne.NewSize(80, t.HeightFor(0)) }

func (t *Timeline) CreateRenderer() fyne.WidgetRenderer {
	r := &timelineRenderer{t: t}
	r.Layout(t.Size())
	return r
}

type timelineRenderer struct {
	t       *Timeline
	objects []fyne.CanvasObject
}

// place is where a time lies across the line.
func (r *timelineRenderer) place(at time.Time, width float32) float32 {
	edge := Scaled(momentEdge)
	span := r.t.to.Sub(r.t.from)
	share := float32(0.5)
	if span > 0 {
		share = float32(at.Sub(r.t.from)) / float32(span)
	}
	return edge/2 + max(0, min(1, share))*(width-edge)
}

func (r *timelineRenderer) Layout(size fyne.Size) {
	r.objects = r.objects[:0]
	if size.Width <= 0 {
		return
	}
	edge, middle := Scaled(momentEdge), snap(Scaled(momentEdge)/2+4)
	if len(r.t.moments) > 0 {
		l := canvas.NewLine(paint(Line))
		l.StrokeWidth, l.Position1, l.Position2 = 2, fyne.NewPos(0, middle), fyne.NewPos(size.Width, middle)
		r.objects = append(r.objects, l)
	}
	for _, m := range r.t.moments {
		x := r.place(m.At, size.Width)
		if m.Bare {
			l := canvas.NewLine(paint(Edge))
			l.StrokeWidth, l.Position1, l.Position2 = 1.4, fyne.NewPos(x, middle-4), fyne.NewPos(x, middle+4)
			r.objects = append(r.objects, l)
			continue
		}
		mark := NewMark(m.Sign, momentEdge)
		mark.Move(fyne.NewPos(x-edge/2, middle-edge/2))
		mark.Resize(fyne.NewSquareSize(edge))
		r.objects = append(r.objects, mark)
	}
	end := float32(-1e6)
	for _, l := range r.t.labels {
		text := lettering(l.Text, Style{Size: SizeFine, Color: Soft})
		width := text.MinSize().Width
		x := max(0, min(size.Width-width, r.place(l.At, size.Width)-width/2))
		if x < end+8 {
			continue // it would run into the one before it
		}
		end = x + width
		centreLeft(text, x, size.Height-Scaled(labelHigh), Scaled(labelHigh))
		r.objects = append(r.objects, text)
	}
}

func (r *timelineRenderer) MinSize() fyne.Size { return r.t.MinSize() }

func (r *timelineRenderer) Refresh() {
	r.Layout(r.t.Size())
	canvas.Refresh(r.t)
}

func (r *timelineRenderer) Objects() []fyne.CanvasObject { return r.objects }
func (r *timelineRenderer) Destroy()                     {}
