package app

import (
	"slices"
	"strings"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/explain"
	"readback/diag/garage"
)

// backState is what came of the last request.
type backState struct {
	result *diag.Result
	err    error
	before []diag.ModuleView // as the modules were before it
	read   time.Time         // when they were read
}

func (b *backState) take(r *diag.Result, err error, before codeState) {
	b.result, b.err, b.before, b.read = r, err, before.modules, before.record.Ended
}

func (w *Window) backStanding() (string, look.Progress) {
	r := w.back.result
	switch {
	case r == nil:
		return T("stand.nothing"), look.Ahead
	case !r.Sent && r.Outcome != garage.Unknown:
		return T("stand.held"), look.Ahead
	case r.ReadBack != nil:
		return dots(N("stand.gone", len(r.ReadBack.Gone)), N("stand.back", len(r.ReadBack.Back))), look.Done
	}
	return T("stand.outcome." + outcomeKey(r.Outcome)), look.Done
}

func outcomeKey(o garage.Outcome) string { return strings.ReplaceAll(string(o), " ", "-") }

func (w *Window) readBackPage() (body, margin fyne.CanvasObject) {
	r := w.back.result
	if r == nil {
		if w.link.visit == nil {
			return w.empty(T("back.none.title"), T("back.none.lead"), "go-link", T("go.link"), PageLink), w.backMargin()
		}
		return w.empty(T("back.none.title"), T("back.none.lead"), "go-request", T("go.request"), PageRequest), w.backMargin()
	}
	parts := []fyne.CanvasObject{w.header(w.backTitle())}
	if w.back.err != nil {
		parts = append(parts, look.Noted(look.Alert, look.Stack(4, look.Head(T("back.trouble")), look.Body(errorText(w.back.err)))))
	}
	if !r.Sent && r.Outcome != garage.Unknown {
		parts = append(parts, w.heldBack())
	} else {
		parts = append(parts, w.talk())
	}
	if r.Outcome == garage.Unknown {
		parts = append(parts, look.Noted(look.Amber, look.Stack(4, look.Head(T("notice")), look.Body(T("back.unknown")))))
	}
	if r.ReadBack != nil {
		parts = append(parts, w.beforeAfter())
	}
	buttons := []fyne.CanvasObject{}
	if r.Visit != 0 && w.engine.Preview != nil {
		buttons = append(buttons, look.NewButton("back-report", T("back.report"), look.Plain, func() {
			w.logs.chosen = w.car().ID
			w.Show(PageLogbook)
			w.prepareReport(r.Visit)
		}))
	}
	buttons = append(buttons, look.NewButton("look", T("back.read-again"), look.Main, func() { w.Show(PageCodes); w.startLooking() }),
		look.NewButton("go-codes", T("back.codes"), look.Plain, func() { w.Show(PageCodes) }))
	return look.Stack(14, append(parts, look.Buttons(buttons...))...), w.backMargin()
}

// backTitle is the sentence that says what came of it.
func (w *Window) backTitle() (title, lead string) {
	r := w.back.result
	if !r.Sent && r.Outcome != garage.Unknown {
		return T("back.held.title"), T("sent.nothing")
	}
	title = T("back.title." + outcomeKey(r.Outcome))
	if rb := r.ReadBack; rb != nil {
		var said []string
		for _, x := range []struct {
			n   int
			key string
		}{{len(rb.Gone), "back.n.gone"}, {len(rb.Back), "back.n.back"}, {len(rb.New), "back.n.new"}, {len(rb.Unknown), "back.n.unknown"}} {
			if x.n > 0 {
				said = append(said, N(x.key, x.n, "Count", spelled(x.n)))
			}
		}
		if len(said) > 0 {
			title = sentences(title, upperFirst(listed(said)))
		}
	}
	lines := []string{T("back.lead.sent", "Time", clockSeconds(r.SentAt))}
	if n := len(r.Answers); n > 0 {
		lines = append(lines, N("back.lead.answers", n, "Ms", decimal(r.Answers[n-1].AfterMs, 0)))
	} else if r.Outcome == garage.NoAnswer {
		lines = append(lines, T("back.lead.silence"))
	}
	if r.ReadBack != nil {
		lines = append(lines, T("back.lead.read", "After", T("seconds", "N", int(max(0, w.code.record.Begun.Sub(r.SentAt)).Seconds()))))
	}
	return title, sentences(lines...)
}

// heldBack shows why nothing was sent.
func (w *Window) heldBack() fyne.CanvasObject {
	r := w.back.result
	parts := []fyne.CanvasObject{}
	if r.Reason != "" {
		parts = append(parts, look.Body(told(r.Reason)))
	}
	for _, l := range r.Refused {
		if l.InLine {
			continue
		}
		parts = append(parts, look.Row(10, look.Natural(look.NewMark(look.MarkOpen, 18)), look.Growing(look.Stack(1, look.Body(told(l.Title)), look.Small(dots(measured(l.Value), told(l.Why)))))))
	}
	return look.Boxed(look.Stack(8, parts...))
}

// talk is what was said: the request, and each answer.
func (w *Window) talk() fyne.CanvasObject {
	r := w.back.result
	parts := []fyne.CanvasObject{}
	if f := r.Request.Frame; f != nil {
		parts = append(parts, look.Bubble(true, f.IDText+" "+spaced(f.DataText), told(r.Request.Summary)))
	}
	for _, a := range r.Answers {
		parts = append(parts, look.Bubble(false, wireText(a), w.saidBy(a)))
	}
	return look.Stack(8, parts...)
}

// wireText is an answer as it came: its frames where the adapter shows them, else its payload.
func wireText(a diag.Answer) string {
	if len(a.Frames) == 0 {
		return a.From + " " + spaced(strings.ReplaceAll(a.Hex, " ", ""))
	}
	var lines []string
	for _, f := range a.Frames {
		id, data, _ := strings.Cut(f, "#")
		lines = append(lines, id+" "+spaced(data))
	}
	return strings.Join(lines, "\n")
}

// saidBy is an answer with the name of the module that gave it, where it is known.
func (w *Window) saidBy(a diag.Answer) string {
	for _, m := range w.code.modules {
		if m.Answer.String() == a.From && m.Name != "" {
			return T("back.said", "Module", named(m.Name), "Text", told(a.Text))
		}
	}
	return told(a.Text)
}

// beforeAfter is the two tables. A code that is gone is struck out and says so.
func (w *Window) beforeAfter() fyne.CanvasObject {
	r := w.back.result
	rb := r.ReadBack
	type line struct {
		fate diag.Fate
		kind string
	}
	var lines []line
	unchanged := rb.Unchanged
	if len(unchanged) > fewRows {
		unchanged = nil // told in one row below
	}
	for _, g := range []struct {
		kind  string
		fates []diag.Fate
	}{{"back", rb.Back}, {"gone", rb.Gone}, {"unchanged", unchanged}, {"unknown", rb.Unknown}} {
		for _, f := range g.fates {
			lines = append(lines, line{f, g.kind})
		}
	}
	var before, after []fyne.CanvasObject
	row := func(code fyne.CanvasObject, text fyne.CanvasObject) fyne.CanvasObject {
		return look.Pad(8, 12, 8, 14, look.Row(10, look.Fixed(look.Scaled(94), code).At(look.Top), look.Growing(text).At(look.Top)))
	}
	mono := look.Style{Mono: true, Bold: true, Size: look.SizeSmall}
	faint := look.Style{Size: look.SizeSmall, Color: look.Soft}
	for _, l := range lines {
		before = append(before, row(look.Styled(l.fate.Code, mono), look.Styled(w.meaning(l.fate), look.Style{Size: look.SizeSmall})))
		code, text := mono, look.Style{Size: look.SizeSmall}
		if l.kind == "gone" {
			code, text = look.Style{Mono: true, Size: look.SizeSmall, Color: look.Soft, Strike: true}, faint
		}
		said := row(look.NewText(look.Run{Text: l.fate.Code, Style: code}), look.Styled(upperFirst(told(l.fate.Text)), text))
		if l.kind == "back" {
			said = look.Ground(look.AlertTint, said)
		}
		after = append(after, said)
	}
	for _, f := range rb.New {
		after = append(after, row(look.Styled(f.Code, mono), look.Styled(dots(named(f.Module), told(f.Text)), look.Style{Size: look.SizeSmall})))
	}
	if n := len(rb.Unchanged); n > fewRows {
		names := modulesOf(rb.Unchanged)
		before = append(before, look.Pad(8, 12, 8, 14, look.Styled(N("back.more", n, "Modules", names), faint)))
		after = append(after, look.Pad(8, 12, 8, 14, look.Styled(N("back.more.unchanged", n), faint)))
	}
	for _, rows := range []*[]fyne.CanvasObject{&before, &after} {
		if len(*rows) == 0 {
			*rows = append(*rows, look.Pad(10, 14, 10, 14, look.Small(T("back.no-codes"))))
		}
	}
	return look.Sides(look.Scaled(270), 18, false,
		look.Stack(6, look.Head(T("back.before", "When", clock(w.back.read))), look.Rows(before...)),
		look.Stack(6, look.Head(T("back.after", "When", clock(w.code.record.Begun))), look.Rows(after...)))
}

// fewRows is how many unchanged codes are listed one by one.
const fewRows = 3

// modulesOf names the modules of fates, each once.
func modulesOf(fates []diag.Fate) string {
	var names []string
	for _, f := range fates {
		if !slices.Contains(names, named(f.Module)) {
			names = append(names, named(f.Module))
		}
	}
	return listed(names)
}

// meaning is what a code said before the request.
func (w *Window) meaning(f diag.Fate) string {
	for _, m := range w.back.before {
		for _, v := range m.Views {
			if m.Name == f.Module && v.Record.Code.String() == f.Code {
				return dots(named(m.Name), describe(v).title)
			}
		}
	}
	return named(f.Module)
}

func (w *Window) backMargin() fyne.CanvasObject {
	r := w.back.result
	if r == nil {
		return w.margin("", T("back.m.what"), T("back.m.what.text"))
	}
	var texts []string
	say := func(head, text string) { texts = append(texts, T(head), text) }
	if rb := r.ReadBack; rb != nil {
		if len(rb.Gone) > 0 {
			say("back.m.gone", N("back.m.gone.text", len(rb.Gone)))
		}
		if len(rb.Back) > 0 {
			say("back.m.back", N("back.m.back.text", len(rb.Back)))
		}
		if len(rb.Unknown) > 0 {
			say("back.m.unknown", T("back.m.unknown.text"))
		}
		say("back.m.next", T("back.m.next.text"))
	}
	switch r.Outcome {
	case garage.NoAnswer:
		say("back.m.silence", T("back.m.silence.text"))
	case garage.Declined:
		say("back.m.declined", T("back.m.declined.text"))
	case garage.Unknown:
		say("back.m.open", T("back.m.open.text"))
	}
	if !r.Sent && r.Outcome != garage.Unknown {
		say("back.m.held", T("back.m.held.text"))
	} else if r.Request.Class == explain.Look {
		say("back.m.look", T("back.m.look.text"))
	}
	parts := []fyne.CanvasObject{}
	for i := 0; i+1 < len(texts); i += 2 {
		if texts[i+1] != "" {
			parts = append(parts, look.Stack(4, look.Head(texts[i]), look.Body(texts[i+1])))
		}
	}
	if past := w.backPast(); past != nil {
		parts = append(parts, past)
	}
	return w.sourced(T("source.back"), parts...)
}

// backPast draws the codes of the request over the visits of this car, and says what their returns show.
func (w *Window) backPast() fyne.CanvasObject {
	r, b := w.back.result, &w.logs.book
	if r.ReadBack == nil || len(b.visits) < 2 || b.car.ID != w.car().ID {
		return nil
	}
	from, to := b.visits[len(b.visits)-1].Begun, b.visits[0].Begun
	rows := []fyne.CanvasObject{look.Head(T("back.past"))}
	for _, f := range append(slices.Clone(r.ReadBack.Back), r.ReadBack.Gone...) {
		for _, x := range b.returns {
			if x.Module == f.Module && x.Code == f.Code && len(rows) <= fewLines {
				rows = append(rows, look.Row(8, look.Fixed(look.Scaled(76), look.Styled(x.Code, look.Style{Mono: true, Size: look.SizeFine})), look.Growing(look.NewTimeline(from, to, moments(x)))))
				if len(x.Seen) > 1 {
					rows = append(rows, look.Small(told(x.Text)))
				}
			}
		}
	}
	if len(rows) == 1 {
		return nil
	}
	return look.Stack(3, append(rows, look.Row(8, look.Fixed(look.Scaled(76), look.Gap(1)), look.Growing(look.NewTimeline(from, to, nil, axisLabels(from, to)...))))...)
}

// fewLines is how many lines the margin has room for.
const fewLines = 8
