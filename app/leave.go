package app

import (
	"context"
	"strings"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
)

// longWork is how long something takes whose end is worth a notification.
const longWork = 10 * time.Second

// leaveState is what has to be said when the window is closed, or when work ends that the owner does not look at.
type leaveState struct {
	visit   Visit // the newest one
	plugged bool  // an adapter was put into a car that nobody has been reminded of
	from    Page  // the page before the reminder
	away    bool  // the window is not in front
	reading *looking
	opened  *talkReading
	since   time.Time // when that recording began to be read
}

// watchWork notices that a visit has begun and that long work has ended.
func (w *Window) watchWork() {
	l := &w.leaving
	if v := w.link.visit; v != nil && v != l.visit {
		l.visit, l.plugged = v, !v.Adapter().Practice && !strings.HasPrefix(string(v.Place()), "replay")
	}
	if l.reading != nil && w.code.looking == nil {
		w.readRecent()
		if w.now().Sub(l.reading.begun) >= longWork {
			w.notify(w.readingEnded())
		}
	}
	l.reading = w.code.looking
	if l.opened != nil && w.said.reading == nil && w.now().Sub(l.since) >= longWork {
		w.notify(T("tell.recording"), T("tell.recording.text", "File", l.opened.name))
	}
	if l.opened != w.said.reading {
		l.opened, l.since = w.said.reading, w.now()
	}
}

// readingEnded says how a reading of the car has ended.
func (w *Window) readingEnded() (title, text string) {
	if w.code.lookErr != nil {
		return T("tell.read.short"), errorText(w.code.lookErr)
	}
	codes, modules, _ := w.code.count()
	return T("tell.read"), N("stand.codes", codes, "Modules", N("n.modules", modules))
}

// notify tells the owner something while the window is not in front.
func (w *Window) notify(title, text string) {
	if !w.leaving.away {
		return
	}
	w.act(func(context.Context) func() {
		w.app.SendNotification(fyne.NewNotification(title, text))
		return nil
	})
}

// quit closes the window as its own button does.
func (w *Window) quit() {
	if w.MayClose() {
		w.win.Close()
	}
}

// MayClose tells whether the window may be closed now. While a request is on its way it may not: the page that says
// so is shown instead. Once after each visit to a car the owner is first reminded of the plug; closing again closes.
func (w *Window) MayClose() bool {
	s := w.pass.sending
	if s != nil && s.stage != diag.SendReadBack && s.stage != diag.SendDone {
		w.Show(PageGate)
		return false
	}
	if w.leaving.plugged {
		w.leaving.plugged, w.leaving.from = false, w.page
		if c := w.pick.now; c != nil {
			w.leaving.from = c.from
		}
		w.Show(PageLeave)
		return false
	}
	return true
}

// leavePage reminds of the plug in the car.
func (w *Window) leavePage() (body, margin fyne.CanvasObject) {
	stay := func() { w.Show(w.leaving.from) }
	return look.Stack(18, w.header(T("leave.title"), T("leave.lead")),
		look.Noted(look.Amber, look.Stack(4, look.Head(T("notice")), look.Body(T("leave.why")))),
		look.Boxed(look.Stack(6, look.Body(T("leave.1")), look.Body(T("leave.2")), look.Body(T("leave.3")))),
		look.Buttons(look.NewButton("close-now", T("leave.close"), look.Main, w.win.Close), look.NewButton("stay", T("leave.stay"), look.Plain, stay))), w.margin(T("source.leave"), T("leave.m.kept"), T("leave.m.kept.text"))
}
