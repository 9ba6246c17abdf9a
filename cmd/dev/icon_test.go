package main

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/png"
	"testing"
)

// Each point is the mean of what it covers, weighed by how much of it shows.
func TestShrink(t *testing.T) {
	p := image.NewNRGBA(image.Rect(0, 0, 3, 3))
	for i := range 9 {
		p.SetNRGBA(i%3, i/3, color.NRGBA{90, 90, 90, 255})
	}
	p.SetNRGBA(0, 0, color.NRGBA{180, 90, 0, 255})
	p.SetNRGBA(2, 2, color.NRGBA{0, 0, 0, 0})
	got := shrink(p, 1).NRGBAAt(0, 0)
	// 8 of 9 points show: 255*8/9 = 226.7; red of them (180+7*90)/8 = 101.25, green 90, blue 7*90/8 = 78.75.
	near := func(a uint8, b float64) bool { return float64(a)-b < 1.01 && b-float64(a) < 1.01 }
	if !near(got.A, 226.7) || !near(got.R, 101.25) || !near(got.G, 90) || !near(got.B, 78.75) {
		t.Errorf("the mean is %v", got)
	}
	half := shrink(p, 2).NRGBAAt(1, 0) // covers 1.5 by 1.5 points of one colour
	if half != (color.NRGBA{90, 90, 90, 255}) {
		t.Errorf("a corner is %v", half)
	}
}

// The layout is that of Microsoft's ICONDIR and BITMAPINFOHEADER.
func TestIco(t *testing.T) {
	p := image.NewNRGBA(image.Rect(0, 0, 256, 256))
	for i := range p.Pix {
		p.Pix[i] = 0xFF
	}
	for y := range 16 {
		for x := range 16 {
			p.SetNRGBA(x, y, color.NRGBA{}) // the corner is seen through
		}
	}
	ico, err := icoOf(p, []int{16, 256})
	if err != nil {
		t.Fatal(err)
	}
	le := binary.LittleEndian
	if le.Uint16(ico) != 0 || le.Uint16(ico[2:]) != 1 || le.Uint16(ico[4:]) != 2 {
		t.Fatalf("head % X", ico[:6])
	}
	small, large := ico[6:22], ico[22:38]
	if small[0] != 16 || large[0] != 0 || le.Uint16(small[6:]) != 32 {
		t.Errorf("entries % X and % X", small, large)
	}
	at, size := le.Uint32(small[12:]), le.Uint32(small[8:])
	bitmap := ico[at : at+size]
	if at != 38 || size != 40+16*16*4+16*4 || le.Uint32(bitmap[4:]) != 16 || le.Uint32(bitmap[8:]) != 32 {
		t.Errorf("a bitmap of %d bytes at %d: % X", size, at, bitmap[:40])
	}
	// The upper row is the last one, in the picture and in the mask.
	if top := bitmap[40+15*16*4:]; top[3] != 0 || top[7] != 0xFF {
		t.Errorf("the upper row begins with % X", top[:8])
	}
	if mask := bitmap[40+16*16*4:]; mask[15*4] != 0x80 || mask[0] != 0 {
		t.Errorf("mask % X", mask)
	}
	at = le.Uint32(large[12:])
	if q, err := png.Decode(bytes.NewReader(ico[at:])); err != nil || q.Bounds().Dx() != 256 {
		t.Errorf("the large picture: %v", err)
	}
}
