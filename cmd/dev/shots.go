package main

import (
	"bytes"
	"cmp"
	"context"
	"flag"
	"fmt"
	"image"
	"image/color"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"
)

// picturesFolder is where the README's pictures are. They are not part of any program.
const picturesFolder = "assets/pictures"

// pictureLimit is the size in bytes that a picture may have: everybody who opens the README loads them.
const pictureLimit = 200_000

// album is a script with what of it is kept: the name of what is waited for, and that of the picture.
type album struct {
	script windowScript
	kept   map[string]string
}

// albums: a screen of 860 points leaves a window its whole usual height.
func albums() []album {
	return []album{
		{windowScript{name: "visit", width: 1280, height: 860, theme: "light", do: visitAndLogbook}, map[string]string{
			"visit-link": "link", "visit-logbook": "logbook", "visit-codes": "codes", "visit-request": "request", "visit-gate-open": "gate", "visit-read-back": "read-back",
		}},
		{windowScript{name: "dark", width: 1280, height: 860, theme: "dark", do: darkPages}, map[string]string{
			"dark-cable": "cable-dark", "dark-practice": "practice-dark",
		}},
	}
}

// shotsChore takes every picture anew.
func shotsChore(ctx context.Context, p *project, args []string) error {
	flags := flag.NewFlagSet("shots", flag.ContinueOnError)
	flags.SetOutput(p.out)
	to := flags.String("to", filepath.Join(p.root, filepath.FromSlash(picturesFolder)), "the folder for the pictures")
	if err := flags.Parse(args); err != nil {
		return &exit{code: exitUsage}
	}
	if flags.NArg() > 0 {
		return &exit{exitUsage, fmt.Sprintf("shots knows no %q", flags.Arg(0))}
	}
	if err := p.install(ctx, append(windowNeeds(), displayNeeds()...)); err != nil {
		return err
	}
	if err := p.build(ctx, nil, "readback"); err != nil {
		return err
	}
	if err := os.MkdirAll(*to, 0o755); err != nil {
		return err
	}
	j := &job{project: p, log: &safeBuffer{}}
	for _, a := range albums() {
		taken := map[string]bool{}
		a.script.keep = func(name string, picture image.Image) error {
			file := a.kept[name]
			if file == "" {
				return nil
			}
			taken[file] = true
			return p.keepPicture(filepath.Join(*to, file+".png"), picture)
		}
		if err := j.windowRun(ctx, a.script); err != nil {
			return fmt.Errorf("the pictures of %s: %w", a.script.name, err)
		}
		if len(taken) != len(a.kept) {
			return fmt.Errorf("%d pictures of %s were not taken", len(a.kept)-len(taken), a.script.name)
		}
	}
	return nil
}

// keepPicture writes a picture with a table of colours, and refuses one that is too large.
func (p *project) keepPicture(file string, picture image.Image) error {
	content, err := pngOf(withTable(picture))
	if err != nil {
		return err
	}
	if len(content) > pictureLimit {
		return fmt.Errorf("%s would have %d bytes; %d is the most", filepath.Base(file), len(content), pictureLimit)
	}
	fmt.Fprintf(p.out, "%s  %d kB\n", file, (len(content)+999)/1000)
	return os.WriteFile(file, content, 0o644)
}

// withTable draws a picture with its 256 most frequent colours. A page has a few dozen, and between letters and ground some
// thousand more that are seldom; each of those becomes the nearest of the 256.
func withTable(p image.Image) *image.Paletted {
	b := p.Bounds()
	opaque := func(x, y int) color.RGBA {
		r, g, bl, _ := p.At(x, y).RGBA()
		return color.RGBA{uint8(r >> 8), uint8(g >> 8), uint8(bl >> 8), 0xFF}
	}
	often := map[color.RGBA]int{}
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			often[opaque(x, y)]++
		}
	}
	colours := slices.SortedFunc(maps.Keys(often), func(a, b color.RGBA) int {
		return cmp.Or(cmp.Compare(often[b], often[a]), bytes.Compare([]byte{a.R, a.G, a.B}, []byte{b.R, b.G, b.B}))
	})
	var table color.Palette
	for _, c := range colours[:min(len(colours), 256)] {
		table = append(table, c)
	}
	place := map[color.RGBA]uint8{}
	for _, c := range colours {
		place[c] = uint8(table.Index(c))
	}
	out := image.NewPaletted(image.Rect(0, 0, b.Dx(), b.Dy()), table)
	for y := range b.Dy() {
		for x := range b.Dx() {
			out.SetColorIndex(x, y, place[opaque(b.Min.X+x, b.Min.Y+y)])
		}
	}
	return out
}

// visitAndLogbook goes through a whole visit and turns to what the logbook says of it.
func visitAndLogbook(ctx context.Context, d *desk) error {
	if err := wholeVisit((*desk).byKeyboard)(ctx, d); err != nil {
		return err
	}
	if err := d.Key(ctx, "ctrl+l"); err != nil {
		return err
	}
	if err := d.Pause(ctx, 2*time.Second); err != nil {
		return err
	}
	return d.Until(ctx, "visit-logbook", 20*time.Second, drawn)
}

// darkPages turns to two pages that show something without a visit.
func darkPages(ctx context.Context, d *desk) error {
	if err := d.Window(ctx, windowTitle); err != nil {
		return err
	}
	if err := d.Until(ctx, "dark-opens", 30*time.Second, drawn); err != nil {
		return err
	}
	for _, page := range []struct{ key, name string }{{"ctrl+1", "dark-cable"}, {"ctrl+p", "dark-practice"}} {
		if err := d.Key(ctx, page.key); err != nil {
			return err
		}
		if err := d.Pause(ctx, 2*time.Second); err != nil {
			return err
		}
		if err := d.Until(ctx, page.name, 20*time.Second, drawn); err != nil {
			return err
		}
	}
	return nil
}
