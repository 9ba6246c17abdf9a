package app

import (
	"context"
	"slices"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
)

// liveState are the live values: what the car offers, what the owner has chosen of it, and how it goes.
type liveState struct {
	asking  *liveAsking
	asked   bool
	askErr  error
	offered []diag.LiveValue

	search, add *look.Field
	addSaid     string   // what came of adding a value
	own         []uint16 // added values that a module tells and that are not kept with the car yet
	full        bool     // no more can be chosen
	choosing    bool
	list        *look.Many
	column      *liveColumn
	at          string // key of the row that is explained

	chosen []*liveSeries
	run    *liveRun // nil while nothing is read
	end    liveEnd  // how the last run ended
	endErr error
	heard  uint64 // the newest frame that was looked at for signals

	plot      *look.Plot
	newest    time.Time
	when      *look.Figure // the time that the values are of
	total     *look.Figure // readings a second
	shownSpan time.Duration
	shownEnd  time.Time // of the plot where it is held
	shownHeld bool

	log       liveLog
	saving    string // the file that readings are saved in, "" when none are
	saved     *look.Figure
	savedSaid string // what became of the last one
	saveErr   error
}

// liveAsking is under way while the car is asked what it offers.
type liveAsking struct{ stop context.CancelFunc }

// liveEnd is how reading ended.
type liveEnd string

const (
	liveStopped liveEnd = "stopped" // the owner ended it
	liveLeft    liveEnd = "left"    // the page was left
	liveBroken  liveEnd = "broken"  // the adapter or the car did
)

func (w *Window) makeLiveParts() {
	l := &w.live
	l.search = look.NewField("live-search", T("live.search"), false, func(string) { w.draw() })
	l.add = look.NewField("live-id", T("live.add.hint"), true, nil)
	l.add.OnSubmitted = func(string) { w.addIdentifier() }
	l.list = look.NewMany("live", func(i int) { l.at = l.column.items[i].key; w.draw() }).Opens(func(i int) { w.toggleLive(l.column.items[i]) }).AtOnce()
	l.column = &liveColumn{}
	l.plot = look.NewPlot("live-plot", T("live.no-unit"), figures, w.livePointed)
	l.when = look.NewFigure(look.Style{Size: look.SizeSmall, Color: look.Soft}).Right()
	l.total = look.NewFigure(look.Style{Size: look.SizeSmall, Bold: true})
	l.saved = look.NewFigure(look.Style{Size: look.SizeSmall, Bold: true})
}

// forgetLive drops what belongs to the visit that ends.
func (w *Window) forgetLive() {
	l := &w.live
	w.stopAskingLive()
	w.stopWatching(liveStopped, nil)
	l.asked, l.askErr, l.offered, l.chosen, l.choosing, l.at = false, nil, nil, nil, false, ""
	l.own = nil
	l.end, l.endErr, l.addSaid, l.full, l.savedSaid, l.saveErr = "", nil, "", false, "", nil
	l.newest = time.Time{}
	l.plot.Fill(nil, 0)
}

// enterLive asks what the car offers, the first time.
func (w *Window) enterLive() {
	if l := &w.live; !l.asked && l.asking == nil && !w.busy() && w.mayAsk() {
		w.askLive(nil)
	}
}

// leaveLive frees the wire: other pages have use for it.
func (w *Window) leaveLive() {
	w.stopAskingLive()
	w.stopWatching(liveLeft, nil)
}

// askLive asks what the car offers, after values of the owner's own were added.
func (w *Window) askLive(own []uint16) {
	l, v := &w.live, w.link.visit
	if l.asking != nil || w.busy() || !w.mayAsk() {
		return
	}
	again := l.run != nil
	w.stopWatching(liveStopped, nil)
	ctx, stop := context.WithCancel(w.ctx)
	a := &liveAsking{stop: stop}
	l.asking, l.askErr, l.addSaid = a, nil, ""
	w.actIn(ctx, func(ctx context.Context) func() {
		defer stop()
		offered, err := offeredLive(ctx, w.engine.Log, v, own)
		return func() {
			if l.asking != a || w.link.visit != v {
				return
			}
			l.asking, l.askErr = nil, err
			if err == nil {
				l.asked, l.offered, l.choosing = true, offered, l.choosing || len(l.chosen) == 0
				w.tellAdded(own)
			}
			if again && len(l.chosen) > 0 && err == nil && w.page == PageLive {
				w.startWatching()
			}
		}
	})
	w.draw()
}

// offeredLive finds out which car it is, where that is not known, and what it offers: what the owner has added before, too.
func offeredLive(ctx context.Context, log Logbook, v Visit, own []uint16) ([]diag.LiveValue, error) {
	for _, id := range own {
		if err := v.AddIdentifier(id); err != nil {
			return nil, err
		}
	}
	if _, known := v.Record(); !known {
		if _, err := v.Meet(ctx, v.Car().Name); err != nil {
			return nil, err
		}
	}
	if err := rememberIdentifiers(ctx, log, v); err != nil {
		return nil, err
	}
	return v.Offered(ctx)
}

func (w *Window) stopAskingLive() {
	if a := w.live.asking; a != nil {
		w.live.asking = nil
		a.stop()
	}
}

func (w *Window) livePage() (body, margin fyne.CanvasObject) {
	l := &w.live
	switch {
	case w.link.visit == nil:
		return w.empty(T("live.no-link"), T("live.no-link.lead"), "go-link", T("go.link"), PageLink), w.liveHelp()
	case l.asking != nil:
		return look.Stack(18, w.header(T("live.asking"), T("live.asking.lead")),
			look.Buttons(look.NewButton("live-cancel", T("cancel"), look.Plain, func() { w.stopAskingLive(); w.draw() }))), w.liveHelp()
	case w.busy():
		return look.Stack(18, append([]fyne.CanvasObject{w.header(T("live.busy"), T("live.busy.lead"))}, w.hindrances()...)...), w.liveHelp()
	case !l.asked:
		title, lead := T("live.not-asked"), T("live.not-asked.lead")
		if l.askErr != nil {
			title, lead = T("live.ask-failed"), ""
		}
		parts := append([]fyne.CanvasObject{w.header(title, lead)}, w.liveTrouble(l.askErr)...)
		if w.mayAsk() {
			parts = append(parts, look.Buttons(look.NewButton("live-ask", T("live.ask"), look.Main, func() { w.askLive(nil) })))
		}
		return look.Stack(18, parts...), w.liveHelp()
	case l.choosing:
		return w.liveChooser()
	}
	return w.liveView(), w.liveMargin()
}

// liveTrouble is what stands in the way, and what went wrong where that has no notice of its own.
func (w *Window) liveTrouble(err error) []fyne.CanvasObject {
	out := w.hindrances()
	if err != nil && w.mayAsk() {
		out = append(out, look.Noted(look.Alert, look.Stack(4, w.troubleParts(err)...)))
	}
	return out
}

// liveView is the plot of the chosen values, and what they are now.
func (w *Window) liveView() fyne.CanvasObject {
	l := &w.live
	title, lead := N("live.stopped", len(l.chosen)), T("live.stopped.lead")
	acts := []fyne.CanvasObject{}
	if l.run != nil {
		title, lead = N("live.reading", len(l.chosen)), T("live.reading.lead")
		acts = append(acts, look.NewButton("live-stop", T("live.stop"), look.Main, func() { w.stopWatching(liveStopped, nil); w.draw() }))
	} else if l.end != "" {
		lead = T("live.end." + string(l.end))
	}
	if l.run == nil && w.mayAsk() {
		acts = append(acts, look.NewButton("live-start", T("live.start"), look.Main, w.startWatching))
	}
	acts = append(acts, look.NewButton("live-choose", T("live.choose"), look.Plain, func() { l.choosing = true; w.draw() }))
	if l.run != nil {
		if l.saving == "" {
			acts = append(acts, look.NewButton("live-save", T("live.save"), look.Plain, w.chooseLog))
		} else {
			acts = append(acts, look.NewButton("live-save-end", T("live.save.end"), look.Plain, func() { w.endLog(); w.draw() }))
		}
	}
	parts := []fyne.CanvasObject{w.header(title, lead)}
	parts = append(parts, w.liveTrouble(l.endErr)...)
	parts = append(parts, look.Buttons(acts...))
	if s := w.liveSaving(); s != nil {
		parts = append(parts, s)
	}
	legend := w.liveLegend()
	w.fillPlot(legend)
	return look.Stack(12, append(parts, legend, look.Rim(l.plot), w.liveControls())...)
}

// fillPlot hands the chosen values to the plot, which takes the height that is left for it under the legend.
func (w *Window) fillPlot(legend fyne.CanvasObject) {
	l := &w.live
	l.plot.Now(l.newest)
	var strokes []look.Stroke
	for _, s := range l.chosen {
		for _, x := range s.lines {
			strokes = append(strokes, look.Stroke{Course: x.course, Style: x.style, Unit: x.unit, Digits: x.digits})
		}
	}
	size := w.win.Canvas().Size()
	_, page, _ := columns(size.Width)
	l.plot.Fill(strokes, max(look.Scaled(200), size.Height-look.Scaled(beyondPlot)-look.HeightFor(legend, page-2*besidePage)))
	w.showFigures()
}

// beyondPlot is the height of a window without the plot and its legend: the heading, the buttons and the strip.
const beyondPlot = 329

// liveLegend names the lines and tells what each value is.
func (w *Window) liveLegend() fyne.CanvasObject {
	l := &w.live
	head := look.Row(8, look.Natural(look.Small(T("live.total"))), look.Fixed(look.Scaled(54), l.total), look.Growing(l.when))
	if isLarge() {
		head = look.Stack(2, look.Small(T("live.total")), look.Row(8, look.Fixed(look.Scaled(54), l.total), look.Growing(l.when)))
	}
	rows := []fyne.CanvasObject{look.Pad(8, 14, 8, 14, head)}
	for _, s := range l.chosen {
		if len(s.lines) == 0 {
			rows = append(rows, w.legendRow(s, nil, true))
		}
		for i, x := range s.lines {
			rows = append(rows, w.legendRow(s, x, i == 0))
		}
	}
	return look.Rows(rows...)
}

// rows counts the rows of the legend.
func (l *liveState) rows() (n int) {
	for _, s := range l.chosen {
		n += max(1, len(s.lines))
	}
	return n
}

// large is the size of text from which on a row of the legend takes two lines.
const large = 1.4

func isLarge() bool { return look.Scaled(1000) > 1000*large }

// lowRows tells whether the rows of the legend are low, so that there is room for the plot. Values are then taken out where
// they were chosen.
func (w *Window) lowRows() bool {
	most := 4
	if w.win.Canvas().Size().Height < 740 {
		most = 2
	}
	return w.live.rows() > most
}

// legendRow is one line of the plot, or a value that is told in words. The first of a value's rows can take it out.
func (w *Window) legendRow(s *liveSeries, x *liveLine, first bool) fyne.CanvasObject {
	name, about := s.item.name, s.item.about
	sign, value := fyne.CanvasObject(look.Gap(1)), s.words
	if x != nil {
		sign, value = look.NewSwatch(x.style), x.now
		if x.label != "" {
			name += ": " + told(x.label)
		}
	}
	if w.lowRows() && !isLarge() {
		title := look.NewText(look.Run{Text: name, Style: look.Style{Bold: true, Size: look.SizeSmall}}, look.Run{Text: " " + unbroken(about), Style: cutFine})
		if w.win.Canvas().Size().Width < narrowWindow {
			return look.Pad(3, 14, 3, 14, look.Row(12, look.Fixed(look.Scaled(52), sign), look.Growing(title), look.Fixed(look.Scaled(132), value)))
		}
		return look.Pad(3, 14, 3, 14, look.Row(12, look.Fixed(look.Scaled(52), sign), look.Growing(title),
			look.Fixed(look.Scaled(48), s.pace), look.Natural(look.Fine(T("live.a-second")).OneRow()), look.Fixed(look.Scaled(132), value)))
	}
	out := fyne.CanvasObject(look.Gap(1))
	if first {
		out = look.NewButton("live-out "+s.item.key, T("live.out"), look.Quiet, func() { w.toggleLive(s.item) })
	}
	title, under := look.AsIs(name, look.Style{Bold: true}), look.AsIs(about, cutFine)
	if !isLarge() && w.win.Canvas().Size().Width < narrowWindow { // the name has the whole width
		return look.Pad(6, 8, 4, 14, look.Row(12, look.Fixed(look.Scaled(52), sign), look.Growing(look.Stack(0, title,
			look.Row(12, look.Growing(under), look.Fixed(look.Scaled(132), value), look.Natural(out))))))
	}
	pace := look.Row(6, look.Fixed(look.Scaled(48), s.pace), look.Natural(look.Fine(T("live.a-second")).OneRow()))
	text := look.Stack(0, title, look.Wrap(0, look.Pad(0, 12, 0, 0, under), pace))
	if isLarge() {
		return look.Pad(4, 8, 4, 14, look.Stack(0, look.Row(12, look.Fixed(look.Scaled(52), sign), look.Growing(text)), look.Row(12, look.Growing(value), look.Natural(out))))
	}
	return look.Pad(4, 8, 4, 14, look.Row(12, look.Fixed(look.Scaled(52), sign), look.Growing(text), look.Fixed(look.Scaled(132), value), look.Natural(out)))
}

// liveControls are the buttons for what is shown of the time.
func (w *Window) liveControls() fyne.CanvasObject {
	p := w.live.plot
	act := func(id, text string, f func()) fyne.CanvasObject { return look.NewButton(id, text, look.Quiet, f) }
	at, held := p.Held()
	hold := act("live-hold", T("live.hold"), func() { p.Hold(true) })
	text := T("live.span", "Span", stretch(p.Span()))
	if held {
		hold = act("live-follow", T("live.follow"), func() { p.Hold(false) })
		text = T("live.span.held", "Span", stretch(p.Span()), "Time", clockSeconds(at))
	}
	w.live.shownSpan, w.live.shownEnd, w.live.shownHeld = p.Span(), at, held
	return look.Stack(2, look.Small(text), look.Pad(0, 0, 0, -6, look.Wrap(0, hold, act("live-closer", T("live.closer"), func() { p.Zoom(-1) }), act("live-wider", T("live.wider"), func() { p.Zoom(1) }),
		act("live-earlier", T("live.earlier"), func() { p.Shift(-0.5) }), act("live-later", T("live.later"), func() { p.Shift(0.5) }))))
}

// stretch is a length of time that the plot can show, in words.
func stretch(d time.Duration) string {
	switch {
	case d < time.Minute:
		return N("live.seconds", int(d.Seconds()))
	case d < time.Hour:
		return N("talk.minutes", int(d.Minutes()))
	}
	return N("live.hours", int(d.Hours()))
}

// livePointed is told when the owner has changed what the plot shows.
func (w *Window) livePointed() {
	l := &w.live
	if at, held := l.plot.Held(); held != l.shownHeld || held && !at.Equal(l.shownEnd) || l.plot.Span() != l.shownSpan {
		w.draw()
		return
	}
	w.showFigures()
}

func (w *Window) liveHelp() fyne.CanvasObject {
	return w.margin(T("source.live"), T("live.m.what"), T("live.m.what.text"), T("live.m.sends"), T("live.m.sends.text"), T("live.m.own"), T("live.m.own.text"))
}

// liveMargin says how the plot is used, and what stands in words that have no room in their rows.
func (w *Window) liveMargin() fyne.CanvasObject {
	var texts []string
	for _, s := range w.live.chosen {
		if t := s.told(); t != "" && len(s.lines) == 0 {
			texts = append(texts, s.item.name, t)
		}
		for _, x := range s.lines {
			if x.name != "" {
				texts = append(texts, s.item.name, x.shown(time.Time{}, ""))
			}
		}
	}
	texts = append(texts, T("live.m.line"), T("live.m.line.text"), T("live.m.keys"), T("live.m.keys.text"), T("live.m.kept"), T("live.m.kept.text"))
	return w.margin(T("source.live"), texts...)
}

// escapeLive ends what is under way, one thing at a time.
func (w *Window) escapeLive() {
	l := &w.live
	switch {
	case l.asking != nil:
		w.stopAskingLive()
	case l.choosing && len(l.chosen) > 0:
		l.choosing = false
	case l.run != nil:
		w.stopWatching(liveStopped, nil)
	}
	w.draw()
}

// chosenLive is the chosen value with a key, nil when it is not chosen.
func (l *liveState) chosenLive(key string) *liveSeries {
	if i := slices.IndexFunc(l.chosen, func(s *liveSeries) bool { return s.item.key == key }); i >= 0 {
		return l.chosen[i]
	}
	return nil
}
