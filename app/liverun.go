package app

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"readback/app/look"
	"readback/diag"
	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/quantity"
	"readback/diag/signal"
	"readback/diag/trace"
)

// liveSeries is a chosen value while it is read.
type liveSeries struct {
	item  liveItem
	units quantity.Choice // in which its numbers are shown
	lines []*liveLine     // its numbers
	texts []liveText      // what it tells in words
	why   string          // why it tells nothing now
	rate  float64         // readings a second
	last  time.Time       // of its newest reading, or of its newest silence
	times []time.Time     // of the newest readings of what is heard
	pace  *look.Figure
	words *look.Figure // its words in a row, as far as there is room
}

// liveLine is one number of a value.
type liveLine struct {
	label, unit string
	digits      int
	style       int
	course      *look.Course
	value       string                      // the newest; "" when there is none now
	named       func(number float64) string // names of single numbers; nil where there are none
	name        string                      // of the newest
	now         *look.Figure
}

// liveText is one state of a value.
type liveText struct{ label, text string }

func newLiveLine(label, unit string, digits int) *liveLine {
	return &liveLine{label: label, unit: unit, digits: digits, style: -1, course: &look.Course{}, now: look.NewFigure(look.Style{Bold: true}).Right()}
}

func newLiveSeries(i liveItem, units quantity.Choice) *liveSeries {
	s := &liveSeries{item: i, units: units, pace: look.NewFigure(look.Style{Size: look.SizeFine, Color: look.Soft}).Right(), words: look.NewFigure(look.Style{Size: look.SizeSmall}).Right()}
	for _, p := range i.value.Parts {
		q := units.Of(quantity.Quantity{Unit: quantity.Unit(p.Unit), Digits: p.Digits})
		s.lines = append(s.lines, newLiveLine(p.Label, told(string(q.Unit)), q.Digits))
	}
	if i.signal != nil {
		line := newLiveLine("", i.signal.Unit, digitsOf(i.signal))
		if len(i.signal.Texts) > 0 {
			line.named = i.signal.Named
		}
		s.lines = append(s.lines, line)
	}
	return s
}

// digitsOf is how many digits behind the point the values of a signal have, four at the most.
func digitsOf(s *signal.Signal) int {
	text := strconv.FormatFloat(s.Factor, 'f', -1, 64)
	if s.Float {
		return 3
	}
	_, behind, _ := strings.Cut(text, ".")
	return min(4, len(behind))
}

// lines counts the numbers of all chosen values.
func (l *liveState) lines() (n int) {
	for _, s := range l.chosen {
		n += len(s.lines)
	}
	return n
}

// freeStyle is the first style that no line has.
func (l *liveState) freeStyle(also []*liveLine) int {
	for style := range look.CourseStyles {
		used := slices.ContainsFunc(also, func(x *liveLine) bool { return x.style == style })
		for _, s := range l.chosen {
			used = used || slices.ContainsFunc(s.lines, func(x *liveLine) bool { return x.style == style })
		}
		if !used {
			return style
		}
	}
	return 0
}

// told is what a value tells in words, or why it tells nothing.
func (s *liveSeries) told() string {
	if s.why != "" {
		return told(s.why)
	}
	var out []string
	for _, t := range s.texts {
		if t.label == "" {
			out = append(out, told(t.text))
		} else {
			out = append(out, told(t.label)+": "+told(t.text))
		}
	}
	return commas(out)
}

// shown is a reading in the units that the owner has chosen. A signal keeps the unit of its definition file.
func (s *liveSeries) shown(x diag.Sample) diag.Sample {
	if s.item.signal == nil {
		q := s.units.Of(quantity.Quantity{Value: x.Value, Unit: quantity.Unit(x.Unit), Digits: x.Digits})
		x.Value, x.Unit, x.Digits = q.Value, string(q.Unit), q.Digits
	}
	return x
}

// reunit begins the drawings of all chosen values anew in the units that the owner has chosen.
func (w *Window) reunit() {
	l := &w.live
	units := w.opt.Taste.Units
	for n, old := range l.chosen {
		if old.units == units || old.item.signal != nil {
			continue
		}
		s := newLiveSeries(itemOf(old.item.value, units), units)
		for i, x := range s.lines {
			x.style = old.lines[i].style
		}
		l.chosen[n] = s
	}
}

// take takes a reading over. It reports whether a row or words that stand in the margin have changed.
func (s *liveSeries) take(x diag.Sample, room bool) (changed bool) {
	s.last, s.rate = x.At, x.Rate
	if x.State != garage.Yes {
		changed = s.why != x.Text
		s.why, s.rate = x.Text, 0
		for _, line := range s.lines {
			line.course.Break()
			line.value, line.name = "", ""
		}
		return changed
	}
	changed = s.why != ""
	s.why = ""
	if x.Number {
		x = s.shown(x)
		i := slices.IndexFunc(s.lines, func(line *liveLine) bool { return line.label == x.Label })
		if i < 0 {
			if !room {
				return changed
			}
			i, changed = len(s.lines), true
			s.lines = append(s.lines, newLiveLine(x.Label, told(x.Unit), x.Digits))
		}
		x.Unit = s.lines[i].unit
		s.lines[i].course.Add(x.At, x.Value)
		line := s.lines[i]
		line.value = figures(x.Shown())
		if line.named != nil {
			name := line.named(x.Value)
			changed, line.name = changed || name != line.name, name
		}
		return changed
	}
	i := slices.IndexFunc(s.texts, func(t liveText) bool { return t.label == x.Label })
	if i < 0 {
		i = len(s.texts)
		s.texts = append(s.texts, liveText{label: x.Label})
		changed = true
	}
	if s.texts[i].text != x.Text {
		s.texts[i].text = x.Text
		changed = changed || x.Raw == nil || x.Text != x.Raw.String() // bytes have room in their row and change all the time
	}
	return changed
}

// liveRun is one reading of the chosen values, until it is ended or they change.
type liveRun struct {
	stop    context.CancelFunc
	samples chan diag.Sample
	beats   int
}

// A value that has changed is shown at the next beat, and the plot with it. While none has, the plot moves on at every liveRest
// of them; the rates, which always change, are shown at every liveRates.
const (
	liveRest  = 2
	liveRates = 4
)

// liveQueue is how many readings may wait for the window. When there are more, reading waits.
const liveQueue = 2048

// startWatching begins to read the chosen values.
func (w *Window) startWatching() {
	l, v := &w.live, w.link.visit
	if l.run != nil || l.asking != nil || w.busy() || !w.mayAsk() || len(l.chosen) == 0 {
		return
	}
	var keys []diag.LiveKey
	for _, s := range l.chosen {
		if s.item.signal == nil {
			keys = append(keys, s.item.value.Key)
		}
		for _, line := range s.lines {
			line.course.Break()
		}
	}
	ctx, stop := context.WithCancel(w.ctx)
	r := &liveRun{stop: stop, samples: make(chan diag.Sample, liveQueue)}
	l.run, l.end, l.endErr = r, "", nil
	_, l.heard = v.Since(^uint64(0))
	l.plot.Hold(false)
	if len(keys) > 0 {
		w.actIn(ctx, func(ctx context.Context) func() {
			defer stop()
			err := w.watch(ctx, v, keys, r)
			return func() {
				if l.run == r {
					w.stopWatching(liveBroken, err)
				}
			}
		})
	}
	w.draw()
}

// watch reads until its context ends, which is no error, or until something breaks.
func (w *Window) watch(ctx context.Context, v Visit, keys []diag.LiveKey, r *liveRun) error {
	for s, err := range v.Watch(ctx, keys) {
		if err != nil {
			return err
		}
		w.live.log.write(s)
		select {
		case r.samples <- s:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return ctx.Err()
}

// watchAgain reads what is chosen now, if something was read until now.
func (w *Window) watchAgain() {
	l := &w.live
	if l.run == nil {
		return
	}
	l.run.stop()
	w.takeLive()
	l.run = nil
	if len(l.chosen) == 0 {
		w.endLog()
		return
	}
	w.startWatching()
}

// stopWatching ends reading. What has come until then counts.
func (w *Window) stopWatching(end liveEnd, err error) {
	l := &w.live
	if l.run == nil {
		return
	}
	l.run.stop()
	w.takeLive()
	l.run, l.end, l.endErr = nil, end, err
	w.endLog()
}

// followLive takes what has come and shows it.
func (w *Window) followLive() {
	if w.ctx.Err() != nil || w.live.run == nil {
		return
	}
	read, changed := w.takeLive()
	switch {
	case read && w.stopped() != nil: // nothing more may be sent on this bus
		w.stopWatching(liveBroken, nil)
		w.draw()
	default:
		w.showLiveNow(changed)
	}
}

// takeLive takes what was read and what was heard since the last time. It reports whether something was read, and whether the
// page has to be built anew.
func (w *Window) takeLive() (read, changed bool) {
	for samples := w.live.run.samples; ; read = true {
		select {
		case x := <-samples:
			changed = w.takeSample(x) || changed
			continue
		default:
		}
		break
	}
	return read, w.hearSignals() || changed
}

func (w *Window) takeSample(x diag.Sample) (changed bool) {
	l := &w.live
	if x.At.After(l.newest) {
		l.newest = x.At
	}
	s := l.chosenLive(x.Key.String())
	if s == nil {
		return false
	}
	before := len(s.lines)
	changed = s.take(x, l.lines() < look.CourseStyles)
	for _, line := range s.lines[before:] {
		line.style = l.freeStyle(nil)
	}
	return changed
}

// showLiveNow moves the plot on. Only what moves is drawn again, the page itself when its words have changed, and nothing of
// what is out of sight.
func (w *Window) showLiveNow(changed bool) {
	l := &w.live
	if l.log.failed() {
		w.endLog()
		changed = true
	}
	switch {
	case w.page != PageLive:
	case changed:
		w.draw()
	case !l.choosing:
		r := l.run
		if r.beats++; r.beats%liveRates == 0 {
			w.showRates()
		}
		if w.showValues() || r.beats%liveRest == 0 {
			l.plot.Now(l.newest)
			w.showValues() // a line under the pointer is at another time now
		}
	}
}

// staleAfter is how long a rate counts when nothing has come.
const staleAfter = 3 * time.Second

// showFigures sets the numbers beside the plot.
func (w *Window) showFigures() {
	w.showRates()
	w.showValues()
}

// showValues sets the values: those of the line in the plot, else the newest. It tells whether one has changed.
func (w *Window) showValues() (changed bool) {
	l := &w.live
	at := l.plot.Pointed()
	when := T("live.newest")
	if !at.IsZero() {
		when = T("live.at", "Time", figures(at.Local().Format("15:04:05.0")))
	}
	l.when.Set(when)
	for _, s := range l.chosen {
		words := s.told()
		if words == "" {
			words = T("live.not-yet")
		}
		changed = s.words.Set(words) || changed
		for _, x := range s.lines {
			changed = x.now.Set(x.shown(at, s.why)) || changed
		}
	}
	return changed
}

// showRates sets how often the values come, and how many of them were saved.
func (w *Window) showRates() {
	l := &w.live
	total := 0.0
	for _, s := range l.chosen {
		rate := s.rate
		if l.run == nil || l.newest.Sub(s.last) > staleAfter {
			rate = 0
		}
		total += rate
		s.pace.Set(perSecond(rate))
	}
	l.total.Set(perSecond(total))
	if l.saving != "" {
		l.saved.Set(grouped(l.log.count()))
	}
}

// shown is the number with its unit at a time, the newest where the time is zero.
func (x *liveLine) shown(at time.Time, why string) string {
	value, name := x.value, x.name
	switch {
	case !at.IsZero():
		low, high, ok := x.course.Told(at)
		a, b := decimal(low, x.digits), decimal(high, x.digits)
		name = ""
		switch {
		case !ok:
			return T("live.untold")
		case a == b:
			value = a
			if x.named != nil {
				name = x.named(low)
			}
		default:
			value = T("live.between", "Low", a, "High", b)
		}
	case value == "" && why != "":
		return told(why)
	case value == "":
		return T("live.not-yet")
	}
	for _, s := range []string{x.unit, name} {
		if s != "" {
			value += " " + s
		}
	}
	return value
}

func perSecond(rate float64) string {
	if rate >= 99.95 {
		return decimal(rate, 0)
	}
	return decimal(rate, 1)
}

// hearSignals takes in what was said on the bus since the last time, as far as it holds chosen signals. It reports whether the
// page has to be built anew.
func (w *Window) hearSignals() (changed bool) {
	l := &w.live
	if w.link.visit == nil {
		return false
	}
	heard := map[link.ID][]*liveSeries{}
	for _, s := range l.chosen {
		if s.item.signal != nil {
			heard[s.item.message.ID] = append(heard[s.item.message.ID], s)
		}
	}
	if len(heard) == 0 {
		return false
	}
	entries, newest := w.link.visit.Since(l.heard)
	l.heard = newest
	var values []signal.Value
	for i := range entries {
		e := &entries[i]
		if e.Level != trace.Frame {
			continue
		}
		all := heard[e.ID]
		if len(all) == 0 {
			continue
		}
		values = all[0].item.message.Append(values[:0], e.Data)
		for _, s := range all {
			x := s.heardSample(e.At, values)
			l.log.write(x)
			if x.At.After(l.newest) {
				l.newest = x.At
			}
			changed = s.take(x, false) || changed
		}
	}
	return changed
}

// heardOver is over how many readings the rate of what is heard is measured.
const heardOver = 16

// heardSample is a chosen signal in a frame.
func (s *liveSeries) heardSample(at time.Time, values []signal.Value) diag.Sample {
	x := diag.Sample{Name: s.item.message.Name + " " + s.item.name, At: at, State: garage.Silent, Text: T("heard.missing"), Unit: s.item.signal.Unit, Digits: s.lines[0].digits}
	i := slices.IndexFunc(values, func(v signal.Value) bool { return v.Signal == s.item.signal })
	if i < 0 || values[i].Missing {
		return x
	}
	s.times = append(s.times, at)
	if len(s.times) > heardOver {
		s.times = slices.Delete(s.times, 0, len(s.times)-heardOver)
	}
	if span := at.Sub(s.times[0]).Seconds(); span > 0 {
		x.Rate = float64(len(s.times)-1) / span
	}
	x.State, x.Text, x.Number, x.Value = garage.Yes, "", true, values[i].Number
	return x
}
