package app

import (
	"readback/app/look"
	"readback/diag/quantity"
)

// Taste is what the owner has chosen for the window itself.
type Taste struct {
	Shade    look.Shade      `json:"shade"`
	Factor   float32         `json:"textSize"`
	Language string          `json:"language,omitempty"` // a tag of the catalogue, "" for the system's
	Report   string          `json:"report,omitempty"`   // the language of reports as a tag, "" for that of the window
	Units    quantity.Choice `json:"units"`
	Folders  Folders         `json:"folders"`
	Width    int             `json:"width,omitempty"` // of the window when it was closed, in units of the screen's scale
	Height   int             `json:"height,omitempty"`
}

// Folders are where files are kept and looked for; "" is the usual place.
type Folders struct {
	Logbook    string `json:"logbook,omitempty"`
	Recordings string `json:"recordings,omitempty"` // where a recording is looked for first
	Last       string `json:"last,omitempty"`       // where a file was chosen last
	Reports    string `json:"reports,omitempty"`    // where reports, back-ups and cars' files are written and looked for first
}

// taste changes the look of the window.
func (w *Window) taste(t Taste) {
	w.opt.Taste = t
	w.reunit()
	w.theme.Shade, w.theme.Factor = t.Shade, t.Factor
	w.app.Settings().SetTheme(w.theme)
	w.draw()
	w.keepTaste()
}

// keepTaste has the choices written down.
func (w *Window) keepTaste() {
	if w.opt.Keep != nil {
		w.opt.Keep(w.opt.Taste)
	}
}

// factorAt is the place of the text size in the list of those that can be chosen.
func (w *Window) factorAt() int {
	at := look.OrdinaryFactor
	for i, f := range look.Factors {
		if w.opt.Taste.Factor >= f {
			at = i
		}
	}
	if w.opt.Taste.Factor == 0 {
		return look.OrdinaryFactor
	}
	return at
}

// resizeText makes the text larger or smaller by some steps; by 0 it gets its ordinary size.
func (w *Window) resizeText(by int) {
	at := max(0, min(w.factorAt()+by, len(look.Factors)-1))
	if by == 0 {
		at = look.OrdinaryFactor
	}
	t := w.opt.Taste
	t.Factor = look.Factors[at]
	w.taste(t)
}

func (w *Window) shade(s look.Shade) {
	t := w.opt.Taste
	t.Shade = s
	w.taste(t)
}
