package app

import (
	"strings"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/explain"
	"readback/diag/garage"
)

// railContent is the left rail: the car, the steps of this visit, and the pages beside them.
func (w *Window) railContent() fyne.CanvasObject {
	list := []fyne.CanvasObject{}
	for i, p := range steps {
		sub, progress := w.standing(p)
		if p == w.page && progress != look.Done {
			progress = look.Here
		}
		list = append(list, look.NewStep("step "+string(p), i+1, T("step."+string(p)), sub, progress, p == w.page, func() { w.Show(p) }))
	}
	var others []fyne.CanvasObject
	for _, p := range beside {
		text := T("beside." + string(p))
		if n := len(w.logs.due); p == PageLogbook && n > 0 {
			text = N("beside.logbook.due", n)
		}
		others = append(others, look.NewButton("page "+string(p), text, look.Quiet, func() { w.Show(p) }).Chosen(p == w.page).Flush())
	}
	var own []fyne.CanvasObject
	for _, p := range around {
		own = append(own, look.NewButton("page "+string(p), T("page."+string(p)), look.Quiet, func() { w.Show(p) }).Chosen(p == w.page).Flush())
	}
	top, gap, apart := float32(14), float32(6), float32(2)
	if w.lowWindow() {
		top, gap, apart = 10, 3, 0
	}
	return look.Pad(top, 14, 4, 14, look.Stack(gap, w.carCard(), look.Stack(apart, list...), look.Hair(), look.Pad(0, -10, 0, -8, look.Pairs(0, others...)), look.Hair(), look.Pad(0, -10, 0, -8, look.Pairs(0, own...))))
}

func (w *Window) carCard() fyne.CanvasObject {
	c := w.car()
	var text []fyne.CanvasObject
	switch {
	case c.ID == 0:
		text = append(text, look.Head(T("car.none")), look.Small(T("car.none.sub")))
	default:
		text = append(text, look.Head(named(c.Name)))
		if about := dots(c.Model, unbroken(c.Odometer)); about != "" {
			text = append(text, look.Small(about))
		}
		if c.VIN != "" {
			number := func(hidden int) fyne.CanvasObject {
				return look.Styled(masked(c.VIN, hidden), look.Style{Mono: true, Size: look.SizeSmall, Color: look.Soft}).OneRow()
			}
			text = append(text, look.Either(look.Scaled(roomOfVIN), number(len(c.VIN)-7), number(3)))
		}
	}
	if w.practice() || c.Practice {
		text = append(text, look.Styled(T("practice"), look.Style{Bold: true, Size: look.SizeFine, Color: look.Amber}))
	}
	return look.Rows(look.NewChoice("car", T("car.card"), look.Pad(11, 12, 11, 12, look.Stack(2, text...)), w.page == PageCar, func() { w.Show(PageCar) }))
}

// roomOfVIN is the width that a whole identification number takes.
const roomOfVIN = 136

// masked shows the beginning and the end of an identification number, with so many dots between them.
func masked(vin string, hidden int) string {
	if len(vin) < 9 {
		return vin
	}
	return vin[:3] + strings.Repeat("·", hidden) + vin[len(vin)-4:]
}

func (w *Window) car() garage.Car {
	if w.cars.edited.ID != 0 && (w.link.visit == nil || w.link.visit.Car().ID == w.cars.edited.ID) {
		return w.cars.edited
	}
	if w.link.visit == nil {
		return garage.Car{}
	}
	return w.link.visit.Car()
}

// standing is the line under a step, and whether the step is done.
func (w *Window) standing(p Page) (string, look.Progress) {
	switch p {
	case PageCable:
		return w.cableStanding()
	case PageLink:
		return w.linkStanding()
	case PageCodes:
		switch {
		case w.code.looking != nil:
			return T("stand.reading"), look.Ahead
		case w.code.read:
			codes, modules, _ := w.code.count()
			switch {
			case codes == 0 && w.code.asked():
				return T("stand.no-codes"), look.Done
			case codes == 0:
				return T("stand.no-codes.gaps"), look.Done
			}
			return N("stand.codes", codes, "Modules", N("in.modules", modules, "Count", modules)), look.Done
		}
		return T("stand.not-read"), look.Ahead
	case PageRequest:
		e := w.req.explained
		switch {
		case e.Frame == nil:
			return T("stand.not-written"), look.Ahead
		case e.Direction != explain.Request || w.req.wrong():
			return T("stand.not-sound"), look.Ahead
		}
		return T("stand.request", "Class", T("class."+string(e.Class)), "ID", e.Frame.IDText), look.Done
	case PageGate:
		switch {
		case w.pass.sending != nil:
			return T("stand.sending"), look.Ahead
		case w.back.result != nil && w.back.result.Sent && w.back.result.Request.Class == explain.Change:
			return T("stand.passed", "Time", clock(w.back.result.SentAt)), look.Done
		case w.pass.await():
			return T("stand.measuring"), look.Ahead
		case len(w.pass.latches) > 0 && w.pass.shut() == 0:
			return T("stand.in-line"), look.Ahead
		case len(w.pass.latches) > 0:
			return N("stand.open", w.pass.shut()), look.Ahead
		}
		return T("stand.closed"), look.Ahead
	}
	return w.backStanding()
}

func (w *Window) linkStanding() (string, look.Progress) {
	switch {
	case w.link.opening != nil:
		return T("stand.connecting"), look.Ahead
	case w.link.visit == nil:
		return T("stand.not-connected"), look.Ahead
	}
	if w.link.gone != nil {
		return T("stand.gone-adapter"), look.Ahead
	}
	if w.stopped() != nil {
		return T("stand.stopped"), look.Ahead
	}
	a := w.link.visit.Adapter()
	if a.Protocol != "" {
		return told(a.Protocol), look.Done
	}
	return told(a.Name), look.Done
}

// stripContent is the bottom strip: what the car is reached with, and what has left this computer.
func (w *Window) stripContent() fyne.CanvasObject {
	item := func(s string) fyne.CanvasObject {
		return look.Styled(s, look.Style{Size: look.SizeSmall, Color: look.OnPlate}).OneRow()
	}
	v := w.link.visit
	if v == nil {
		left := T("strip.none")
		if w.link.opening != nil {
			left = T("strip.opening")
		}
		return look.Ground(look.Plate, look.Pad(0, 20, 0, 20, look.Row(24, look.Growing(item(left)), look.Natural(item(T("strip.sent.none"))))))
	}
	state := T("strip.ready")
	switch {
	case w.link.gone != nil:
		state = T("strip.gone")
	case w.busy():
		state = T("strip.busy")
	case w.stopped() != nil:
		state = T("strip.stopped")
	case w.link.testing:
		state = T("strip.testing")
	case w.live.run != nil:
		state = T("live.strip")
	case w.page == PageHeard:
		state = T("heard.strip")
	}
	name := T("strip.adapter", "Name", told(v.Adapter().Name), "State", state)
	t := v.Tally()
	sent := T("strip.sent", "Reads", N("n.reads", t.Reads), "Changes", N("n.changes", t.Changes), "Refused", N("n.refused", t.Refused))
	row := func(gap float32, supply string) fyne.CanvasObject {
		cells := []look.Cell{look.Natural(item(name))}
		if supply != "" {
			cells = append(cells, look.Natural(item(supply)))
		}
		if w.code.read {
			cells = append(cells, look.Natural(item(T("strip.modules", "N", w.code.answered()))))
		}
		return look.Row(gap, append(cells, look.Growing(look.Gap(1)), look.Natural(item(sent)))...)
	}
	long, short := w.supplyStrip()
	alone := look.NewCut(look.Run{Text: told(v.Adapter().Name), Style: look.Style{Size: look.SizeSmall, Bold: true, Color: look.OnPlate}})
	narrow := look.Either(look.Scaled(600), look.Row(12, look.Growing(item(name)), look.Natural(item(sent))), look.Row(12, look.Growing(alone), look.Natural(item(sent))))
	return look.Ground(look.Plate, look.Pad(0, 20, 0, 20, look.Either(look.Scaled(1160), row(24, long), look.Either(look.Scaled(840), row(24, short), narrow))))
}
