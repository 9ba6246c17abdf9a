package app

import (
	"context"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/garage"
)

// carState is the page of the car.
type carState struct {
	name, model, odometer *look.Field
	visits                []garage.Summary
	of                    int64      // car that visits and the fields belong to
	edited                garage.Car // as it was kept last; the zero Car when nothing was
	err                   error
	kept                  bool
}

func (w *Window) makeCarFields() {
	changed := func(string) {
		if w.cars.kept {
			w.cars.kept = false
			w.draw()
		}
	}
	w.cars.name = look.NewField("car-name", T("car.name.hint"), false, changed)
	w.cars.model = look.NewField("car-model", T("car.model.hint"), false, changed)
	w.cars.odometer = look.NewField("car-odometer", T("car.odometer.hint"), false, changed)
}

// enterCar reads the visits of the car.
func (w *Window) enterCar() {
	c := w.car()
	if c.ID == 0 || w.engine.Log == nil {
		return
	}
	if w.cars.of != c.ID {
		w.cars.of, w.cars.kept = c.ID, false
		w.cars.name.SetText(named(c.Name))
		w.cars.model.SetText(c.Model)
		w.cars.odometer.SetText(c.Odometer)
	}
	w.act(func(ctx context.Context) func() {
		visits, err := w.engine.Log.Visits(ctx, c.ID)
		return func() { w.cars.visits, w.cars.err = visits, err }
	})
}

// keepCar writes the owner's notes about the car into the logbook.
func (w *Window) keepCar() {
	id := w.car().ID
	name, model, odometer := w.cars.name.Text, w.cars.model.Text, w.cars.odometer.Text
	w.act(func(ctx context.Context) func() {
		c, err := w.engine.Log.Car(ctx, id)
		if err == nil {
			if name != "" {
				c.Name = name
			}
			c.Model, c.Odometer = model, odometer
			c, err = w.engine.Log.PutCar(ctx, c)
		}
		return func() {
			w.cars.err = err
			if err == nil {
				w.cars.edited, w.cars.kept = c, true
			}
		}
	})
}

func (w *Window) carPage() (body, margin fyne.CanvasObject) {
	c := w.car()
	margin = w.margin(T("source.car"), T("car.m.who"), T("car.m.who.text"), T("car.m.stays"), T("car.m.stays.text"))
	if c.ID == 0 {
		page, id, text := PageLink, "go-link", T("go.link")
		if w.link.visit != nil {
			page, id, text = PageCodes, "go-codes", T("go.codes")
		}
		return w.empty(T("car.none.title"), T("car.none.lead"), id, text, page), margin
	}
	s := &w.cars
	parts := []fyne.CanvasObject{w.header(named(c.Name), T("car.lead"))}
	if s.err != nil {
		parts = append(parts, look.Noted(look.Alert, look.Body(errorText(s.err))))
	}
	entry := func(label string, f *look.Field) fyne.CanvasObject {
		return look.Row(12, look.Fixed(look.Scaled(150), look.Body(label)), look.Growing(f))
	}
	number := c.VIN
	if number == "" {
		number = T("car.vin.none")
	}
	parts = append(parts, look.Boxed(look.Stack(10,
		look.Row(12, look.Fixed(look.Scaled(150), look.Body(T("car.vin"))), look.Growing(look.Styled(number, look.Style{Mono: true}))),
		entry(T("car.name"), s.name), entry(T("car.model"), s.model), entry(T("car.odometer"), s.odometer))))
	keep := []fyne.CanvasObject{look.Buttons(look.NewButton("keep-car", T("car.keep"), look.Plain, w.keepCar))}
	if s.kept {
		keep = append(keep, look.Small(T("car.kept")))
	}
	parts = append(parts, look.Stack(4, keep...), w.visitList())
	return look.Stack(16, parts...), margin
}

func (w *Window) visitList() fyne.CanvasObject {
	var rows []fyne.CanvasObject
	for _, v := range w.cars.visits {
		rows = append(rows, look.Pad(9, 14, 9, 14, w.visitText(v)))
	}
	if len(rows) == 0 {
		rows = append(rows, look.Pad(12, 14, 12, 14, look.Small(T("visit.none"))))
	}
	return look.Stack(6, look.Head(T("visit.title")), look.Rows(rows...))
}

// visitText is one visit in two lines.
func (w *Window) visitText(v garage.Summary) fyne.CanvasObject {
	sign, whole := look.MarkCheck, T("visit.whole")
	if !v.Complete {
		sign, whole = look.MarkUnknown, T("visit.part")
	}
	found := dots(N("n.codes", v.Codes), N("n.now", v.Now), N("n.modules", v.Modules))
	if v.Silent > 0 {
		found = dots(found, N("n.silent", v.Silent))
	}
	return look.Row(12, look.Natural(look.NewMark(sign, 16)),
		look.Growing(look.Stack(1, look.Body(dots(when(v.Begun, w.now()), T("visit."+string(v.Kind)))), look.Small(found))), look.Natural(look.Small(whole)))
}

// listedCar is the name of a car in a list of several.
func listedCar(c garage.Car) string {
	if c.Practice {
		return T("log.practice", "Name", named(c.Name))
	}
	return named(c.Name)
}
