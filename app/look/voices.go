package look

import (
	"slices"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/widget"
)

// Voice is one who talks, and the share of all that is said that is theirs.
type Voice struct {
	Name   string
	Share  float64 // 0 to 1
	Note   string  // the share in words
	Own    bool    // this computer
	Chosen bool
}

// Voices draws who talks how much: each voice is a stroke on one line, the longer the more it says. The loudest are
// named under it. What it shows stands in words beside it.
type Voices struct {
	widget.BaseWidget
	all []Voice
}

// NewVoices makes the picture. Of very many voices only the loudest are drawn, in the order that they have.
func NewVoices(all []Voice) *Voices {
	v := &Voices{all: loudest(all, mostVoices)}
	v.ExtendBaseWidget(v)
	return v
}

const (
	mostVoices = 96
	voiceHigh  = 64 // of the longest stroke
	named      = 4
)

// loudest are the n voices with the largest shares, in the order of all; the chosen one is among them.
func loudest(all []Voice, n int) []Voice {
	if len(all) <= n {
		return all
	}
	out := make([]int, len(all))
	for i := range out {
		out[i] = i
	}
	slices.SortStableFunc(out, func(a, b int) int {
		switch x, y := all[a], all[b]; {
		case x.Chosen != y.Chosen:
			if x.Chosen {
				return -1
			}
			return 1
		case x.Share > y.Share:
			return -1
		case x.Share < y.Share:
			return 1
		}
		return 0
	})
	out = out[:n]
	slices.Sort(out)
	kept := make([]Voice, n)
	for i, k := range out {
		kept[i] = all[k]
	}
	return kept
}

func (v *Voices) HeightFor(float32) float32 {
	return Scaled(voiceHigh) + 6 + Style{Size: SizeFine}.pitch()
}

func (v *Voices) natural() float32   { return 400 }
func (v *Voices) MinSize() fyne.Size { return fyne.NewSize(100, v.HeightFor(0)) }

func (v *Voices) CreateRenderer() fyne.WidgetRenderer {
	v.ExtendBaseWidget(v)
	return &voicesRenderer{v: v}
}

type voicesRenderer struct {
	v       *Voices
	objects []fyne.CanvasObject
}

func (r *voicesRenderer) Layout(size fyne.Size) {
	r.objects = r.objects[:0]
	n := len(r.v.all)
	if n == 0 || size.Width <= 0 {
		return
	}
	most := slices.MaxFunc(r.v.all, func(a, b Voice) int {
		if a.Share < b.Share {
			return -1
		}
		return 1
	}).Share
	high, room := Scaled(voiceHigh), size.Width/float32(n)
	wide := max(1.5, min(room*0.62, 12))
	line := flat(Line)
	line.Move(fyne.NewPos(0, high/2))
	line.Resize(fyne.NewSize(size.Width, 1))
	r.objects = append(r.objects, line)
	for i, x := range r.v.all {
		h := max(wide, high*float32(x.Share/max(most, 1e-9)))
		s := canvas.NewRectangle(paint(Soft))
		switch {
		case x.Chosen:
			s.FillColor = paint(Accent)
		case x.Own:
			s.FillColor, s.StrokeColor, s.StrokeWidth = paint(Card), paint(Accent), 1.5
		}
		s.CornerRadius = wide / 2
		s.Move(fyne.NewPos((float32(i)+0.5)*room-wide/2, (high-h)/2))
		s.Resize(fyne.NewSize(wide, h))
		r.objects = append(r.objects, s)
	}
	r.names(size, room, high+6)
}

// names writes the loudest voices under their strokes, as far as they do not run into one another.
func (r *voicesRenderer) names(size fyne.Size, room, top float32) {
	order := make([]int, len(r.v.all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch x, y := r.v.all[a], r.v.all[b]; {
		case x.Chosen != y.Chosen && x.Chosen, x.Chosen == y.Chosen && x.Share > y.Share:
			return -1
		case x.Chosen != y.Chosen, x.Share < y.Share:
			return 1
		}
		return 0
	})
	type taken struct{ from, to float32 }
	var used []taken
	for _, i := range order {
		if len(used) == named {
			return
		}
		x := r.v.all[i]
		st := Style{Size: SizeFine, Color: Soft}
		if x.Chosen {
			st.Color = Accent
		}
		t := lettering(x.Name+" "+x.Note, st)
		w := t.MinSize().Width
		at := max(0, min(size.Width-w, (float32(i)+0.5)*room-w/2))
		if w > size.Width || slices.ContainsFunc(used, func(u taken) bool { return at < u.to+10 && at+w+10 > u.from }) {
			continue
		}
		used = append(used, taken{at, at + w})
		centreLeft(t, at, top, Style{Size: SizeFine}.pitch())
		r.objects = append(r.objects, t)
	}
}

func (r *voicesRenderer) MinSize() fyne.Size { return r.v.MinSize() }
func (r *voicesRenderer) Refresh() {
	r.Layout(r.v.Size())
	canvas.Refresh(r.v)
}
func (r *voicesRenderer) Objects() []fyne.CanvasObject { return r.objects }
func (r *voicesRenderer) Destroy()                     {}
