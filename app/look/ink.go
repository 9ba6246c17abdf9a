package look

import (
	"image"
	"image/color"
	"math"

	"fyne.io/fyne/v2"
)

// ink draws the shapes of a small drawing into one picture. A shape that the toolkit draws by itself is a call of the graphics
// driver, and one that draws in software keeps some 64 kilobytes for each call until the next frame.
//
// Places and lengths are in the units of the program. A later shape covers an earlier one.
type ink struct{ shapes []inkShape }

// inkShape is a colour and the distance of a point to the edge of what it fills, negative inside.
type inkShape struct {
	color                    color.NRGBA
	left, top, right, bottom float64 // it lies within
	distance                 func(x, y float64) float64
}

func (k *ink) put(c fyne.ThemeColorName, left, top, right, bottom float64, distance func(x, y float64) float64) {
	k.shapes = append(k.shapes, inkShape{solid(c), left, top, right, bottom, distance})
}

// line is a straight line with blunt ends.
func (k *ink) line(c fyne.ThemeColorName, wide float32, a, b fyne.Position) {
	ax, ay, half := float64(a.X), float64(a.Y), float64(wide)/2
	dx, dy := float64(b.X)-ax, float64(b.Y)-ay
	long := math.Hypot(dx, dy)
	if long == 0 {
		return
	}
	dx, dy = dx/long, dy/long
	k.put(c, min(ax, ax+dx*long)-half, min(ay, ay+dy*long)-half, max(ax, ax+dx*long)+half, max(ay, ay+dy*long)+half, func(x, y float64) float64 {
		along, across := (x-ax)*dx+(y-ay)*dy, (x-ax)*dy-(y-ay)*dx
		return max(math.Abs(across)-half, -along, along-long)
	})
}

// disc is a filled circle with a rim inside its edge.
func (k *ink) disc(fill, rim fyne.ThemeColorName, wide float32, centre fyne.Position, radius float32) {
	cx, cy, r := float64(centre.X), float64(centre.Y), float64(radius)
	from := func(x, y float64) float64 { return math.Hypot(x-cx, y-cy) }
	k.put(rim, cx-r, cy-r, cx+r, cy+r, func(x, y float64) float64 { return from(x, y) - r })
	if in := r - float64(wide); in > 0 && fill != rim {
		k.put(fill, cx-in, cy-in, cx+in, cy+in, func(x, y float64) float64 { return from(x, y) - in })
	}
}

// box is a filled rectangle with round corners.
func (k *ink) box(c fyne.ThemeColorName, at fyne.Position, size fyne.Size, round float32) {
	left, top, w, h, r := float64(at.X), float64(at.Y), float64(size.Width), float64(size.Height), float64(round)
	cx, cy := left+w/2, top+h/2
	k.put(c, left, top, left+w, top+h, func(x, y float64) float64 {
		dx, dy := math.Abs(x-cx)-w/2+r, math.Abs(y-cy)-h/2+r
		return math.Hypot(max(dx, 0), max(dy, 0)) + min(max(dx, dy), 0) - r
	})
}

// wedge is a filled triangle that stands on its base.
func (k *ink) wedge(c fyne.ThemeColorName, tip fyne.Position, wide, high float32) {
	tx, ty, half, h := float64(tip.X), float64(tip.Y), float64(wide)/2, float64(high)
	slant := math.Hypot(half, h)
	k.put(c, tx-half, ty, tx+half, ty+h, func(x, y float64) float64 {
		return max((math.Abs(x-tx)*h-(y-ty)*half)/slant, y-ty-h)
	})
}

// picture draws the shapes at so many pixels to a unit.
func (k *ink) picture(w, h int, scale float64) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for _, s := range k.shapes {
		from, to := max(0, int(s.left*scale)-1), min(w, int(s.right*scale)+2)
		for y := max(0, int(s.top*scale)-1); y < min(h, int(s.bottom*scale)+2); y++ {
			for x := from; x < to; x++ {
				d := s.distance((float64(x)+0.5)/scale, (float64(y)+0.5)/scale) * scale
				if cover := min(1, 0.5-d); cover > 0 {
					p := img.Pix[y*img.Stride+4*x:][:4:4]
					mix := func(i int, v uint8) { p[i] = uint8(float64(p[i])*(1-cover) + float64(v)*cover + 0.5) }
					mix(0, s.color.R)
					mix(1, s.color.G)
					mix(2, s.color.B)
					mix(3, 0xFF)
				}
			}
		}
	}
	return img
}
