package app

import (
	"context"
	"reflect"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
)

// judgeEvery is how often it is asked how the bus does, which sends nothing to the car.
const judgeEvery = 2 * time.Second

// askHealth asks how the bus does.
func (w *Window) askHealth() {
	v := w.link.visit
	if v == nil || w.link.gone != nil {
		return
	}
	w.link.judged = w.now()
	w.act(func(ctx context.Context) func() {
		h, ok, err := v.Health(ctx)
		if err == nil && ok {
			w.opt.Do(func() { w.takeHealth(v, h) })
		}
		return nil
	})
}

// takeHealth takes over how the bus does. The window is drawn when that shows: the page of the link tells it in full, the
// others only whether anything may still be sent.
func (w *Window) takeHealth(v Visit, h diag.Health) {
	if w.ctx.Err() != nil || w.link.visit != v {
		return
	}
	before := w.link.health
	w.link.health = &h
	if before == nil || before.StopSending != h.StopSending || w.page == PageLink && !reflect.DeepEqual(*before, h) {
		w.draw()
	}
}

// watchHealth asks again from time to time, where the adapter shows its bus.
func (w *Window) watchHealth() {
	if w.link.health != nil && w.now().Sub(w.link.judged) >= judgeEvery {
		w.askHealth()
	}
}

// stopped is how a bus does on which nothing more may be sent, nil on every other.
func (w *Window) stopped() *diag.Health {
	if h := w.link.health; h != nil && h.StopSending && w.link.visit != nil {
		return h
	}
	return nil
}

// standingHealth says what is not as it should be with the bus, where the adapter shows it. A live bus is a step of the link
// test, and what stops the sending has a notice of its own.
func (w *Window) standingHealth() fyne.CanvasObject {
	h := w.link.health
	if h == nil || h.StopSending || h.Verdict == diag.HealthAlive {
		return nil
	}
	parts := []fyne.CanvasObject{look.Head(T("health.title")), look.Body(told(h.Text))}
	parts = append(append(parts, causes(T("trouble.causes"), h.Causes)...), w.healthNext(h)...)
	if h.Verdict == diag.HealthQuiet {
		return look.Boxed(look.Stack(4, parts...))
	}
	return look.Noted(look.Amber, look.Stack(4, parts...))
}

func (w *Window) healthNext(h *diag.Health) []fyne.CanvasObject {
	out := []fyne.CanvasObject{look.Body(leadIn(T("health.next"), told(h.Next)))}
	if h.Command != "" {
		out = append(out, w.command(h.Command))
	}
	return out
}

// stopNotice says why nothing more may be sent, and what to do now; nil where it may.
func (w *Window) stopNotice() fyne.CanvasObject {
	h := w.stopped()
	if h == nil {
		return nil
	}
	parts := []fyne.CanvasObject{look.Head(T("health.stop")), look.Body(told(h.Text)), look.Small(T("health.held"))}
	parts = append(append(parts, causes(T("trouble.causes"), h.Causes)...), w.healthNext(h)...)
	if !w.busy() {
		parts = append(parts, look.Buttons(look.NewButton("connect-anew", T("link.anew"), look.Plain, w.connectAnew)))
	}
	return look.Noted(look.Danger, look.Stack(6, parts...))
}

// connectAnew opens the adapter of the visit again.
func (w *Window) connectAnew() {
	if v := w.link.visit; v != nil {
		w.Show(PageLink)
		w.connect(v.Place())
	}
}

// goneNotice says that the adapter has gone; nil while it is there.
func (w *Window) goneNotice() fyne.CanvasObject {
	l := &w.link
	if l.visit == nil || l.gone == nil {
		return nil
	}
	parts := w.troubleParts(l.gone)
	if !w.busy() {
		parts = append(parts, look.Buttons(look.NewButton("connect-anew", T("link.anew"), look.Main, w.connectAnew)))
	}
	return look.Noted(look.Alert, look.Stack(6, parts...))
}

// readOnly is why no change can be sent through the adapter of this visit, "" where it can.
func (w *Window) readOnly() string {
	if w.link.visit == nil {
		return ""
	}
	return w.link.visit.Adapter().ReadOnly
}

// readOnlyNotice says up front that no change can be sent through this adapter, why, and what to get; nil where it can.
func (w *Window) readOnlyNotice() fyne.CanvasObject {
	why := w.readOnly()
	if why == "" {
		return nil
	}
	return look.Noted(look.Amber, look.Stack(4, look.Head(T("link.read-only")), look.Body(told(why)), look.Body(T("read-only.still")), look.Body(leadIn(T("read-only.what"), T("read-only.get")))))
}

// hindrances are the notices that stand above whatever sends: the adapter has gone, nothing may be sent, the supply.
func (w *Window) hindrances() []fyne.CanvasObject {
	var out []fyne.CanvasObject
	for _, n := range []fyne.CanvasObject{w.goneNotice(), w.stopNotice(), w.supplyNotice()} {
		if n != nil {
			out = append(out, n)
		}
	}
	return out
}

// mayAsk tells whether anything may be sent now at all.
func (w *Window) mayAsk() bool {
	return w.link.visit != nil && w.link.gone == nil && w.stopped() == nil
}
