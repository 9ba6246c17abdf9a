package app

import (
	"context"
	"errors"
	"slices"
	"strings"

	"readback/diag"
	"readback/diag/cable"
)

// wiringText is how the wiring of the owner's cable is kept with a car: its kind, and the pins where they are the owner's own.
func (c *cableState) wiringText() string {
	if c.kind == wiredOwn {
		return strings.TrimSpace(string(wiredOwn) + " " + c.own.String())
	}
	return string(c.kind)
}

// takeWiring shows a wiring that was kept. One that can't be read changes nothing.
func (c *cableState) takeWiring(text string) error {
	kind, pins, _ := strings.Cut(text, " ")
	if !slices.Contains(wiringKinds, wiringKind(kind)) {
		return cable.ErrWiring
	}
	own, err := cable.ParseWiring(pins)
	if err != nil {
		return err
	}
	c.kind, c.waiting = wiringKind(kind), 0
	if c.kind == wiredOwn {
		c.own = own
	}
	return nil
}

// rewired keeps the wiring that the owner has just told, with the car once it is known which one it is.
func (w *Window) rewired() {
	w.cable.told = true
	w.keepWiring()
	w.draw()
}

// keepWiring writes down the wiring that the owner has told and that is not kept yet.
func (w *Window) keepWiring() {
	c, id := &w.cable, w.car().ID
	if !c.told || id == 0 || w.engine.Log == nil {
		return
	}
	c.told, c.wiringOf = false, id
	text, at := c.wiringText(), w.now()
	w.act(func(ctx context.Context) func() {
		err := w.engine.Log.PutWiring(ctx, id, text, at)
		return func() { c.err = errors.Join(c.err, err) }
	})
}

// readWiring shows the wiring that was kept with the car, unless the owner has told another one since.
func (w *Window) readWiring() {
	c, id := &w.cable, w.car().ID
	if id == 0 || w.engine.Log == nil || c.told || c.wiringOf == id {
		return
	}
	c.wiringOf = id
	w.act(func(ctx context.Context) func() {
		text, err := w.engine.Log.Wiring(ctx, id)
		return func() {
			if err == nil && text != "" && !c.told && c.wiringOf == id {
				err = c.takeWiring(text)
			}
			c.err = errors.Join(c.err, err)
		}
	})
}

// keepIdentifiers writes down the identifiers that the owner has added and that a module tells, once it is known which car
// it is.
func (w *Window) keepIdentifiers() {
	l, id := &w.live, w.car().ID
	if len(l.own) == 0 || id == 0 || w.engine.Log == nil {
		return
	}
	own, at := l.own, w.now()
	l.own = nil
	w.act(func(ctx context.Context) func() {
		err := w.engine.Log.PutIdentifiers(ctx, id, own, at)
		return func() { l.askErr = errors.Join(l.askErr, err) }
	})
}

// rememberIdentifiers adds the identifiers that are kept with the car of a visit. Those beyond what a visit can hold stay
// in the logbook.
func rememberIdentifiers(ctx context.Context, log Logbook, v Visit) error {
	car := v.Car().ID
	if log == nil || car == 0 {
		return nil
	}
	ids, err := log.Identifiers(ctx, car)
	for _, id := range ids {
		if err == nil {
			err = v.AddIdentifier(id)
		}
	}
	if errors.Is(err, diag.ErrManyIdentifiers) {
		return nil
	}
	return err
}
