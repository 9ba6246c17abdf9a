package look

import (
	"image"
	"image/color"
	"math"
	"slices"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
)

// ink are the shapes of a drawing that is made into one picture. A shape that the toolkit draws by itself is a call of the
// graphics driver, and one that draws in software keeps some 64 kilobytes for each call until the next frame.
//
// Places and lengths are in the units of the program. A later shape covers an earlier one.
type ink struct{ shapes []inkShape }

// inkShape is a form with its measures: two ends and half of the width of a line, centre and radius of a disc, centre, half
// of the edges and the radius of the corners of a box, tip, half of the base and height of a wedge.
type inkShape struct {
	color color.NRGBA
	form  inkForm
	at    [5]float64
}

type inkForm uint8

const (
	inkBlunt inkForm = iota // a line with blunt ends
	inkRound                // a line with round ends, for one that goes on
	inkDisc
	inkBox
	inkWedge
)

func (k *ink) put(c fyne.ThemeColorName, form inkForm, at ...float32) {
	s := inkShape{color: solid(c), form: form}
	for i, v := range at {
		s.at[i] = float64(v)
	}
	k.shapes = append(k.shapes, s)
}

func (k *ink) line(c fyne.ThemeColorName, wide float32, a, b fyne.Position) {
	k.put(c, inkBlunt, a.X, a.Y, b.X, b.Y, wide/2)
}

func (k *ink) round(c fyne.ThemeColorName, wide float32, a, b fyne.Position) {
	k.put(c, inkRound, a.X, a.Y, b.X, b.Y, wide/2)
}

// disc is a filled circle with a rim inside its edge.
func (k *ink) disc(fill, rim fyne.ThemeColorName, wide float32, centre fyne.Position, radius float32) {
	k.put(rim, inkDisc, centre.X, centre.Y, radius)
	if radius > wide && fill != rim {
		k.put(fill, inkDisc, centre.X, centre.Y, radius-wide)
	}
}

// box is a filled rectangle with round corners.
func (k *ink) box(c fyne.ThemeColorName, at fyne.Position, size fyne.Size, round float32) {
	k.put(c, inkBox, at.X+size.Width/2, at.Y+size.Height/2, size.Width/2, size.Height/2, round)
}

// wedge is a filled triangle that stands on its base.
func (k *ink) wedge(c fyne.ThemeColorName, tip fyne.Position, wide, high float32) {
	k.put(c, inkWedge, tip.X, tip.Y, wide/2, high)
}

// dashed is a level or upright line of dashes.
func (k *ink) dashed(c fyne.ThemeColorName, wide, on, off float32, a, b fyne.Position) {
	dx, dy := b.X-a.X, b.Y-a.Y
	long := max(dx, -dx) + max(dy, -dy)
	for s := float32(0); s < long; s += on + off {
		e := min(long, s+on)
		k.line(c, wide, a.AddXY(dx*s/long, dy*s/long), a.AddXY(dx*e/long, dy*e/long))
	}
}

// distance of a point to the edge of the shape, negative inside.
func (s *inkShape) distance(x, y float64) float64 {
	p := &s.at
	x, y = x-p[0], y-p[1]
	switch s.form {
	case inkDisc:
		return math.Hypot(x, y) - p[2]
	case inkBox:
		x, y = math.Abs(x)-p[2]+p[4], math.Abs(y)-p[3]+p[4]
		return math.Hypot(max(x, 0), max(y, 0)) + min(max(x, y), 0) - p[4]
	case inkWedge:
		return max((math.Abs(x)*p[3]-y*p[2])/math.Hypot(p[2], p[3]), y-p[3])
	}
	dx, dy := p[2]-p[0], p[3]-p[1]
	long := max(1e-9, math.Hypot(dx, dy))
	along, across := (x*dx+y*dy)/long, (x*dy-y*dx)/long
	if beyond := max(-along, along-long); s.form == inkBlunt {
		return max(math.Abs(across)-p[4], beyond)
	} else if beyond > 0 {
		return math.Hypot(across, beyond) - p[4]
	}
	return math.Abs(across) - p[4]
}

// bounds is what the shape lies within.
func (s *inkShape) bounds() (left, top, right, bottom float64) {
	p := &s.at
	switch s.form {
	case inkDisc:
		return p[0] - p[2], p[1] - p[2], p[0] + p[2], p[1] + p[2]
	case inkBox:
		return p[0] - p[2], p[1] - p[3], p[0] + p[2], p[1] + p[3]
	case inkWedge:
		return p[0] - p[2], p[1], p[0] + p[2], p[1] + p[3]
	}
	return min(p[0], p[2]) - p[4], min(p[1], p[3]) - p[4], max(p[0], p[2]) + p[4], max(p[1], p[3]) + p[4]
}

// picture draws the shapes at so many pixels to a unit. Where there is none it is transparent.
func (k *ink) picture(w, h int, scale float64) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for i := range k.shapes {
		s := &k.shapes[i]
		left, top, right, bottom := s.bounds()
		from, to := max(0, int(left*scale)-1), min(w, int(right*scale)+2)
		for y := max(0, int(top*scale)-1); y < min(h, int(bottom*scale)+2); y++ {
			for x := from; x < to; x++ {
				d := s.distance((float64(x)+0.5)/scale, (float64(y)+0.5)/scale) * scale
				cover := min(1, 0.5-d)
				if cover <= 0 {
					continue
				}
				p := img.Pix[y*img.Stride+4*x:][:4:4]
				for n, v := range [4]uint8{s.color.R, s.color.G, s.color.B, 0xFF} {
					p[n] = uint8(float64(p[n])*(1-cover) + float64(v)*cover + 0.5)
				}
			}
		}
	}
	return img
}

// inkPicture shows ink, and draws it anew only when that has changed.
type inkPicture struct {
	ink     ink
	wide    float32
	picture *canvas.Raster
}

func newInkPicture() *inkPicture {
	d := &inkPicture{}
	d.picture = canvas.NewRaster(func(w, h int) image.Image { return d.ink.picture(w, h, float64(w)/float64(max(1, d.wide))) })
	return d
}

// show shows other ink in a box from the left upper corner on.
func (d *inkPicture) show(k ink, size fyne.Size) {
	d.wide = size.Width
	changed := !slices.Equal(d.ink.shapes, k.shapes)
	d.ink = k
	stand(d.picture, fyne.Position{}, size)
	if changed {
		d.picture.Refresh()
	}
}
