package app

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/garage"
)

// linkState is the adapter: what was found, what is being opened, what is open.
type linkState struct {
	seen     diag.Seen // what is plugged in, and what has changed since the list before
	finding  bool
	findErr  error
	health   *diag.Health // of the bus, where the adapter shows it
	address  *look.Field
	opening  *opening
	openErr  error
	tried    adapter.Place                 // of openErr
	climbed  map[adapter.Step]adapter.Rung // of the newest link test
	visit    Visit
	supply   float64
	supplyOK bool
	open     []garage.Entry // changes whose answer nobody knows
	logErr   error
}

// opening is an adapter that is being opened.
type opening struct {
	place adapter.Place
	stop  context.CancelFunc
	rungs map[adapter.Step]adapter.Rung // the steps of the link test so far
}

// held is the visit that is open. It is known from the moment it is open, so that closing the window closes it.
type held struct {
	mu    sync.Mutex
	visit Visit
}

func (h *held) set(v Visit) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.visit = v
}

// close closes the visit that is open, if there is one.
func (h *held) close() error {
	h.mu.Lock()
	v := h.visit
	h.visit = nil
	h.mu.Unlock()
	if v == nil {
		return nil
	}
	return v.Close()
}

func (w *Window) makeFields() {
	w.link.address = look.NewField("address", T("link.address.hint"), true, nil)
	w.link.address.OnSubmitted = func(string) { w.connectAddress() }
	w.makeCableFields()
	w.makeCodeParts()
	w.makeRequestFields()
	w.makeCardFields()
	w.makeNoteFields()
	w.makeGateFields()
	w.makeCarFields()
	w.makeLogFields()
	w.makeLessonParts()
	w.makeTalkParts()
	w.makeHeardParts()
}

// findAdapters looks what is plugged in.
func (w *Window) findAdapters() {
	if w.link.finding {
		return
	}
	w.link.finding = true
	w.act(func(ctx context.Context) func() {
		found, err := w.engine.Find(ctx)
		return func() {
			w.link.finding, w.link.findErr = false, err
			w.link.seen = diag.CompareAdapters(w.link.seen.Found, found)
			w.link.seen.Appeared = nil
		}
	})
}

// watchAdapters follows what is plugged in and out until the window is closed.
func (w *Window) watchAdapters() {
	if w.engine.Watch == nil {
		w.findAdapters()
		return
	}
	w.link.finding = true
	w.act(func(ctx context.Context) func() {
		for seen, err := range w.engine.Watch(ctx) {
			w.door.hand("adapters", func() { w.link.finding, w.link.seen, w.link.findErr = false, seen, err })
		}
		return nil
	})
}

// askOpenQuestions reads from the logbook which changes have an unknown outcome.
func (w *Window) askOpenQuestions() {
	if w.engine.Log == nil {
		return
	}
	w.act(func(ctx context.Context) func() {
		open, err := w.engine.Log.Unknown(ctx)
		return func() { w.link.open, w.link.logErr = open, err }
	})
}

// askDueProof reads from the logbook which readings after an erase are due.
func (w *Window) askDueProof() {
	if w.engine.Log == nil {
		return
	}
	now := w.now()
	w.act(func(ctx context.Context) func() {
		due, err := w.engine.Log.DueProof(ctx, now)
		return func() { w.logs.due, w.link.logErr = due, errors.Join(w.link.logErr, err) }
	})
}

// seenQuestion notes that the owner has read about a change of unknown outcome.
func (w *Window) seenQuestion(id int64) {
	w.act(func(ctx context.Context) func() {
		err := w.engine.Log.MarkSeen(ctx, id)
		open, e := w.engine.Log.Unknown(ctx)
		return func() { w.link.open, w.link.logErr = open, errors.Join(err, e) }
	})
}

// connectAddress connects to what was typed; a bare address means a network adapter.
func (w *Window) connectAddress() {
	text := strings.TrimSpace(w.link.address.Text)
	if text == "" {
		return
	}
	p := adapter.Place(text)
	if scheme, _, err := p.Split(); err != nil || strings.Contains(scheme, ".") {
		p = adapter.Place("tcp:" + text)
	}
	w.connect(p)
}

// connect opens the adapter at a place. A visit that is open is closed first.
func (w *Window) connect(p adapter.Place) {
	if w.link.opening != nil || w.busy() {
		return
	}
	w.forget()
	ctx, stop := context.WithCancel(w.ctx)
	o := &opening{place: p, stop: stop, rungs: map[adapter.Step]adapter.Rung{}}
	w.link.opening, w.link.openErr, w.link.tried = o, nil, p
	w.act(func(context.Context) func() {
		defer stop()
		if err := w.held.close(); err != nil {
			return func() { w.link.opening, w.link.openErr = nil, err }
		}
		v, err := w.engine.Open(ctx, p, func(r adapter.Rung) {
			w.door.hand("", func() { o.rungs[r.Step] = r })
		})
		if err != nil {
			return func() { w.link.opening, w.link.openErr, w.link.climbed = nil, err, o.rungs }
		}
		w.held.set(v)
		if ctx.Err() != nil { // stopped, or the window was closed, while it opened
			err := errors.Join(ctx.Err(), w.held.close())
			return func() { w.link.opening, w.link.openErr = nil, err }
		}
		volts, ok := v.Supply(ctx)
		return func() {
			w.link.opening, w.link.visit, w.link.climbed = nil, v, o.rungs
			w.askHealth()
			w.link.supply, w.link.supplyOK = volts, ok
			w.explainAgain()
		}
	})
	w.draw()
}

func (w *Window) stopOpening() {
	if o := w.link.opening; o != nil {
		o.stop()
	}
}

// disconnect ends the visit.
func (w *Window) disconnect() {
	if w.link.visit == nil || w.busy() {
		return
	}
	w.forget()
	w.act(func(context.Context) func() {
		err := w.held.close()
		return func() { w.link.openErr = err }
	})
	w.draw()
}

// forget drops all that belongs to the visit that ends.
func (w *Window) forget() {
	w.link.visit, w.link.supplyOK, w.link.health = nil, false, nil
	w.code.forget()
	w.pass.leave()
	w.back = backState{}
	w.cars.visits, w.cars.of = nil, 0
	w.card.cards, w.card.of, w.card.writing = nil, 0, false
	w.note.notes, w.note.writing = nil, ""
	w.explainAgain()
}

// busy tells whether a reading or a request is under way.
func (w *Window) busy() bool { return w.code.looking != nil || w.pass.sending != nil }

// refreshSupply asks the adapter for the supply voltage again.
func (w *Window) refreshSupply(ctx context.Context, v Visit) func() {
	volts, ok := v.Supply(ctx)
	return func() { w.link.supply, w.link.supplyOK = volts, ok }
}

func (w *Window) practice() bool {
	return w.link.visit != nil && w.link.visit.Adapter().Practice
}

func (w *Window) linkPage() (body, margin fyne.CanvasObject) {
	l := &w.link
	var parts []fyne.CanvasObject
	switch {
	case l.opening != nil:
		parts = append(parts, w.header(T("link.opening.title"), T("link.opening.lead", "Place", l.opening.place)),
			w.rungs(l.opening.rungs, ""), look.Buttons(look.NewButton("stop-opening", T("cancel"), look.Plain, w.stopOpening)))
	case l.visit != nil:
		parts = append(parts, w.header(T("link.open.title", "Name", l.visit.Adapter().Name), T("link.open.lead")))
		parts = append(parts, w.notices()...)
		buttons := []fyne.CanvasObject{look.NewButton("go-codes", T("link.go"), look.Main, func() { w.Show(PageCodes) })}
		if !w.busy() {
			buttons = append(buttons, look.NewButton("disconnect", T("link.disconnect"), look.Plain, w.disconnect))
		}
		if h := w.healthCard(); h != nil {
			parts = append(parts, h)
		}
		parts = append(parts, w.abilities())
		if len(l.climbed) > 0 {
			parts = append(parts, look.Stack(6, look.Head(T("link.test")), w.rungs(l.climbed, "")))
		}
		parts = append(parts, look.Buttons(buttons...))
		if w.busy() {
			parts = append(parts, look.Small(T("link.busy")))
		}
	default:
		parts = append(parts, w.header(T("link.title"), T("link.lead")))
		parts = append(parts, w.notices()...)
		if l.openErr != nil {
			parts = append(parts, w.openTrouble())
		}
		parts = append(parts, w.foundList(), w.addressRow())
	}
	return look.Stack(16, parts...), w.linkMargin()
}

// openTrouble says what went wrong, on the rung where it did.
func (w *Window) openTrouble() fyne.CanvasObject {
	l := &w.link
	if errors.Is(l.openErr, context.Canceled) {
		return look.Noted(look.Accent, look.Body(T("link.stopped")))
	}
	parts := []fyne.CanvasObject{look.Head(T("link.failed", "Place", l.tried)), look.Body(diag.Sentence(l.openErr))}
	var open *adapter.OpenError
	if errors.As(l.openErr, &open) {
		parts = append(parts, look.Pad(6, 0, 4, 0, w.rungs(l.climbed, open.Step)))
	}
	parts = append(parts, look.Small(T("sent.nothing")), look.Buttons(look.NewButton("again", T("link.again"), look.Plain, func() { w.connect(l.tried) })))
	return look.Noted(look.Alert, look.Stack(6, parts...))
}

// rungs draws the link test as far as it has come. failed is the step that ended it, "" where none did.
func (w *Window) rungs(climbed map[adapter.Step]adapter.Rung, failed adapter.Step) fyne.CanvasObject {
	var rows []fyne.CanvasObject
	reached := false
	for _, s := range adapter.Steps() {
		r, told := climbed[s]
		sign, word := look.MarkWaiting, T("rung.later")
		switch {
		case s == failed:
			sign, word, reached = look.MarkOpen, T("rung.failed"), true
		case told && r.State == adapter.RungTrying:
			word = T("rung.trying")
		case told:
			sign, word = rungSigns[r.State], T("rung."+string(r.State))
		case failed != "" && !reached && s != adapter.StepSupply:
			sign, word = look.MarkTick, T("rung.held")
		}
		text := []fyne.CanvasObject{look.Body(T("rung." + string(s)))}
		if r.Seen != "" {
			text = append(text, look.Small(r.Seen))
		}
		rows = append(rows, look.Pad(7, 14, 7, 14, look.Row(12, look.Natural(look.NewMark(sign, 20)), look.Growing(look.Stack(1, text...)), look.Natural(look.Small(word)))))
	}
	return look.Rows(rows...)
}

// rungSigns are the marks of the steps that have been taken.
var rungSigns = map[adapter.RungState]look.Sign{adapter.RungTrying: look.MarkWaiting, adapter.RungHeld: look.MarkTick, adapter.RungDoubtful: look.MarkUnknown,
	adapter.RungUnknown: look.MarkUnknown, adapter.RungFailed: look.MarkOpen}

func (w *Window) foundList() fyne.CanvasObject {
	l := &w.link
	var rows []fyne.CanvasObject
	for i, f := range l.seen.Found {
		head := look.NewText(look.Run{Text: f.Name, Style: look.Style{Bold: true}})
		if l.seen.New(f.Place) {
			head = look.NewText(look.Run{Text: f.Name, Style: look.Style{Bold: true}}, look.Run{Text: "  " + T("link.new"), Style: look.Style{Size: look.SizeSmall, Bold: true, Color: look.Accent}})
		}
		text := []fyne.CanvasObject{head, look.Small(f.Note), look.Styled(string(f.Place), look.Style{Mono: true, Size: look.SizeFine, Color: look.Soft})}
		if f.Fix != "" {
			text = append(text, look.Small(T("link.fix")), look.AsIs(f.Fix, look.Style{Mono: true, Size: look.SizeSmall}))
		}
		weight := look.Plain
		if i == 0 && f.Ready {
			weight = look.Main
		}
		var acts []fyne.CanvasObject
		if f.Ready {
			acts = append(acts, look.NewButton("connect "+string(f.Place), T("link.connect"), weight, func() { w.connect(f.Place) }).Small())
			for _, p := range f.Also {
				scheme, _, _ := p.Split()
				acts = append(acts, look.NewButton("connect "+string(p), T("link.connect.as", "Kind", T("kind."+scheme)), look.Quiet, func() { w.connect(p) }))
			}
		} else {
			acts = append(acts, look.Small(T("link.not-ready")))
		}
		rows = append(rows, look.Pad(9, 14, 9, 16, look.Row(12, look.Growing(look.Stack(1, text...)), look.Natural(look.Stack(2, acts...)))))
	}
	for _, f := range l.seen.Vanished {
		rows = append(rows, look.Pad(9, 14, 9, 16, look.Row(12, look.Growing(look.Small(T("link.gone", "Name", f.Name, "Place", string(f.Place)))))))
	}
	switch {
	case l.finding && len(rows) == 0:
		return look.Boxed(look.Body(T("link.finding")))
	case len(rows) == 0:
		rows = append(rows, look.Pad(14, 16, 14, 16, look.Body(T("link.none"))))
	}
	parts := []fyne.CanvasObject{look.Rows(rows...)}
	if l.findErr != nil {
		parts = append(parts, look.Small(diag.Sentence(l.findErr)))
	}
	parts = append(parts, look.Buttons(look.NewButton("find", T("link.find"), look.Plain, func() { w.findAdapters(); w.draw() })))
	return look.Stack(10, parts...)
}

func (w *Window) addressRow() fyne.CanvasObject {
	return look.Stack(6, look.Head(T("link.address")), look.Small(T("link.address.about")),
		look.Row(10, look.Growing(w.link.address), look.Natural(look.NewButton("connect-address", T("link.connect"), look.Plain, w.connectAddress))))
}

// abilities lists what the adapter can do, and what it can't.
func (w *Window) abilities() fyne.CanvasObject {
	a := w.link.visit.Adapter()
	var rows []fyne.CanvasObject
	fact := func(name, value string) {
		if value != "" {
			rows = append(rows, look.Pad(8, 16, 8, 16, look.Row(12, look.Fixed(look.Scaled(150), look.Small(name)), look.Growing(look.Body(value)))))
		}
	}
	fact(T("link.place"), string(w.link.visit.Place()))
	fact(T("link.speaks"), a.Protocol)
	if a.BitRate > 0 && a.Protocol == "" {
		fact(T("link.speaks"), T("link.bits", "N", a.BitRate/1000))
	}
	fact(T("link.version"), a.Version)
	can := []fyne.CanvasObject{}
	for _, c := range []struct {
		is      bool
		yes, no string
	}{
		{a.Exact, "can.exact", "cannot.exact"}, {a.Supply, "can.supply", "cannot.supply"}, {a.Wide, "can.wide", "cannot.wide"},
		{a.Listens, "can.listen", "cannot.listen"}, {a.Parallel > 1, "can.parallel", "cannot.parallel"},
	} {
		sign, text := look.MarkCheck, T(c.yes)
		if !c.is {
			sign, text = look.MarkUntested, T(c.no)
		}
		can = append(can, look.Row(10, look.Natural(look.NewMark(sign, 14)), look.Growing(look.Body(text))))
	}
	rows = append(rows, look.Pad(10, 16, 10, 16, look.Stack(6, can...)))
	if g := a.Grade; g.Word != "" {
		graded := []fyne.CanvasObject{look.Head(T("grade." + strings.ReplaceAll(string(g.Word), " ", "-")))}
		for _, x := range g.Can {
			graded = append(graded, look.Row(10, look.Natural(look.NewMark(look.MarkCheck, 14)).At(look.Top), look.Growing(look.Body(x))))
		}
		for _, x := range g.Cannot {
			graded = append(graded, look.Row(10, look.Natural(look.NewMark(look.MarkOpen, 14)).At(look.Top), look.Growing(look.Body(x))))
		}
		rows = append(rows, look.Pad(10, 16, 10, 16, look.Stack(4, graded...)))
	}
	if a.ReadOnly != "" {
		rows = append(rows, look.Pad(10, 16, 10, 16, look.Stack(2, look.Head(T("link.read-only")), look.Body(a.ReadOnly))))
	}
	if len(a.Limits) > 0 {
		rows = append(rows, look.Pad(10, 16, 10, 16, look.Stack(4, append([]fyne.CanvasObject{look.Head(T("link.limits"))}, bodies(a.Limits)...)...)))
	}
	return look.Rows(rows...)
}

// askHealth asks how the bus does.
func (w *Window) askHealth() {
	v := w.link.visit
	if v == nil {
		return
	}
	w.act(func(ctx context.Context) func() {
		h, ok, err := v.Health(ctx)
		return func() {
			if w.link.visit != v || err != nil || !ok {
				return
			}
			w.link.health = &h
		}
	})
}

// healthCard says how the bus does, where there is something to say.
func (w *Window) healthCard() fyne.CanvasObject {
	h := w.link.health
	if h == nil || h.Verdict == diag.HealthAlive || h.Verdict == diag.HealthQuiet {
		return nil
	}
	edge := look.Amber
	parts := []fyne.CanvasObject{}
	if h.StopSending {
		edge = look.Danger
		parts = append(parts, look.Head(T("health.stop")))
	}
	parts = append(parts, look.Body(h.Text))
	for _, c := range h.Causes {
		parts = append(parts, look.Small(c))
	}
	parts = append(parts, look.Body(leadIn(T("health.next"), h.Next)))
	if h.Command != "" {
		parts = append(parts, look.AsIs(h.Command, look.Style{Mono: true, Size: look.SizeSmall}))
	}
	return look.Noted(edge, look.Stack(4, parts...))
}

func bodies(lines []string) []fyne.CanvasObject {
	var out []fyne.CanvasObject
	for _, l := range lines {
		out = append(out, look.Body(l))
	}
	return out
}

// notices are what the owner has to know before anything else.
func (w *Window) notices() []fyne.CanvasObject {
	var out []fyne.CanvasObject
	for _, err := range []error{w.engine.Trouble, w.link.logErr} {
		if err != nil {
			out = append(out, look.Noted(look.Amber, look.Stack(4, look.Head(T("notice")), look.Body(diag.Sentence(err)))))
		}
	}
	for _, q := range w.link.open {
		act := look.NewButton(fmt.Sprintf("seen %d", q.ID), T("open.seen"), look.Plain, func() { w.seenQuestion(q.ID) })
		buttons := []fyne.CanvasObject{act}
		if w.link.visit != nil {
			buttons = []fyne.CanvasObject{look.NewButton(fmt.Sprintf("read %d", q.ID), T("open.read"), look.Plain, func() { w.Show(PageCodes); w.startLooking() }), act}
		}
		out = append(out, look.Noted(look.Amber, look.Stack(4, look.Head(T("notice")),
			look.Body(T("open.text", "When", when(q.Begun, w.now()), "Summary", q.Summary)), look.Styled(q.Request, look.Style{Mono: true, Size: look.SizeSmall}),
			look.Body(T("open.do", "Place", q.Place)), look.Buttons(buttons...))))
	}
	return out
}

func (w *Window) linkMargin() fyne.CanvasObject {
	if w.link.visit != nil {
		return w.margin(T("source.link"), T("link.m.reads"), T("link.m.reads.text"), T("link.m.next"), T("link.m.next.text"))
	}
	return w.margin(T("source.link"), T("link.m.what"), T("link.m.what.text"), T("link.m.fails"), T("link.m.fails.text"),
		T("link.m.practice"), T("link.m.practice.text"))
}
