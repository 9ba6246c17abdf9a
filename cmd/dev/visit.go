package main

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"slices"
	"time"
)

// Colours of the light palette that a script looks for.
var (
	accent = color.RGBA{0x0B, 0x5C, 0x6B, 0xFF} // buttons that go on
	alert  = color.RGBA{0xA6, 0x3D, 0x1E, 0xFF} // what is happening now
	edge   = color.RGBA{0x7C, 0x86, 0x8B, 0xFF} // outlines of fields
	plate  = color.RGBA{0x18, 0x24, 0x2C, 0xFF} // the identifier of a request, and the strip
)

// request is what the script sends: the practice car's charging module forgets its codes. word is the first of its
// read-back words.
const (
	request = "7E5 04 14 FF FF FF 55 55 55"
	word    = "snow"
)

// hands are how somebody works the window: by pointer or by keyboard.
type hands struct {
	page    func(n int) error // turn to the page of a step
	press   func() error      // press the button that goes on
	field   func() error      // go to the page's next field
	state   func() error      // make the next statement at the gate
	holdKey func() error      // hold the key of the gate
}

// byPointer turns pages in the rail and clicks; only letters come from the keyboard.
func (d *desk) byPointer(ctx context.Context) hands {
	click := func(find func(image.Image) (image.Point, bool)) error {
		var p image.Point
		if err := d.Until(ctx, "visit-pointer", 20*time.Second, func(picture image.Image) bool {
			var ok bool
			p, ok = find(picture)
			return ok
		}); err != nil {
			return err
		}
		return d.Click(ctx, p.X, p.Y)
	}
	first := func(c color.Color) func(image.Image) (image.Point, bool) {
		return func(p image.Image) (image.Point, bool) {
			boxes := outlines(p, c)
			if len(boxes) == 0 {
				return image.Point{}, false
			}
			return boxes[0].Min.Add(boxes[0].Size().Div(2)), true
		}
	}
	stated := 0
	return hands{
		page: func(n int) error {
			return click(func(p image.Image) (image.Point, bool) { return railStep(p, n) })
		},
		press: func() error {
			return click(func(p image.Image) (image.Point, bool) { return wideBlock(p, accent) })
		},
		field: func() error { return click(first(edge)) },
		state: func() error {
			stated++
			return click(func(p image.Image) (image.Point, bool) {
				boxes := outlines(p, accent)
				if len(boxes) < stated {
					return image.Point{}, false
				}
				return boxes[stated-1].Min.Add(boxes[stated-1].Size().Div(2)), true
			})
		},
		holdKey: func() error {
			var p image.Point
			if err := d.Until(ctx, "visit-gate-open", 20*time.Second, func(picture image.Image) (ok bool) {
				p, ok = wideBlock(picture, accent)
				return ok
			}); err != nil {
				return err
			}
			return d.Hold(ctx, p, 3*time.Second)
		},
	}
}

// byKeyboard never touches the pointer.
func (d *desk) byKeyboard(ctx context.Context) hands {
	keys := func(names ...string) func() error {
		return func() error {
			for _, name := range names {
				if err := errors.Join(d.Key(ctx, name), d.Pause(ctx, 300*time.Millisecond)); err != nil {
					return err
				}
			}
			return nil
		}
	}
	return hands{
		page:  func(n int) error { return d.Key(ctx, fmt.Sprintf("ctrl+%d", n)) },
		press: keys("Tab", "Return"),
		field: keys("Tab"),
		state: keys("Tab", "space"),
		holdKey: func() error {
			if err := keys("Tab")(); err != nil {
				return err
			}
			if _, err := d.xdotool(ctx, "keydown", "space"); err != nil {
				return err
			}
			if err := d.Pause(ctx, 3*time.Second); err != nil {
				return err
			}
			_, err := d.xdotool(ctx, "keyup", "space")
			return err
		},
	}
}

func hasButton(p image.Image) bool { _, ok := wideBlock(p, accent); return ok }

// wholeVisit goes through a visit to the practice car, as its owner would: connect, read, write the request, put the
// latches in line, hold the key, and read what came of it. The logbook must then say the same.
func wholeVisit(how func(*desk, context.Context) hands) func(context.Context, *desk) error {
	return func(ctx context.Context, d *desk) error {
		h := how(d, ctx)
		if err := d.toGate(ctx, h); err != nil {
			return err
		}
		return inOrder(
			h.holdKey,
			func() error {
				var told error
				err := d.until(ctx, 90*time.Second, func() (bool, error) {
					told = d.logbookSays(ctx)
					return told == nil, nil
				})
				return errors.Join(err, told)
			},
			func() error { return d.Until(ctx, "visit-read-back", 10*time.Second, drawn) },
		)
	}
}

// toGate goes through a visit until all latches are in line.
func (d *desk) toGate(ctx context.Context, h hands) error {
	settle := func() error { return d.Pause(ctx, time.Second) }
	turn := func(n int) func() error {
		return func() error {
			before, err := d.Shot(ctx, "visit-turning")
			if err != nil {
				return err
			}
			if err := h.page(n); err != nil {
				return err
			}
			if err := d.Until(ctx, "visit-turning", 20*time.Second, func(now image.Image) bool { return changed(before, now) > 5000 }); err != nil {
				return err
			}
			return settle()
		}
	}
	return inOrder(
		func() error { return d.Window(ctx, windowTitle) },
		func() error { return d.Until(ctx, "visit-link", 30*time.Second, hasButton) },
		turn(3),
		h.press,
		func() error {
			return d.Until(ctx, "visit-codes", 90*time.Second, func(p image.Image) bool { return !hasButton(p) && count(p, alert) > 50 })
		},
		turn(4),
		func() error { return d.Type(ctx, request) }, // the page takes what is typed
		func() error {
			return d.Until(ctx, "visit-request", 20*time.Second, func(p image.Image) bool {
				b, ok := block(p, plate, 60) // the identifier stands in a dark block below the field
				return ok && b.Y < p.Bounds().Dy()/2
			})
		},
		settle,
		turn(5),
		func() error {
			return d.Until(ctx, "visit-gate-closed", 20*time.Second, func(p image.Image) bool { return count(p, accent) > 4*30*55 })
		},
		settle,
		h.state, // the cable is out
		settle,
		h.state, // the note about the brakes is read
		settle,
		h.field,
		settle,
		func() error { return d.Type(ctx, word) },
		func() error {
			return d.Until(ctx, "visit-gate-open", 20*time.Second, func(p image.Image) bool { return count(p, alert) < 20 })
		},
	)
}

func inOrder(steps ...func() error) error {
	for i, step := range steps {
		if err := step(); err != nil {
			return fmt.Errorf("step %d: %w", i+1, err)
		}
	}
	return nil
}

// logbookSays: one change, accepted, and read back.
func (d *desk) logbookSays(ctx context.Context) error {
	journal, err := d.journal(ctx)
	if err != nil {
		return err
	}
	return oneChange(journal)
}

// oneChange wants the change of the visit in a journal, and no other.
func oneChange(journal []journalRow) error {
	if len(journal) != 1 {
		return fmt.Errorf("the logbook holds something else than one change: %+v", journal)
	}
	if j := journal[0]; j.Request != "7E5#0414FFFFFF555555" || j.Outcome != "accepted" || j.ReadBack == 0 {
		return fmt.Errorf("the logbook does not say that the request was accepted and read back: %+v", j)
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

// outlines finds boxes with an outline of one colour that are as large as a button or a field: at least 60 points wide
// and between 24 and 70 high. The upper ones come first.
func outlines(p image.Image, want color.Color) []image.Rectangle {
	const width, low, high, stroke = 60, 24, 70, 2
	b := p.Bounds()
	line := func(x, y int) bool {
		for i := range width {
			if x+i >= b.Max.X || !near(p.At(x+i, y), want) {
				return false
			}
		}
		return true
	}
	var out []image.Rectangle
	for y := b.Min.Y; y < b.Max.Y-low; y++ {
		for x := b.Min.X; x < b.Max.X-width; x++ {
			if !line(x, y) {
				continue
			}
			end := x
			for end < b.Max.X && near(p.At(end, y), want) {
				end++
			}
			for under := y + low; under < min(y+high, b.Max.Y); under++ {
				box := image.Rect(x, y, end, under+stroke) // its lower line begins no other
				if line(x, under) && !near(p.At(x+width/2, y+low/2), want) && !slices.ContainsFunc(out, box.Overlaps) {
					out = append(out, box)
					break
				}
			}
			x = end
		}
	}
	return out
}

// railStep is where a step of the visit stands in the rail: each has a round mark at the left, a ring or a disc.
func railStep(p image.Image, n int) (image.Point, bool) {
	b := p.Bounds()
	begin, seen := -1, 0
	for y := b.Min.Y + 25; y < b.Max.Y-65; y++ { // below what may lie above the window, and above the strip
		dark := false
		for x := b.Min.X + 20; x < b.Min.X+48; x++ {
			r, g, bl, _ := p.At(x, y).RGBA()
			dark = dark || (r+g+bl)/3>>8 < 0xB0
		}
		if dark && begin < 0 {
			begin = y
		}
		if dark || begin < 0 {
			continue
		}
		if high := y - begin; high >= 18 && high <= 26 {
			if seen++; seen == n {
				return image.Pt(b.Min.X+80, begin+high/2), true
			}
		}
		begin = -1
	}
	return image.Point{}, false
}

// wideBlock finds the first block of one colour that is as large as a button.
func wideBlock(p image.Image, want color.Color) (middle image.Point, ok bool) {
	return block(p, want, 90)
}

// block finds the first block of one colour: at least so wide, and 20 points high.
func block(p image.Image, want color.Color, width int) (middle image.Point, ok bool) {
	const height = 20
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
			if thick(p, want, x-width+1, x, y) && same(p.At(x, y+height), want) && same(p.At(x-width+1, y+height), want) {
				return image.Pt(x-width/2, y+height/2), true
			}
		}
	}
	return middle, false
}

// thick tells a block from a line with something at both of its ends.
func thick(p image.Image, want color.Color, from, to, y int) bool {
	const line = 6
	for x := from; x <= to; x++ {
		if !same(p.At(x, y+line), want) {
			return false
		}
	}
	return true
}

// near: thin lines are mixed with their ground.
func near(a, b color.Color) bool {
	r, g, bl, _ := a.RGBA()
	r2, g2, b2, _ := b.RGBA()
	off := func(x, y uint32) bool { return max(x, y)-min(x, y) > 0x2D00 }
	return !off(r, r2) && !off(g, g2) && !off(bl, b2)
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
