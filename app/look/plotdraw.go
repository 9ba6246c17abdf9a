package look

import (
	"image"
	"image/color"
	"math"
	"time"
)

// CourseStyles is how many lines can be told apart: each style has a colour, a pattern and a marker of its own.
const CourseStyles = 8

// patterns are lengths of a line and of the gap after it; none is a whole line.
var patterns = [4][]float64{{}, {13, 5}, {3.5, 4}, {13, 4, 3.5, 4}}

const (
	lineWide    = 2
	markerEvery = 120
	markerEdge  = 9
)

// pen draws lines into a picture. Its room is used again.
type pen struct {
	img       *image.RGBA
	low, high []float32 // of the line in each column of pixels; low is less
	lit       []bool
	scale     float64 // pixels of the screen to one of the program
}

// begin makes room for a picture and fills it.
func (p *pen) begin(w, h int, scale float64, ground color.NRGBA) {
	if p.img == nil || p.img.Rect.Dx() != w || p.img.Rect.Dy() != h {
		p.img = image.NewRGBA(image.Rect(0, 0, w, h))
		p.low, p.high, p.lit = make([]float32, w), make([]float32, w), make([]bool, w)
	}
	p.scale = scale
	if len(p.img.Pix) == 0 {
		return
	}
	first := p.img.Pix[:p.img.Stride]
	for x := 0; x < len(first); x += 4 {
		first[x], first[x+1], first[x+2], first[x+3] = ground.R, ground.G, ground.B, 0xFF
	}
	for y := 1; y < h; y++ {
		copy(p.img.Pix[y*p.img.Stride:], first)
	}
}

// dot mixes a colour into a pixel.
func (p *pen) dot(x, y int, c color.NRGBA, cover float32) {
	if x < 0 || y < 0 || x >= p.img.Rect.Dx() || y >= p.img.Rect.Dy() || cover <= 0 {
		return
	}
	b := p.img.Pix[y*p.img.Stride+4*x:]
	b = b[:4:4]
	a := uint32(min(1, cover) * 256)
	b[0] = uint8((uint32(b[0])*(256-a) + uint32(c.R)*a) >> 8)
	b[1] = uint8((uint32(b[1])*(256-a) + uint32(c.G)*a) >> 8)
	b[2] = uint8((uint32(b[2])*(256-a) + uint32(c.B)*a) >> 8)
}

// level and upright draw a hair line.
func (p *pen) level(y float64, c color.NRGBA) {
	for x := range p.img.Rect.Dx() {
		p.dot(x, int(y), c, 1)
	}
}

func (p *pen) upright(x, top, bottom float64, c color.NRGBA) {
	for y := int(top); y < int(bottom); y++ {
		p.dot(int(x), y, c, 1)
	}
}

func (p *pen) forget() { clear(p.lit) }

func (p *pen) touch(x int, y float64) {
	if x < 0 || x >= len(p.lit) {
		return
	}
	v := float32(y)
	if !p.lit[x] {
		p.lit[x], p.low[x], p.high[x] = true, v, v
		return
	}
	p.low[x], p.high[x] = min(p.low[x], v), max(p.high[x], v)
}

// segment is a straight line to the right.
func (p *pen) segment(x0, y0, x1, y1 float64) {
	if x1 <= x0 {
		p.touch(int(math.Floor(x0)), y0)
		p.touch(int(math.Floor(x0)), y1)
		return
	}
	slope := (y1 - y0) / (x1 - x0)
	for x := max(0, int(math.Floor(x0))); x < len(p.lit) && float64(x) <= x1; x++ {
		p.touch(x, y0+slope*(max(x0, float64(x))-x0))
		p.touch(x, y0+slope*(min(x1, float64(x+1))-x0))
	}
}

// course notes where a course runs, from a time on, at so many nanoseconds a pixel.
func (p *pen) course(c *Course, from int64, perPixel float64, y func(float64) float64) {
	width, start := float64(len(p.lit)), time.Unix(0, from)
	level := c.finest(start)
	l, d := &c.levels[level], float64(courseLength(level))
	x := func(s *stretch) float64 { return ((float64(s.at)+0.5)*d - float64(from)) / perPixel }
	first := max(0, c.after(level, start)-1)
	for i := first; i < l.len(); i++ {
		s := l.at(i)
		here := x(s)
		if i > first && !s.apart {
			before := l.at(i - 1)
			p.segment(x(before), y(before.last), here, y(s.first))
		}
		at := int(math.Floor(here))
		p.touch(at, y(s.low))
		p.touch(at, y(s.high))
		if here > width {
			return
		}
	}
}

// paint draws what was noted, between two heights, in a style. phase is the number of the first column since 1970, so
// that pattern and markers move with the line.
func (p *pen) paint(style int, c color.NRGBA, top, bottom float64, phase int64) {
	half := float32(lineWide * p.scale / 2)
	for x, lit := range p.lit {
		if !lit {
			continue
		}
		low, high := max(p.low[x], float32(top))-half, min(p.high[x], float32(bottom))+half
		if high-low < 4*half && !p.on(style, phase+int64(x)) { // a steep line is never left out
			continue
		}
		steep := high-low > 6*half
		for y := int(math.Floor(float64(low))); float32(y) < high; y++ {
			cover := min(high, float32(y+1)) - max(low, float32(y))
			p.dot(x, y, c, cover)
			if steep { // else it would be only a pixel wide
				p.dot(x-1, y, c, cover*0.4)
				p.dot(x+1, y, c, cover*0.4)
			}
		}
	}
	every := int64(markerEvery * p.scale)
	for x, lit := range p.lit {
		if lit && (phase+int64(x)+int64(style)*every/CourseStyles)%every == 0 && p.high[x]-p.low[x] < 6*half {
			p.marker(style, float64(x)+0.5, float64(p.low[x]+p.high[x])/2, c)
		}
	}
}

// on reports whether the pattern of a style has a line in a column.
func (p *pen) on(style int, column int64) bool {
	pattern := patterns[style%len(patterns)]
	all := 0.0
	for _, l := range pattern {
		all += l * p.scale
	}
	if all == 0 {
		return true
	}
	at := math.Mod(float64(column%(1<<40)), all)
	for i, l := range pattern {
		if at < l*p.scale {
			return i%2 == 0
		}
		at -= l * p.scale
	}
	return false
}

// shapes tell whether a place, from -1 to 1 in both directions, is inside a marker.
var shapes = [CourseStyles]func(x, y float64) bool{
	func(x, y float64) bool { return x*x+y*y <= 1 },                             // a disc
	func(x, y float64) bool { return max(math.Abs(x), math.Abs(y)) <= 0.86 },    // a square
	func(x, y float64) bool { return y <= 0.8 && math.Abs(x) <= (y+1)*0.58 },    // a triangle on its base
	func(x, y float64) bool { return math.Abs(x)+math.Abs(y) <= 1.1 },           // a square on its corner
	func(x, y float64) bool { return min(math.Abs(x), math.Abs(y)) <= 0.3 },     // an upright cross
	func(x, y float64) bool { return math.Abs(math.Abs(x)-math.Abs(y)) <= 0.4 }, // a lying cross
	func(x, y float64) bool { return -y <= 0.8 && math.Abs(x) <= (1-y)*0.58 },   // a triangle on its point
	func(x, y float64) bool { r := x*x + y*y; return r <= 1 && r >= 0.3 },       // a ring
}

// marker draws the shape of a style around a point.
func (p *pen) marker(style int, x, y float64, c color.NRGBA) {
	const fine = 3 // each pixel is looked at in fine times fine places
	r := markerEdge * p.scale / 2
	inside := shapes[style%CourseStyles]
	for py := int(y - r - 1); float64(py) <= y+r+1; py++ {
		for px := int(x - r - 1); float64(px) <= x+r+1; px++ {
			n := 0
			for k := range fine * fine {
				sx := (float64(px) + (float64(k%fine)+0.5)/fine - x) / r
				sy := (float64(py) + (float64(k/fine)+0.5)/fine - y) / r
				if max(math.Abs(sx), math.Abs(sy)) <= 1 && inside(sx, sy) {
					n++
				}
			}
			p.dot(px, py, c, float32(n)/(fine*fine))
		}
	}
}
