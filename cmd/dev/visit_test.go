package main

import (
	"image"
	"image/color"
	"slices"
	"testing"
)

// TestOutlines: two boxes, one close under the other, are two; what lies between them is none.
func TestOutlines(t *testing.T) {
	want := color.RGBA{0x0B, 0x5A, 0x69, 0xFF}
	p := image.NewRGBA(image.Rect(0, 0, 200, 200))
	boxes := []image.Rectangle{image.Rect(20, 10, 120, 42), image.Rect(15, 76, 115, 108)}
	for _, b := range boxes {
		for y := b.Min.Y; y < b.Max.Y; y++ {
			for x := b.Min.X; x < b.Max.X; x++ {
				if x < b.Min.X+2 || x >= b.Max.X-2 || y < b.Min.Y+2 || y >= b.Max.Y-2 {
					p.Set(x, y, want)
				}
			}
		}
	}
	got := outlines(p, want)
	if len(got) != 2 || !slices.EqualFunc(got, boxes, func(a, b image.Rectangle) bool { return a.Min == b.Min && a.Max.X == b.Max.X && a.Max.Y >= b.Max.Y-1 }) {
		t.Errorf("found %v in %v", got, boxes)
	}
}
