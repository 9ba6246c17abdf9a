package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"strings"
	"time"
)

// Colours of the light palette that a script looks for.
var (
	accent = color.RGBA{0x0B, 0x5C, 0x6B, 0xFF} // buttons that go on
	alert  = color.RGBA{0xA6, 0x3D, 0x1E, 0xFF} // what is happening now
)

// request is what the script sends: the practice car's charging module forgets its codes. word is the first of its
// read-back words.
const (
	request = "7E5 04 14 FF FF FF 55 55 55"
	word    = "snow"
)

// wholeVisit clicks and types through a visit to the practice car, as its owner would: connect, read, write the
// request, put the latches in line, hold the key, and read what came of it. The logbook must then say the same.
func wholeVisit(ctx context.Context, d *desk) error {
	if err := d.Window(ctx, windowTitle); err != nil {
		return err
	}
	left, top, err := d.Origin(ctx, windowTitle)
	if err != nil {
		return err
	}
	at := func(x, y int) image.Point { return image.Pt(left+x, top+y) }
	click := func(p image.Point) error { return d.Click(ctx, p.X, p.Y) }
	goOn := func(name string, limit time.Duration) error {
		var button image.Point
		if err := d.Until(ctx, name, limit, func(p image.Image) bool {
			var ok bool
			button, ok = wideBlock(p, accent)
			return ok
		}); err != nil {
			return err
		}
		return click(button)
	}
	steps := []func() error{
		func() error { return goOn("visit-1-link", 30*time.Second) },
		func() error { return goOn("visit-2-before-reading", 10*time.Second) },
		func() error {
			return d.Until(ctx, "visit-3-codes", time.Minute, func(p image.Image) bool { return count(p, alert) > 150 })
		},
		func() error { return d.Key(ctx, "ctrl+4") },
		func() error { return d.Pause(ctx, 2*time.Second) }, // a busy computer takes a moment to turn the page
		func() error { return click(at(500, 120)) },
		func() error { return d.Pause(ctx, time.Second) },
		func() error { return d.Type(ctx, request) },
		func() error {
			return d.Until(ctx, "visit-4-request", 10*time.Second, func(p image.Image) bool {
				// The identifier stands in a dark block below the field.
				return p.At(left+275, top+240) == color.RGBA{0x18, 0x24, 0x2C, 0xFF}
			})
		},
		func() error { return d.Key(ctx, "ctrl+5") },
		func() error {
			return d.Until(ctx, "visit-5-gate-closed", 20*time.Second, func(p image.Image) bool { return count(p, accent) > 4*30*80 })
		},
		func() error { return click(at(853, 475)) }, // the cable is out
		func() error { return d.Pause(ctx, time.Second) },
		func() error { return click(at(861, 583)) }, // the note about the brakes is read
		func() error { return d.Pause(ctx, time.Second) },
		func() error { return click(at(820, 640)) },
		func() error { return d.Type(ctx, word) },
		func() error {
			return d.Until(ctx, "visit-6-gate-open", 20*time.Second, func(p image.Image) bool { _, ok := wideBlock(p, accent); return ok })
		},
		func() error { return d.Hold(ctx, at(392, 702), 3*time.Second) },
		func() error {
			return d.Until(ctx, "visit-7-read-back", time.Minute, func(p image.Image) bool {
				b, ok := wideBlock(p, accent)
				return ok && b.Y > top+400
			})
		},
		func() error { return d.logbookSays(ctx) },
	}
	for i, step := range steps {
		if err := step(); err != nil {
			return fmt.Errorf("step %d: %w", i+1, err)
		}
	}
	return nil
}

// logbookSays reads the logbook of this run with the terminal program: one change, accepted, and read back.
func (d *desk) logbookSays(ctx context.Context) error {
	if err := d.j.build(ctx, nil, "readback-cli"); err != nil {
		return err
	}
	text, err := d.j.output(ctx, d.environ(), d.j.binary("readback-cli"), "--json", "history")
	if err != nil {
		return err
	}
	var doc struct {
		Cars []struct {
			Journal []struct {
				Request, Outcome string
				ReadBack         int64
			}
		}
	}
	if err := json.NewDecoder(strings.NewReader(text)).Decode(&doc); err != nil {
		return fmt.Errorf("the logbook: %w", err)
	}
	if len(doc.Cars) != 1 || len(doc.Cars[0].Journal) != 1 {
		return fmt.Errorf("the logbook holds something else than one car with one change:\n%s", text)
	}
	if j := doc.Cars[0].Journal[0]; j.Request != "7E5#0414FFFFFF555555" || j.Outcome != "accepted" || j.ReadBack == 0 {
		return errors.New("the logbook does not say that the request was accepted and read back:\n" + text)
	}
	return nil
}

// everyPage turns the pages by keyboard and takes their pictures.
func everyPage(ctx context.Context, d *desk) error {
	if err := d.Window(ctx, windowTitle); err != nil {
		return err
	}
	if err := d.Until(ctx, "opens", 20*time.Second, drawn); err != nil {
		return err
	}
	for i, name := range []string{"car", "cable", "link", "codes", "request", "gate", "read-back"} {
		if err := d.Key(ctx, fmt.Sprintf("ctrl+%d", i)); err != nil {
			return err
		}
		if err := d.Pause(ctx, time.Second); err != nil {
			return err
		}
		if err := d.Until(ctx, "page-"+name, 5*time.Second, drawn); err != nil {
			return err
		}
	}
	return nil
}

// wideBlock finds the first block of one colour that is as large as a button: at least 90 points wide and 20 high.
func wideBlock(p image.Image, want color.Color) (middle image.Point, ok bool) {
	const width, height = 90, 20
	b := p.Bounds()
	for y := b.Min.Y; y < b.Max.Y-height; y += 4 {
		run := 0
		for x := b.Min.X; x < b.Max.X; x++ {
			if !same(p.At(x, y), want) {
				run = 0
				continue
			}
			if run++; run < width {
				continue
			}
			if m := image.Pt(x-width/2, y+height/2); same(p.At(x, y+height), want) && same(p.At(x-width+1, y+height), want) {
				return m, true
			}
		}
	}
	return middle, false
}

func same(a, b color.Color) bool {
	r, g, bl, _ := a.RGBA()
	r2, g2, b2, _ := b.RGBA()
	return r>>8 == r2>>8 && g>>8 == g2>>8 && bl>>8 == b2>>8
}

func count(p image.Image, want color.Color) (n int) {
	b := p.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if same(p.At(x, y), want) {
				n++
			}
		}
	}
	return n
}
