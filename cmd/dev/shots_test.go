package main

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// The README shows pictures that are there, none is there that it or a script does not know, and none is too large.
func TestPictures(t *testing.T) {
	p, err := findProject(io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile(filepath.Join(p.root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	var made []string
	for _, a := range albums() {
		for _, name := range a.kept {
			made = append(made, name+".png")
		}
	}
	shown := readmePictures(string(readme))
	if len(shown) == 0 {
		t.Error("the README shows no picture")
	}
	for _, name := range shown {
		if !slices.Contains(made, name) {
			t.Errorf("the README shows %s, which no script takes", name)
		}
	}
	folder := filepath.Join(p.root, filepath.FromSlash(picturesFolder))
	for _, name := range made {
		content, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Error(err)
			continue
		}
		if picture, err := png.Decode(bytes.NewReader(content)); err != nil || len(content) > pictureLimit || !drawn(picture) {
			t.Errorf("%s has %d bytes: %v", name, len(content), err)
		}
	}
	entries, err := os.ReadDir(folder)
	if err != nil || len(entries) != len(made) {
		t.Errorf("%d files in %s, want %d: %v", len(entries), picturesFolder, len(made), err)
	}
}

// No colour changes where 256 are enough; of more, the most frequent ones stay and the others become their nearest.
func TestWithTable(t *testing.T) {
	for _, colours := range []int{2, 256, 300} {
		p := image.NewRGBA(image.Rect(10, 10, 50, 50))
		shade := func(i int) color.RGBA {
			n := i % colours
			if i >= 1200 && n >= 200 {
				n = 0 // those from 200 on are seldom
			}
			return color.RGBA{uint8(n), uint8(n >> 4), 7, 0xFF}
		}
		for i := range 40 * 40 {
			p.SetRGBA(10+i%40, 10+i/40, shade(i))
		}
		got := withTable(p)
		for i := range 40 * 40 {
			want, is := shade(i), got.At(i%40, i/40).(color.RGBA)
			if off := max(want.R, is.R) - min(want.R, is.R); off > 0 && (colours <= 256 || off > 60 || i%colours < 200) {
				t.Fatalf("%d colours: point %d is %v, was %v", colours, i, is, want)
			}
		}
		if len(got.Palette) != min(colours, 256) {
			t.Errorf("%d colours: a table of %d", colours, len(got.Palette))
		}
	}
}

// readmePictures are the files in the folder of pictures that a text shows.
func readmePictures(text string) []string {
	var out []string
	for _, part := range strings.Split(text, "]("+picturesFolder+"/")[1:] {
		name, _, _ := strings.Cut(part, ")")
		out = append(out, name)
	}
	return out
}
