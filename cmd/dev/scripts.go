package main

import (
	"context"
	"fmt"
	"image"
	"time"
)

// windowTitle is what the title of Readback's window begins with.
const windowTitle = "^Readback"

// windowScripts are played one after the other, each with a program and a screen of its own.
func windowScripts() []windowScript {
	return []windowScript{
		{name: "opens", width: 1280, height: 820, theme: "light", do: windowOpens},
		{name: "pages", width: 1024, height: 700, theme: "dark", do: everyPage},
		{name: "pages", width: 1024, height: 700, theme: "light", do: everyPage},
		{name: "visit", width: 1280, height: 900, theme: "light", do: wholeVisit((*desk).byPointer)},
		{name: "visit-by-keyboard", width: 1024, height: 700, theme: "light", do: wholeVisit((*desk).byKeyboard)},
		stormScript(30*time.Second, 1),
	}
}

// windowOpens: the window comes up, fits the screen, and something is drawn in it.
func windowOpens(ctx context.Context, d *desk) error {
	if err := d.Window(ctx, windowTitle); err != nil {
		return err
	}
	if err := d.Until(ctx, "opens", 20*time.Second, drawn); err != nil {
		return err
	}
	width, height, err := d.Size(ctx, windowTitle)
	if err != nil {
		return err
	}
	var screenWidth, screenHeight int
	if _, err := fmt.Sscanf(d.size, "%dx%d", &screenWidth, &screenHeight); err != nil {
		return err
	}
	if width > screenWidth || height > screenHeight {
		return fmt.Errorf("the window is %dx%d, larger than its screen", width, height)
	}
	return nil
}

// drawn reports a picture with text in it: an empty window, and a screen without one, have a few colours at most,
// and smoothed letters dozens.
func drawn(picture image.Image) bool {
	const enough = 40
	colours := map[[3]uint32]bool{}
	b := picture.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			r, g, bl, _ := picture.At(x, y).RGBA()
			colours[[3]uint32{r, g, bl}] = true
			if len(colours) >= enough {
				return true
			}
		}
	}
	return false
}
