package app

import (
	"context"
	"errors"
	"maps"
	"slices"
	"strings"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/cable"
	"readback/diag/garage"
)

// wiringKind is how the owner's cable is wired, as far as they have said.
type wiringKind string

const (
	wiredPlain wiringKind = "plain"
	wiredA     wiringKind = "a"
	wiredB     wiringKind = "b"
	wiredOwn   wiringKind = "own"
)

var wiringKinds = []wiringKind{wiredPlain, wiredA, wiredB, wiredOwn}

// cableState is what the owner has said and measured of the cable.
type cableState struct {
	kind    wiringKind
	own     cable.Wiring
	waiting int // pin of the socket that waits for its other end
	read    bool
	more    bool
	fields  map[string]*look.Field
	kept    []garage.MeterReading
	of      int64 // car that the kept readings belong to
	keeping bool  // values are being written
	said    string
	err     error

	told     bool  // the owner has told a wiring that is not kept yet
	wiringOf int64 // car whose wiring was read or kept
}

// firstSpots are measured by everybody; the others when there is reason to.
var firstSpots = []string{"cable:6-7", "cable:14-2", "cable:6-14", "cable:16-6", "adapter:2-7", "car:6-14", "car:16-5"}

func (w *Window) makeCableFields() {
	c := &w.cable
	c.kind, c.own, c.fields = wiredPlain, cable.Wiring{}, map[string]*look.Field{}
	for _, s := range cable.Spots() {
		hint := T("cable.hint.ohm")
		if s.Unit == cable.Volt {
			hint = T("cable.hint.volt")
		}
		c.fields[s.Key] = look.NewField("meter "+s.Key, hint, true, func(string) { c.said = ""; w.draw() })
	}
}

// enterCable reads what was measured on this car before.
func (w *Window) enterCable() {
	w.readWiring()
	id := w.car().ID
	if id == 0 || w.engine.Log == nil || w.cable.of == id {
		return
	}
	w.act(func(ctx context.Context) func() {
		kept, err := w.engine.Log.Meter(ctx, id)
		return func() {
			w.cable.take(id, kept, err)
		}
	})
}

// take shows what was measured on a car before. What stands there from another car goes; what was just typed stays.
func (c *cableState) take(id int64, kept []garage.MeterReading, err error) {
	for _, r := range c.kept {
		if f := c.fields[r.Spot]; f != nil && f.Text == r.Value {
			f.SetText("")
		}
	}
	c.kept, c.of, c.err = kept, id, err
	for _, r := range kept {
		if f := c.fields[r.Spot]; f != nil && f.Text == "" {
			f.SetText(r.Value)
		}
	}
}

// keptAt is when the value that stands at a spot was measured, where it is one that has been kept.
func (c *cableState) keptAt(spot string) (at time.Time, ok bool) {
	i := slices.IndexFunc(c.kept, func(r garage.MeterReading) bool { return r.Spot == spot && r.Value == c.fields[spot].Text })
	if i < 0 {
		return time.Time{}, false
	}
	return c.kept[i].At, true
}

// news are the values that can be read and have not been kept yet.
func (c *cableState) news() []cable.Reading {
	readings, _ := c.readings()
	return slices.DeleteFunc(readings, func(r cable.Reading) bool {
		return slices.ContainsFunc(c.kept, func(k garage.MeterReading) bool { return k.Spot == r.Key && k.Value == r.Value.String() })
	})
}

// readings are the values that can be read, by spot; wrong are the spots whose value can't, with the reason.
func (c *cableState) readings() (out []cable.Reading, wrong map[string]error) {
	wrong = map[string]error{}
	for _, s := range cable.Spots() {
		text := strings.TrimSpace(c.fields[s.Key].Text)
		if text == "" {
			continue
		}
		v, err := cable.Parse(text)
		if err == nil {
			_, err = cable.Judge(s, v)
		}
		if err != nil {
			wrong[s.Key] = err
			continue
		}
		if v.Unit == "" {
			v.Unit = s.Unit
		}
		out = append(out, cable.Reading{Key: s.Key, Value: v})
	}
	return out, wrong
}

// verdicts judges all that is typed.
func (c *cableState) verdicts() (single map[string]cable.Verdict, together []cable.Verdict, wrong map[string]error) {
	readings, wrong := c.readings()
	single = map[string]cable.Verdict{}
	all, err := cable.All(readings)
	if err != nil {
		c.err = err
		return single, nil, wrong
	}
	for _, v := range all {
		if len(v.With) > 0 {
			together = append(together, v)
		} else {
			single[v.Key] = v
		}
	}
	return single, together, wrong
}

func (c *cableState) wiring() cable.Wiring {
	switch c.kind {
	case wiredA:
		return cable.FamilyA()
	case wiredB:
		return cable.FamilyB()
	case wiredOwn:
		return c.own
	}
	return cable.Plain()
}

// keepMeasured keeps with the car what was measured before it was known which car it is. What was kept before is read
// first, so that nothing is kept twice.
func (w *Window) keepMeasured() {
	id := w.car().ID
	if id == 0 || w.engine.Log == nil || w.cable.of == id || len(w.cable.news()) == 0 {
		return
	}
	w.act(func(ctx context.Context) func() {
		kept, err := w.engine.Log.Meter(ctx, id)
		return func() {
			w.cable.take(id, kept, err)
			if err == nil {
				w.keepReadings()
			}
		}
	})
}

// keepReadings writes what was measured into the logbook.
func (w *Window) keepReadings() {
	id := w.car().ID
	readings := w.cable.news()
	if id == 0 || w.engine.Log == nil || len(readings) == 0 || w.cable.keeping {
		return
	}
	w.cable.keeping = true
	var list []garage.MeterReading
	for _, r := range readings {
		list = append(list, garage.MeterReading{Spot: r.Key, Value: r.Value.String(), At: w.now()})
	}
	w.act(func(ctx context.Context) func() {
		err := w.engine.Log.PutMeter(ctx, id, list)
		return func() {
			c := &w.cable
			c.err, c.keeping = err, false
			if err != nil {
				return
			}
			c.kept = slices.DeleteFunc(c.kept, func(k garage.MeterReading) bool {
				return slices.ContainsFunc(list, func(r garage.MeterReading) bool { return r.Spot == k.Spot })
			})
			for _, r := range list {
				c.fields[r.Spot].SetText(r.Value)
			}
			c.kept, c.of, c.said = append(c.kept, list...), id, N("cable.kept", len(list))
		}
	})
}

func (w *Window) cableStanding() (string, look.Progress) {
	single, together, wrong := w.cable.verdicts()
	all := append(slices.Collect(maps.Values(single)), together...)
	switch {
	case len(wrong) > 0:
		return T("stand.cable.unread"), look.Ahead
	case len(all) == 0:
		return T("stand.cable.none"), look.Ahead
	}
	switch cable.Worst(all) {
	case cable.Stop:
		return T("stand.cable.stop"), look.Ahead
	case cable.Doubt:
		return T("stand.cable.doubt"), look.Ahead
	}
	if v, ok := single["car:6-14"]; ok {
		return T("stand.cable.good", "Value", measured(v.Value)), look.Done
	}
	return N("stand.cable.some", len(single)), look.Ahead
}

func (w *Window) cablePage() (body, margin fyne.CanvasObject) {
	c := &w.cable
	parts := []fyne.CanvasObject{w.header(T("cable.title"), T("cable.lead"))}
	if !c.read {
		var lines []fyne.CanvasObject
		for _, s := range cable.Cautions() {
			lines = append(lines, look.Body(told(s)))
		}
		lines = append(lines, look.Buttons(look.NewButton("cautions-read", T("cable.read"), look.Plain, func() { c.read = true; w.draw() }).Small()))
		parts = append(parts, look.Noted(look.Alert, look.Stack(6, append([]fyne.CanvasObject{look.Head(T("caution"))}, lines...)...)))
	}
	parts = append(parts, w.cableDrawing(), w.meterRows())
	if c.err != nil {
		parts = append(parts, look.Noted(look.Alert, look.Body(errorText(c.err))))
	}
	parts = append(parts, w.cableButtons())
	return look.Stack(16, parts...), w.cableMargin()
}

// cableDrawing shows where the wires go, and what is wrong with that.
func (w *Window) cableDrawing() fyne.CanvasObject {
	c := &w.cable
	var kinds []fyne.CanvasObject
	for _, k := range wiringKinds {
		kinds = append(kinds, look.NewButton("wired-"+string(k), T("wired."+string(k)), look.Quiet, func() { c.kind, c.waiting = k, 0; w.rewired() }).Chosen(c.kind == k))
	}
	var pick func(bool, int)
	if c.kind == wiredOwn {
		pick = w.pickPin
	}
	parts := []fyne.CanvasObject{look.Wrap(4, kinds...), look.Row(12, look.Cell{Object: look.Small(T("cable.socket")), Grow: 3}, look.Cell{Object: look.Small(T("cable.plug")), Grow: 2}),
		look.NewPlugs(wiresOf(c.wiring()), c.waiting, pick)}
	if c.kind == wiredOwn {
		parts = append(parts, look.Small(T("cable.own")))
	}
	checked := c.wiring().Check()
	if cable.Worst(checked) == cable.Good {
		parts = append(parts, look.Row(10, look.Natural(look.NewMark(look.MarkTick, 16)), look.Growing(look.Body(T("cable.wired-right")))))
	}
	for _, v := range checked {
		if v.Level == cable.Good {
			continue
		}
		parts = append(parts, look.Row(10, look.Natural(look.NewMark(levelSigns[v.Level], 16)).At(look.Top), look.Growing(look.Body(sentences(told(v.Text), told(v.Next)))).At(look.Top)))
	}
	return look.Boxed(look.Stack(8, parts...))
}

// pickPin joins two pins of an own cable; a pin that is joined already comes free.
func (w *Window) pickPin(socket bool, pin int) {
	c := &w.cable
	switch {
	case socket && c.own[pin] != 0:
		delete(c.own, pin)
		c.waiting = 0
	case socket:
		c.waiting = pin
		w.draw()
		return
	case c.waiting != 0:
		maps.DeleteFunc(c.own, func(_, to int) bool { return to == pin })
		c.own[c.waiting] = pin
		c.waiting = 0
	default:
		maps.DeleteFunc(c.own, func(_, to int) bool { return to == pin })
	}
	w.rewired()
}

// wiresOf are the wires of a cable as they are drawn. Only the two data wires, ground and battery plus are named.
func wiresOf(wiring cable.Wiring) (out []look.PlugWire) {
	for _, from := range slices.Sorted(maps.Keys(wiring)) {
		to := wiring[from]
		x := look.PlugWire{Socket: from, Plug: to, Colour: look.Edge}
		switch from {
		case 6:
			x.Colour, x.Name = look.Accent, T("wire.high", "From", from, "To", to)
		case 14:
			x.Colour, x.Dashed, x.Name = look.Amber, true, T("wire.low", "From", from, "To", to)
		case 5:
			x.Colour, x.Name = look.Soft, T("wire.ground", "From", from, "To", to)
		case 16:
			x.Colour, x.Dashed, x.Name = look.Danger, true, T("wire.plus", "From", from, "To", to)
		}
		out = append(out, x)
	}
	return out
}

// levelSigns are the marks of the verdicts.
var levelSigns = map[cable.Level]look.Sign{cable.Good: look.MarkTick, cable.Note: look.MarkCheck, cable.Doubt: look.MarkUnknown, cable.Stop: look.MarkOpen}

// meterRows are the fields for what the meter shows, each with its verdict.
func (w *Window) meterRows() fyne.CanvasObject {
	c := &w.cable
	single, together, wrong := c.verdicts()
	var rows []fyne.CanvasObject
	for _, s := range cable.Spots() {
		v, judged := single[s.Key]
		if !slices.Contains(firstSpots, s.Key) && !c.more && !judged && wrong[s.Key] == nil {
			continue
		}
		sign, text := look.MarkWaiting, T("cable.measure")
		switch {
		case wrong[s.Key] != nil:
			sign, text = look.MarkOpen, valueSentence(wrong[s.Key])
		case judged:
			sign, text = levelSigns[v.Level], sentences(told(v.Text), told(v.Next))
		}
		said := look.Small(text)
		if judged || wrong[s.Key] != nil {
			said = look.Body(text)
		}
		where := T("cable.where." + string(s.Where))
		if at, kept := c.keptAt(s.Key); kept {
			where = dots(where, T("cable.kept.when", "When", when(at, w.now())))
		}
		what := look.Stack(1, look.Body(told(s.What)), look.Fine(where), said)
		rows = append(rows, look.Pad(7, 12, 7, 14, look.Row(14, look.Natural(look.NewMark(sign, 18)), look.Growing(what), look.Fixed(look.Scaled(120), c.fields[s.Key]))))
	}
	parts := []fyne.CanvasObject{look.Rows(rows...)}
	for _, v := range together {
		parts = append(parts, look.Noted(levelColours[v.Level], look.Stack(2, look.Head(told(v.Text)), look.Body(told(v.Next)))))
	}
	return look.Stack(10, parts...)
}

// valueSentence says why a value can't be read.
func valueSentence(err error) string {
	var wrong *cable.ValueError
	if errors.As(err, &wrong) {
		return T("cable.value.wrong", "Value", wrong.Text, "Why", told(wrong.Why))
	}
	return errorText(err)
}

var levelColours = map[cable.Level]fyne.ThemeColorName{cable.Good: look.Accent, cable.Note: look.Accent, cable.Doubt: look.Amber, cable.Stop: look.Danger}

func (w *Window) cableButtons() fyne.CanvasObject {
	c := &w.cable
	more := "cable.more"
	if c.more {
		more = "cable.fewer"
	}
	acts := []fyne.CanvasObject{look.NewButton("go-link", T("cable.go-on"), look.Main, func() { w.Show(PageLink) })}
	var said []fyne.CanvasObject
	switch news := c.news(); {
	case len(news) == 0:
	case w.car().ID != 0:
		acts = append(acts, look.NewButton("cable-keep", T("cable.keep"), look.Plain, w.keepReadings))
	default:
		said = append(said, look.Small(T("cable.no-car")))
	}
	acts = append(acts, look.NewButton("cable-more", T(more), look.Quiet, func() { c.more = !c.more; w.draw() }))
	if c.said != "" {
		said = append(said, look.Small(c.said))
	}
	return look.Stack(6, append([]fyne.CanvasObject{look.Buttons(acts...)}, said...)...)
}

func (w *Window) cableMargin() fyne.CanvasObject {
	row := func(value, text string) fyne.CanvasObject {
		return look.Row(10, look.Fixed(look.Scaled(72), look.Styled(value, look.Style{Mono: true, Size: look.SizeSmall})).At(look.Top), look.Growing(look.Small(text)).At(look.Top))
	}
	bands := look.Stack(4, row("55-65 Ω", T("cable.m.60")), row("120 Ω", T("cable.m.120")), row("40 Ω", T("cable.m.40")), row("0-5 Ω", T("cable.m.0")), row("> 1 kΩ", T("cable.m.1k")))
	parts := []fyne.CanvasObject{look.Stack(4, look.Head(T("cable.m.why")), look.Body(T("cable.m.why.text"))), bands,
		look.Stack(4, look.Head(T("cable.m.type")), look.Body(T("cable.m.type.text")))}
	if w.cable.read {
		for i, s := range cable.Cautions() {
			if i == 0 {
				parts = append(parts, look.Stack(4, look.Head(T("caution")), look.Body(told(s))))
				continue
			}
			parts = append(parts, look.Body(told(s)))
		}
	}
	return w.sourced(T("source.cable"), parts...)
}
