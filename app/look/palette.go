package look

import (
	"image/color"

	"fyne.io/fyne/v2"
)

// Names of the colours, for [fyne.Theme].
const (
	Paper     fyne.ThemeColorName = "paper"     // the page and the margin
	Rail      fyne.ThemeColorName = "rail"      // the left rail
	Card      fyne.ThemeColorName = "card"      // cards on the page
	Line      fyne.ThemeColorName = "line"      // hair lines; they carry no meaning
	Edge      fyne.ThemeColorName = "edge"      // outlines of things that act, 3:1 on their ground
	Ink       fyne.ThemeColorName = "ink"       // text
	Soft      fyne.ThemeColorName = "soft"      // second text
	Accent    fyne.ThemeColorName = "accent"    // what acts, what is done
	OnAccent  fyne.ThemeColorName = "on-accent" // text on Accent
	Alert     fyne.ThemeColorName = "alert"     // there now, open
	Amber     fyne.ThemeColorName = "amber"     // doubt
	Danger    fyne.ThemeColorName = "danger"    // wrong
	Tint      fyne.ThemeColorName = "tint"      // ground of what is selected
	AlertTint fyne.ThemeColorName = "alert-tint"
	Plate     fyne.ThemeColorName = "plate"      // the strip, the sent bubble, the identifier in the ribbon
	OnPlate   fyne.ThemeColorName = "on-plate"   // text on Plate
	PlateSoft fyne.ThemeColorName = "plate-soft" // second text on Plate
	Idle      fyne.ThemeColorName = "idle"       // ground of a button that waits for something
	OnIdle    fyne.ThemeColorName = "on-idle"    // text on Idle
)

// CourseColours are the colours of the lines in a [Plot], by their styles.
var CourseColours = [CourseStyles]fyne.ThemeColorName{"course-1", "course-2", "course-3", "course-4", "course-5", "course-6", "course-7", "course-8"}

// Palette is one set of colours.
type Palette map[fyne.ThemeColorName]color.NRGBA

func hex(v uint32) color.NRGBA {
	return color.NRGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 0xFF}
}

// Light and Dark are the two palettes of the program.
var (
	Light = Palette{
		Paper: hex(0xF6F4EE), Rail: hex(0xECE8DD), Card: hex(0xFFFFFF), Line: hex(0xD8D3C7), Edge: hex(0x7C868B),
		Ink: hex(0x18242C), Soft: hex(0x55636B), Accent: hex(0x0B5C6B), OnAccent: hex(0xFFFFFF),
		Alert: hex(0xA63D1E), Amber: hex(0x8C5E00), Danger: hex(0x8B1A2B),
		Tint: hex(0xE7F0F0), AlertTint: hex(0xF8ECE7),
		Plate: hex(0x18242C), OnPlate: hex(0xFFFFFF), PlateSoft: hex(0xC3CCD1),
		Idle: hex(0xD5CFC1), OnIdle: hex(0x4A555B),
		"course-1": hex(0x0B5C6B), "course-2": hex(0x9A3A00), "course-3": hex(0x5A3A96), "course-4": hex(0x2F6B1F),
		"course-5": hex(0x8A1A5E), "course-6": hex(0x1C4FA0), "course-7": hex(0x765000), "course-8": hex(0x3F4A50),
	}
	Dark = Palette{
		Paper: hex(0x151C20), Rail: hex(0x10161A), Card: hex(0x1D272C), Line: hex(0x35434B), Edge: hex(0x7E8E96),
		Ink: hex(0xE9EDEB), Soft: hex(0xA9B6BC), Accent: hex(0x6BC0CE), OnAccent: hex(0x0A1A1E),
		Alert: hex(0xEE9A78), Amber: hex(0xDDAA4B), Danger: hex(0xF2929B),
		Tint: hex(0x223A40), AlertTint: hex(0x3A2822),
		Plate: hex(0x0A0F12), OnPlate: hex(0xF2F5F4), PlateSoft: hex(0xA9B6BC),
		Idle: hex(0x35434B), OnIdle: hex(0xC9D2D6),
		"course-1": hex(0x6BC0CE), "course-2": hex(0xF0A06A), "course-3": hex(0xBBA4F2), "course-4": hex(0x93CC7E),
		"course-5": hex(0xF096C4), "course-6": hex(0x93B8F5), "course-7": hex(0xDDB35A), "course-8": hex(0xCAD3D7),
	}
)
