package app

import (
	"context"
	"math"
	"strings"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/adapter"
	"readback/diag/cable"
	"readback/diag/garage"
	"readback/diag/gate"
)

const (
	// supplyEvery is how often the supply is looked at while a visit is open.
	supplyEvery = 5 * time.Second
	// widestOffset is how far a voltmeter may be off, in volts; beyond it one of the two values is no measurement (common
	// practice, no source).
	widestOffset = 2.0
	// postSpot is where the owner's own meter measures: at the posts of the 12 V battery.
	postSpot = "car:post"
)

// supplyState is the 12 V supply of the car of this visit.
type supplyState struct {
	volts    float64 // with the offset
	known    bool
	looked   time.Time      // when it was last looked at
	readings []gate.Reading // of the last minutes

	movable bool    // the adapter's voltmeter can be corrected
	offset  float64 // volts that are added to what the adapter shows
	field   *look.Field
	wrong   string               // why what is typed can't be taken
	said    string               // what came of it
	own     *garage.MeterReading // what the owner measured, until it is kept with the car
	err     error
}

// forget drops what belongs to the visit that ends.
func (s *supplyState) forget() {
	*s = supplyState{field: s.field}
	s.field.SetText("")
}

// raw is what the adapter itself shows, in volts.
func (s *supplyState) raw() float64 { return s.volts - s.offset }

// advice is what the supply means for reading: whether the car should be read at all, and sentences for the owner.
func (s *supplyState) advice(now time.Time) (read bool, texts []string) {
	read = true
	if s.known {
		var text string
		if read, text = gate.BandOf(s.volts).Advice(); text != "" {
			texts = append(texts, told(text))
		}
	}
	if why := gate.Sag(s.readings, now); why != "" {
		texts = append(texts, T("supply.sag", "Why", upperFirst(told(why))))
	}
	return read, texts
}

// flat tells that the car should not be read with this supply.
func (s *supplyState) flat() bool {
	read, _ := s.advice(time.Time{})
	return !read
}

func (w *Window) makeSupplyField() {
	w.link.supply.field = look.NewField("supply-own", T("supply.hint"), true, func(string) { w.link.supply.wrong, w.link.supply.said = "", "" })
	w.link.supply.field.OnSubmitted = func(string) { w.correctSupply() }
}

// firstSupply sets the offset that is kept for the adapter, and measures.
func (w *Window) firstSupply(ctx context.Context, v Visit) func() {
	var (
		offset float64
		err    error
	)
	if w.engine.Log != nil {
		offset, _, err = w.engine.Log.Offset(ctx, string(v.Place()))
	}
	movable := v.SetSupplyOffset(offset)
	measured := w.refreshSupply(ctx, v)
	return func() {
		s := &w.link.supply
		s.movable, s.err = movable, err
		if movable {
			s.offset = offset
		}
		measured()
	}
}

// refreshSupply asks the adapter for the supply voltage again.
func (w *Window) refreshSupply(ctx context.Context, v Visit) func() {
	volts, ok := v.Supply(ctx)
	readings, watched := v.SupplyReadings()
	at := w.now()
	return func() {
		s := &w.link.supply
		s.volts, s.known, s.looked = volts, ok, at
		switch {
		case watched:
			s.take(readings)
		case ok:
			s.readings = gate.Remember(s.readings, gate.Reading{Value: volts, At: at, Source: gate.Measured})
		}
	}
}

// watchSupply looks at the supply from time to time. It tells whether what is shown has changed.
func (w *Window) watchSupply() (changed bool) {
	s, v := &w.link.supply, w.link.visit
	if v == nil || w.link.gone != nil || w.now().Sub(s.looked) < supplyEvery {
		return false
	}
	s.looked = w.now()
	readings, watched := v.SupplyReadings()
	if !watched {
		if s.known && !w.busy() && !w.link.testing && w.live.run == nil && w.live.asking == nil {
			w.act(func(ctx context.Context) func() {
				supply := w.refreshSupply(ctx, v)
				return func() {
					if w.link.visit == v {
						supply()
					}
				}
			})
		}
		return false
	}
	before, textsBefore := decimal(s.volts, 1), s.texts(w.now())
	s.take(readings)
	return before != decimal(s.volts, 1) || textsBefore != s.texts(w.now())
}

func (s *supplyState) texts(now time.Time) string {
	_, texts := s.advice(now)
	return strings.Join(texts, " ")
}

// take takes over what the adapter has measured by itself.
func (s *supplyState) take(readings []adapter.SupplyReading) {
	s.readings = nil
	for _, r := range readings {
		s.readings = gate.Remember(s.readings, gate.Reading{Value: r.Volts, At: r.At, Source: gate.Measured})
		s.volts, s.known = r.Volts, true
	}
}

// correctSupply takes what the owner's own meter shows: from now on the adapter's voltmeter counts with the difference.
func (w *Window) correctSupply() {
	s := &w.link.supply
	if w.link.visit == nil || !s.movable || !s.known {
		return
	}
	s.wrong, s.said = "", ""
	value, err := cable.Parse(s.field.Text)
	switch offset := math.Round((value.Number-s.raw())*100) / 100; {
	case err != nil:
		s.wrong = valueSentence(err)
	case value.Open || value.Unit == cable.Ohm:
		s.wrong = T("supply.not-volts")
	case math.Abs(offset) > widestOffset:
		s.wrong = T("supply.far", "Own", decimal(value.Number, 2), "Raw", decimal(s.raw(), 1))
	default:
		value.Unit = cable.Volt
		s.own = &garage.MeterReading{Spot: postSpot, Value: value.String(), At: w.now()}
		w.keepOffset(offset, T("supply.kept"))
	}
	w.draw()
}

// forgetOffset lets the adapter's voltmeter count as it shows.
func (w *Window) forgetOffset() { w.keepOffset(0, T("supply.forgotten")) }

// keepOffset sets the offset, and keeps it for this adapter and what was measured for this car.
func (w *Window) keepOffset(offset float64, said string) {
	v, log, place := w.link.visit, w.engine.Log, ""
	if v == nil {
		return
	}
	place = string(v.Place())
	w.act(func(ctx context.Context) func() {
		var err error
		if log != nil {
			err = log.PutOffset(ctx, place, offset, w.now())
		}
		v.SetSupplyOffset(offset)
		readings, _ := v.SupplyReadings()
		return func() {
			if w.link.visit != v {
				return
			}
			s := &w.link.supply
			s.volts += offset - s.offset
			s.offset, s.err, s.said = offset, err, said
			s.take(readings)
			s.field.SetText("")
			s.said = said
			w.keepOwnVolts()
		}
	})
}

// keepOwnVolts writes what the owner measured at the battery into the logbook, once it is known which car it was.
func (w *Window) keepOwnVolts() {
	s, id := &w.link.supply, w.car().ID
	if s.own == nil || id == 0 || w.engine.Log == nil {
		return
	}
	own := *s.own
	s.own = nil
	w.act(func(ctx context.Context) func() {
		err := w.engine.Log.PutMeter(ctx, id, []garage.MeterReading{own})
		return func() {
			s.err = err
			if w.cable.of == id {
				w.cable.of = 0 // its readings are read anew
			}
		}
	})
}

// supplyNotice is what the supply means for reading, nil where there is nothing to say.
func (w *Window) supplyNotice() fyne.CanvasObject {
	if w.link.visit == nil || w.link.gone != nil {
		return nil
	}
	read, texts := w.link.supply.advice(w.now())
	if len(texts) == 0 {
		return nil
	}
	edge, head := look.Amber, T("notice")
	if !read {
		edge, head = look.Danger, T("supply.warning")
	}
	return look.Noted(edge, look.Stack(4, append([]fyne.CanvasObject{look.Head(head)}, bodies(texts)...)...))
}

// supplyCard shows the supply, where its value comes from, and lets the owner correct the adapter's voltmeter.
func (w *Window) supplyCard() fyne.CanvasObject {
	s := &w.link.supply
	if !s.known || !s.movable && s.offset == 0 && s.wrong == "" && s.said == "" && s.err == nil { // a step of the link test says all
		return nil
	}
	parts := []fyne.CanvasObject{look.Head(T("supply.title"))}
	if s.offset != 0 {
		parts = append(parts, look.Body(T("supply.corrected", "Volts", decimal(s.volts, 1), "Raw", decimal(s.raw(), 1), "Offset", signed(s.offset))))
	} else {
		parts = append(parts, look.Body(T("supply.plain", "Volts", decimal(s.volts, 1))))
	}
	if s.movable {
		parts = append(parts, look.Small(T("supply.ask")))
		parts = append(parts, look.Row(0, look.Fixed(look.Scaled(150), s.field), look.Growing(look.Gap(1))))
		acts := []fyne.CanvasObject{look.NewButton("supply-take", T("supply.take"), look.Plain, w.correctSupply)}
		if s.offset != 0 {
			acts = append(acts, look.NewButton("supply-forget", T("supply.forget"), look.Quiet, w.forgetOffset))
		}
		parts = append(parts, look.Buttons(acts...))
	}
	if s.wrong != "" {
		parts = append(parts, look.Row(8, look.Natural(look.NewMark(look.MarkOpen, 16)).At(look.Top), look.Growing(look.Body(s.wrong))))
	}
	if s.said != "" {
		parts = append(parts, look.Small(s.said))
	}
	if s.err != nil {
		parts = append(parts, look.Small(errorText(s.err)))
	}
	return look.Boxed(look.Stack(6, parts...))
}

// signed is a number of volts with its sign.
func signed(volts float64) string {
	if volts < 0 {
		return "\u2212" + decimal(-volts, 2)
	}
	return "+" + decimal(volts, 2)
}

// supplyStrip is the supply in one line: the value, and where the window is wide enough also where it comes from.
func (w *Window) supplyStrip() (long, short string) {
	s := &w.link.supply
	if !s.known || w.link.gone != nil {
		return "", ""
	}
	volts := decimal(s.volts, 1)
	short = T("strip.supply", "Volts", volts)
	if s.offset == 0 {
		return T("strip.supply.adapter", "Volts", volts), short
	}
	return T("strip.supply.corrected", "Volts", volts, "Raw", decimal(s.raw(), 1), "Offset", signed(s.offset)), short
}
