package look

import (
	"encoding/binary"
	"math"
	"slices"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/canvas"
)

// Heights of the Go fonts in parts of their size; all styles share them (tables hhea and glyf of the fonts).
const (
	ascent  = 1935.0 / 2048
	descent = 432.0 / 2048
	depth   = 420.0 / 2048 // of g, the lowest letter
)

// roomyDescent is the room under the base line that the painter is told of, in units of 1/2048.
const roomyDescent = 700

// roomy is a font with more room under its base line; the letters stay as they are. On a screen of scale 1 the
// painter rounds the ascent of a line up and its height to the nearest row, which at most sizes leaves no row for the
// lowest part of g and j.
func roomy(ttf []byte) []byte {
	b := slices.Clone(ttf)
	if t := table(b, "hhea"); len(t) >= 8 {
		down := int16(-roomyDescent)
		binary.BigEndian.PutUint16(t[6:8], uint16(down)) // descender
	}
	return b
}

// table is the part of a TrueType font that holds a table, nil when there is none.
func table(ttf []byte, tag string) []byte {
	if len(ttf) < 12 {
		return nil
	}
	for i := range int(binary.BigEndian.Uint16(ttf[4:6])) {
		at := 12 + 16*i
		if at+16 > len(ttf) || string(ttf[at:at+4]) != tag {
			continue
		}
		from, size := binary.BigEndian.Uint32(ttf[at+8:]), binary.BigEndian.Uint32(ttf[at+12:])
		if uint64(from)+uint64(size) <= uint64(len(ttf)) {
			return ttf[from : from+size]
		}
	}
	return nil
}

// snap moves a length to the grid of the screen: letters that stand between two of its rows are blurred.
func snap(v float32) float32 { return float32(math.Round(float64(v))) }

// baseline is where the base line of a row of type stands in a height, so that the row looks centred.
func baseline(size, height float32) float32 {
	return snap((height-(ascent+descent)*size)/2 + ascent*size)
}

// set puts a text with its left edge at x, its base line at y.
func set(t *canvas.Text, x, y float32) {
	m := t.MinSize()
	_, up := fyne.CurrentApp().Driver().RenderedTextSize(t.Text, t.TextSize, t.TextStyle, t.FontSource)
	t.Move(fyne.NewPos(snap(x), y-float32(math.Ceil(float64(up)))))
	t.Resize(m)
}

// centre puts a text into the middle of a box.
func centre(t *canvas.Text, x, y, width, height float32) {
	set(t, x+(width-t.MinSize().Width)/2, snap(y)+baseline(t.TextSize, height))
}
