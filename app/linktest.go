package app

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"strings"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/adapter"
)

// rungs draws the link test as far as it has come. failed is the step that ended it, "" where none did.
func (w *Window) rungs(climbed map[adapter.Step]adapter.Rung, failed adapter.Step) fyne.CanvasObject {
	var rows []fyne.CanvasObject
	reached := false
	for _, s := range adapter.Steps() {
		r, known := climbed[s]
		sign, word := look.MarkWaiting, T("rung.later")
		switch {
		case s == failed:
			sign, word, reached = look.MarkOpen, T("rung.failed"), true
		case known && r.State == adapter.RungTrying:
			word = T("rung.trying")
		case known:
			sign, word = rungSigns[r.State], T("rung."+string(r.State))
		case failed != "" && !reached && s != adapter.StepSupply:
			sign, word = look.MarkTick, T("rung.held")
		}
		text := []fyne.CanvasObject{look.Body(T("rung." + string(s)))}
		if r.Seen != "" {
			text = append(text, look.Small(told(r.Seen)))
		}
		rows = append(rows, look.Pad(7, 14, 7, 14, look.Row(12, look.Natural(look.NewMark(sign, 20)), look.Growing(look.Stack(1, text...)), look.Natural(look.Small(word)))))
	}
	return look.Rows(rows...)
}

// rungSigns are the marks of the steps that have been taken.
var rungSigns = map[adapter.RungState]look.Sign{adapter.RungTrying: look.MarkWaiting, adapter.RungHeld: look.MarkTick, adapter.RungDoubtful: look.MarkUnknown,
	adapter.RungUnknown: look.MarkUnknown, adapter.RungFailed: look.MarkOpen}

// standingRungs are the steps of an open link: those that its driver has told, and what is known of the others.
func (w *Window) standingRungs() map[adapter.Step]adapter.Rung {
	l := &w.link
	out := maps.Clone(l.climbed)
	add := func(s adapter.Step, state adapter.RungState, seen string) {
		if _, known := out[s]; !known {
			out[s] = adapter.Rung{Step: s, State: state, Seen: seen}
		}
	}
	add(adapter.StepPort, adapter.RungHeld, "")
	add(adapter.StepAdapter, adapter.RungHeld, "")
	if l.supply.known {
		add(adapter.StepSupply, adapter.RungHeld, T("supply.plain", "Volts", decimal(l.supply.raw(), 1)))
	}
	add(adapter.StepSupply, adapter.RungUnknown, T("cannot.supply"))
	if r := out[adapter.StepSupply]; r.State == adapter.RungHeld && l.supply.texts(w.now()) != "" {
		r.State = adapter.RungDoubtful
		out[adapter.StepSupply] = r
	}
	if l.health != nil {
		add(adapter.StepBus, healthRungs[l.health.Verdict], l.health.Text)
	}
	return out
}

// healthRungs is how the step of the bus stands, by how the bus does.
var healthRungs = map[diag.HealthVerdict]adapter.RungState{
	diag.HealthAlive: adapter.RungHeld, diag.HealthBusy: adapter.RungHeld, diag.HealthLosing: adapter.RungDoubtful, diag.HealthDisturbed: adapter.RungDoubtful,
	diag.HealthQuiet: adapter.RungUnknown, diag.HealthUnanswered: adapter.RungUnknown,
	diag.HealthAlone: adapter.RungFailed, diag.HealthWrongRate: adapter.RungFailed, diag.HealthUnreadable: adapter.RungFailed, diag.HealthOff: adapter.RungFailed, diag.HealthDown: adapter.RungFailed,
}

// openTrouble says what went wrong, on the rung where it did.
func (w *Window) openTrouble() fyne.CanvasObject {
	l := &w.link
	if errors.Is(l.openErr, context.Canceled) {
		return look.Noted(look.Accent, look.Body(T("link.stopped")))
	}
	var open *adapter.OpenError
	left := T("sent.nothing")
	_, tried := l.climbed[adapter.StepBus]
	if errors.As(l.openErr, &open) && (open.Step == adapter.StepBus || tried) { // the search for a bus asks the car
		left = T("link.failed.asked")
	}
	parts := []fyne.CanvasObject{look.Head(T("link.failed", "Place", l.tried))}
	parts = append(parts, w.troubleParts(l.openErr)...)
	parts = append(parts, look.Small(left), look.Buttons(look.NewButton("again", T("link.again"), look.Main, func() { w.connect(l.tried) })))
	if open == nil {
		return look.Noted(look.Alert, look.Stack(6, parts...))
	}
	return look.Stack(12, look.Noted(look.Alert, look.Stack(6, parts...)), look.Stack(6, look.Head(T("link.test")), w.rungs(l.climbed, open.Step)))
}

// testCard shows the link test of an open link, and what to do where a step of it failed or told nothing.
func (w *Window) testCard() fyne.CanvasObject {
	l := &w.link
	rungs := w.standingRungs()
	var parts []fyne.CanvasObject
	switch module := rungs[adapter.StepModule]; {
	case l.testing, w.stopped() != nil:
	case l.testErr != nil && !errors.Is(l.testErr, context.Canceled):
		parts = append(parts, look.Noted(look.Alert, look.Stack(6, append([]fyne.CanvasObject{look.Head(T("link.test.failed"))}, w.troubleParts(l.testErr)...)...)), look.Gap(6))
	case module.State == adapter.RungUnknown:
		if t, ok := diag.TroubleFor(diag.NoData); ok {
			parts = append(parts, look.Noted(look.Amber, look.Stack(6, append([]fyne.CanvasObject{look.Head(T("link.test.silent"))}, w.causesAndNext(t)...)...)), look.Gap(6))
		}
	}
	return look.Stack(6, append(parts, look.Head(T("link.test")), w.rungs(rungs, ""))...)
}

// troubleParts says of an error what was seen, what is likely behind it, and the one thing to do next on this system.
func (w *Window) troubleParts(err error) []fyne.CanvasObject {
	t, ok := diag.TroubleOf(err)
	if ok {
		w.restsOn(t)
	}
	var rights *adapter.RightsError
	switch {
	case errors.As(err, &rights):
		return append(append([]fyne.CanvasObject{look.Body(told(t.Seen))}, causes(T("trouble.causes"), t.Causes)...),
			look.Body(leadIn(T("health.next"), T("link.fix"))), w.command(rights.Command), look.Body(told(rights.Then)))
	case !ok:
		return []fyne.CanvasObject{look.Body(errorText(err))}
	case t.Key == diag.StopsLater: // the sentence knows that the adapter has gone, and what to do then
		return append([]fyne.CanvasObject{look.Body(errorText(err))}, causes(T("trouble.causes.else"), t.Causes)...)
	}
	return append([]fyne.CanvasObject{look.Body(told(t.Seen))}, w.causesAndNext(t)...)
}

func (w *Window) causesAndNext(t diag.Trouble) []fyne.CanvasObject {
	w.restsOn(t)
	return append(causes(T("trouble.causes"), t.Causes), w.nextStep(t.NextOn(w.opt.System))...)
}

// causes are numbered, the likeliest first.
func causes(head string, list []string) []fyne.CanvasObject {
	if len(list) == 0 {
		return nil
	}
	out := []fyne.CanvasObject{look.Small(head)}
	for i, c := range list {
		out = append(out, look.Row(8, look.Natural(look.Small(fmt.Sprintf("%d.", i+1))).At(look.Top), look.Growing(look.Small(told(c))).At(look.Top)))
	}
	return out
}

// nextStep is the one thing to do, with the command in it apart, so that it can be copied.
func (w *Window) nextStep(next string) []fyne.CanvasObject {
	text, command := commandIn(next)
	out := []fyne.CanvasObject{look.Body(leadIn(T("health.next"), told(text)))}
	if command != "" {
		out = append(out, w.command(command))
	}
	return out
}

// commandIn parts the command at the end of a sentence from it; command is "" where there is none.
func commandIn(next string) (text, command string) {
	text, command, ok := cutLast(next, ": ")
	if !ok || strings.HasSuffix(command, ".") || strings.Contains(command, ", ") {
		return next, ""
	}
	return text + ":", command
}

func cutLast(s, sep string) (before, after string, found bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return s, "", false
}

// command shows what is to be typed into a terminal, with a button that copies it.
func (w *Window) command(command string) fyne.CanvasObject {
	word := T("copy")
	if w.link.copied == command {
		word = T("copied")
	}
	return look.Row(10, look.Growing(look.AsIs(command, look.Style{Mono: true, Size: look.SizeSmall})),
		look.Natural(look.NewButton("copy "+command, word, look.Plain, func() {
			w.app.Clipboard().SetContent(command)
			w.link.copied = command
			w.draw()
		}).Small()))
}
