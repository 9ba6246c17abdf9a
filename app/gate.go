package app

import (
	"context"
	"slices"
	"strings"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/explain"
	"readback/diag/gate"
)

// remeasureEvery is how often the car's state is measured while the gate is shown.
const remeasureEvery = 5 * time.Second

// gateState is the gate for the request that is written.
type gateState struct {
	latches    []gate.Latch
	measuring  bool
	measured   time.Time
	measureErr error
	words      *look.Field
	hold       *look.Hold
	drawing    *look.Gate
	alone      bool // the owner has ticked that the button need not be held
	sending    *sending
	sendErr    error
}

// sending is a request that is under way.
type sending struct {
	request explain.Explanation
	stage   diag.SendStage
	reading *diag.Progress
	answers []diag.Answer
	begun   time.Time
	stop    context.CancelFunc // ends the reading afterwards, never the request
	stopped bool
}

// leave forgets what was measured and said for another request.
func (g *gateState) leave() {
	g.latches, g.alone, g.sendErr = nil, false, nil
	if g.words != nil && g.words.Text != "" {
		g.words.SetText("")
	}
}

// shut counts the latches that are not in line.
func (g *gateState) shut() (n int) {
	for _, l := range g.latches {
		if !l.InLine {
			n++
		}
	}
	return n
}

// awaited tells whether a latch's value is being measured for the first time, so that nobody can tell yet how it stands.
func (g *gateState) awaited(l gate.Latch) bool {
	switch l.Key {
	case gate.Standing, gate.DriveOff, gate.SupplyGood, gate.NotCharging:
		return g.measuring && g.measured.IsZero() && l.Source == gate.Nothing
	}
	return false
}

// await tells whether any latch is.
func (g *gateState) await() bool { return slices.ContainsFunc(g.latches, g.awaited) }

func (w *Window) makeGateFields() {
	w.pass.words = look.NewField("words", T("gate.words.hint"), true, func(s string) {
		if w.link.visit == nil {
			return
		}
		w.link.visit.SayBack(s)
		w.draw()
	})
	w.pass.hold = look.NewHold("hold", T("gate.hold"), w.opt.Do, func(part float32) {
		if w.pass.drawing != nil {
			w.pass.drawing.Travel(part)
		}
	}, w.sendChange)
}

// enterGate measures anew.
func (w *Window) enterGate() {
	w.pass.measured = time.Time{}
	w.remeasure()
}

// remeasure measures the car's state in the background, unless that is under way or was done just now.
func (w *Window) remeasure() {
	g, v := &w.pass, w.link.visit
	if v == nil || g.measuring || w.busy() || !w.atGate() || !w.mayAsk() || w.readOnly() != "" || w.now().Sub(g.measured) < remeasureEvery {
		return
	}
	g.measuring = true
	w.act(func(ctx context.Context) func() {
		err := v.Measure(ctx)
		supply := w.refreshSupply(ctx, v)
		return func() {
			g.measuring, g.measured, g.measureErr = false, w.now(), err
			if w.link.visit == v {
				supply()
			}
		}
	})
}

// atGate tells whether there is a change to be let through.
func (w *Window) atGate() bool {
	return w.link.visit != nil && w.req.sendable() && w.req.explained.Class == explain.Change
}

// send sends a request once: a look as it is, a change through the gate.
func (w *Window) send(e explain.Explanation) {
	v := w.link.visit
	if v == nil || w.busy() {
		return
	}
	ctx, stop := context.WithCancel(w.ctx)
	s := &sending{request: e, begun: w.now(), stop: stop}
	w.pass.sending, w.pass.sendErr = s, nil
	w.back.result = nil
	w.act(func(context.Context) func() {
		defer stop()
		var failed error
		for step, err := range v.Send(ctx, e) {
			if err != nil {
				failed = err
				break
			}
			w.door.hand("", func() { s.take(step) })
		}
		supply := w.refreshSupply(w.ctx, v)
		return func() {
			if w.link.visit != v {
				return
			}
			w.pass.sending, w.pass.sendErr, w.pass.alone = nil, failed, false
			w.pass.measured = time.Time{}
			w.back.take(v.Result(), failed, w.code)
			w.takeRecord()
			w.logs.chosen = 0
			w.readLogbook()
			supply()
			w.Show(PageReadBack)
		}
	})
	w.main.ToTop()
	w.draw()
}

func (s *sending) take(step diag.SendStep) {
	s.stage = step.Stage
	if step.Progress != nil {
		s.reading = step.Progress
	}
	if step.Answer != nil {
		s.answers = append(s.answers, *step.Answer)
	}
}

// sendChange is what the held button does.
func (w *Window) sendChange() {
	if w.atGate() && w.pass.shut() == 0 && w.mayAsk() && w.readOnly() == "" {
		w.send(w.req.explained)
	}
}

func (w *Window) gatePage() (body, margin fyne.CanvasObject) {
	g := &w.pass
	switch {
	case w.link.visit == nil:
		return w.empty(T("gate.no-link.title"), T("gate.no-link.lead"), "go-link", T("go.link"), PageLink), w.gateMargin()
	case g.sending != nil:
		return w.sendingBody(), w.sendingMargin()
	case w.readOnly() != "":
		return look.Stack(18, w.header(T("gate.read-only.title"), T("sent.nothing")), w.readOnlyNotice(), look.Buttons(
			look.NewButton("go-link", T("read-only.more"), look.Plain, func() { w.Show(PageLink) }),
			look.NewButton("go-request", T("go.request"), look.Plain, func() { w.Show(PageRequest) }))), w.gateMargin()
	case !w.atGate():
		return w.empty(T("gate.no-request.title"), T("gate.no-request.lead"), "go-request", T("go.request"), PageRequest), w.gateMargin()
	case !w.mayAsk():
		body := append([]fyne.CanvasObject{w.header(T("gate.held.title"), T("sent.nothing"))}, w.hindrances()...)
		return look.Stack(18, append(body, look.Buttons(look.NewButton("go-link", T("go.link"), look.Plain, func() { w.Show(PageLink) })))...), w.gateMargin()
	}
	e := w.req.explained
	g.latches = w.link.visit.Latches(e)
	shut := g.shut()
	title, lead := T("gate.open.title"), T("gate.open.lead")
	if shut > 0 {
		title, lead = N("gate.closed.title", shut, "Count", spelled(shut)), T("gate.closed.lead")
	}
	if g.await() {
		title = T("gate.measuring.title")
	}
	drawn := make([]look.Latch, len(g.latches))
	for i, l := range g.latches {
		word := T("latch.in-line")
		switch {
		case g.awaited(l):
			word = T("latch.measuring")
		case !l.InLine:
			word = T("latch.open")
		}
		drawn[i] = look.Latch{Label: T("latch." + string(l.Key)), InLine: l.InLine, Awaited: g.awaited(l), Word: word}
	}
	g.drawing = look.NewGate(drawn, T("gate.car")).Low(w.lowWindow())
	g.drawing.Travel(g.hold.Progress())
	parts := []fyne.CanvasObject{w.header(title, lead)}
	if n := w.supplyNotice(); n != nil {
		parts = append(parts, n)
	}
	parts = append(parts, look.Rows(g.drawing))
	if g.sendErr != nil {
		parts = append(parts, look.Noted(look.Alert, look.Stack(4, w.troubleParts(g.sendErr)...)))
	}
	if g.measureErr != nil {
		parts = append(parts, look.Noted(look.Amber, look.Body(T("gate.measure-failed", "Why", errorText(g.measureErr)))))
	}
	var rows []fyne.CanvasObject
	for _, l := range g.latches {
		rows = append(rows, w.latchRow(l))
	}
	gap := float32(14)
	if w.lowWindow() {
		gap = 8
	}
	return look.Stack(gap, append(parts, look.Rows(rows...))...), w.gateMargin()
}

// gateStands tells whether the gate is shown, with the key before it.
func (w *Window) gateStands() bool {
	return w.atGate() && w.pass.sending == nil && w.readOnly() == "" && w.mayAsk()
}

// gateFoot is where the key stands.
func (w *Window) gateFoot() fyne.CanvasObject {
	return look.Stack(0, look.Hair(), look.Pad(7, besidePage, 7, besidePage, w.holdRow(w.req.explained, w.pass.shut())))
}

// latchRow is one latch: its state, its value with age and source, and what the owner can do about it.
func (w *Window) latchRow(l gate.Latch) fyne.CanvasObject {
	sign := look.MarkTick
	if !l.InLine {
		sign = look.MarkOpen
	}
	about := told(l.Why)
	if l.Key != gate.Standing && l.Key != gate.RecordSaved && l.Source != gate.Owner && l.Source != gate.Nothing && !l.At.IsZero() { // those tell their age themselves
		about = dots(about, T("latch.source."+strings.ReplaceAll(string(l.Source), " ", "-"), "Age", age(w.now().Sub(l.At))))
	}
	awaited := w.pass.awaited(l)
	if awaited {
		sign, about = look.MarkWaiting, T("latch.measuring.why")
	}
	text := look.Stack(1, look.Body(told(l.Title)), look.Small(about))
	var cells []look.Cell
	inWords := sayable(l) && (l.Source == gate.Nothing || l.Source == gate.Owner || l.Key == gate.SafetyRead) // the button has the room
	if l.Value != "" && l.Key != gate.SaidBack && !awaited && !inWords {
		cells = append(cells, look.Natural(look.Styled(measured(l.Value), look.Style{Mono: true, Bold: true})))
	}
	v := w.link.visit
	switch {
	case awaited: // in a moment there may be nothing to be said
	case l.Key == gate.SaidBack:
		cells = append(cells, look.Fixed(look.Scaled(190), w.pass.words))
	case sayable(l) && l.InLine:
		cells = append(cells, look.Natural(look.NewButton("latch "+string(l.Key), T("latch.unsay"), look.Plain, func() { v.Unsay(l.Key); w.draw() }).Small()))
	case sayable(l):
		cells = append(cells, look.Natural(look.NewButton("latch "+string(l.Key), T("latch.say."+string(l.Key)), look.Plain, func() { v.Say(l.Key); w.draw() }).Small()))
	}
	mark := look.Natural(look.NewMark(sign, 22))
	over := float32(4)
	if w.lowWindow() {
		over = 1
	}
	if w.opt.Taste.Factor >= largeText && len(cells) > 0 { // beside each other they would leave the text no room
		return look.Pad(over, 14, over, 14, look.Row(14, mark.At(look.Top), look.Growing(look.Stack(4, text, look.Row(14, cells...)))))
	}
	return look.Pad(over, 14, over, 14, look.Row(14, append([]look.Cell{mark, look.Growing(text)}, cells...)...))
}

// sayable tells whether a latch is the owner's to say, or was said by them.
func sayable(l gate.Latch) bool {
	return l.Key != gate.SaidBack && (l.InLine && l.Source == gate.Owner || !l.InLine && l.CanSay)
}

// largeText is the size of text from which on a row sets what is beside its words under them.
const largeText = 1.5

// holdRow is the key: the button that is held, the request it sends, and the way for those who can't hold a button.
func (w *Window) holdRow(e explain.Explanation, shut int) fyne.CanvasObject {
	g := &w.pass
	text := T("gate.hold")
	if shut > 0 {
		text = N("gate.hold.shut", shut)
	}
	if g.await() {
		text = T("gate.hold.measuring")
	}
	g.hold.Ready(shut == 0, text)
	bytes := look.Style{Mono: true}
	if _, page, _ := columns(w.win.Canvas().Size().Width); page < look.Scaled(600) { // beside the key
		bytes.Size = look.SizeSmall
	}
	frame := look.Styled(e.Frame.IDText+" "+spaced(e.Frame.DataText), bytes)
	parts := []fyne.CanvasObject{look.Pad(0, 0, 0, -3, look.Wrap(10, g.hold, look.Pad(0, 0, 0, 3, frame)))}
	if g.await() {
		return look.Stack(2, append(parts, look.Small(T("gate.measuring.lead")))...)
	}
	if shut > 0 {
		var why []string
		for _, l := range g.latches {
			if !l.InLine {
				why = append(why, T("latch."+string(l.Key)))
			}
		}
		return look.Stack(2, append(parts, look.Small(T("gate.waits", "What", listed(why))))...)
	}
	tick := look.NewTick("alone", T("gate.alone"), g.alone, func(on bool) { g.alone = on; w.draw() })
	if g.alone {
		parts = append(parts, look.Row(10, look.Growing(tick), look.Natural(look.NewButton("send-once", T("gate.send-once"), look.Plain, w.sendChange))))
	} else {
		parts = append(parts, tick)
	}
	return look.Stack(0, parts...)
}

// sendStages are the stages of a change in order.
var sendStages = []diag.SendStage{diag.SendMeasure, diag.SendWrite, diag.SendOut, diag.SendAnswer, diag.SendReadBack}

// sendingBody shows where the request is.
func (w *Window) sendingBody() fyne.CanvasObject {
	s := w.pass.sending
	at := 0
	if s.stage == diag.SendDone {
		at = len(sendStages)
	}
	for i, x := range sendStages {
		if x == s.stage {
			at = i
		}
	}
	var rows []fyne.CanvasObject
	for i, x := range sendStages {
		sign, word := look.MarkWaiting, T("sending.later")
		switch {
		case i < at:
			sign, word = look.MarkTick, T("sending.done")
		case i == at:
			word = T("sending.now")
		}
		text := []fyne.CanvasObject{look.Body(T("sending." + string(x)))}
		if x == diag.SendAnswer {
			for _, a := range s.answers {
				text = append(text, look.Small(T("sending.reply", "From", a.From, "Text", told(a.Text), "Ms", decimal(a.AfterMs, 0))))
			}
		}
		if x == diag.SendReadBack && s.reading != nil && s.reading.Total > 0 {
			p := s.reading
			text = append(text, look.Bar(p.Done, p.Total), look.Small(T("codes.count", "Done", p.Done, "Total", p.Total, "Answered", N("n.answered", p.Answered))))
		}
		rows = append(rows, look.Pad(9, 14, 9, 14, look.Row(14, look.Natural(look.NewMark(sign, 22)), look.Growing(look.Stack(3, text...)), look.Natural(look.Small(word)))))
	}
	parts := []fyne.CanvasObject{w.header(T("sending.title"), T("sending.lead")),
		look.Bubble(true, s.request.Frame.IDText+" "+spaced(s.request.Frame.DataText), told(s.request.Summary)), look.Rows(rows...)}
	switch {
	case s.stopped:
		parts = append(parts, look.Body(T("codes.stopping")))
	case s.stage == diag.SendReadBack:
		parts = append(parts, look.Buttons(look.NewButton("stop-read-back", T("sending.stop"), look.Plain, func() { s.stopped = true; s.stop(); w.draw() })))
	default:
		parts = append(parts, look.Small(T("sending.no-stop")))
	}
	return look.Stack(16, parts...)
}

func (w *Window) sendingMargin() fyne.CanvasObject {
	return w.margin(T("source.gate"), T("caution"), T("sending.m.caution"), T("sending.m.lost"), T("sending.m.lost.text"))
}

func (w *Window) gateMargin() fyne.CanvasObject {
	return w.margin(T("source.gate"), T("caution"), T("gate.m.caution"), T("gate.m.workshop"), T("gate.m.workshop.text"), T("gate.m.happens"), T("gate.m.happens.text"))
}
