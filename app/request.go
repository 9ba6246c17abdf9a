package app

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/explain"
)

// requestState is the request that is being written.
type requestState struct {
	field     *look.Field
	large     fyne.CanvasObject // the field in large type
	other     *look.Field       // the instructions to compare with
	wish      explain.Wish
	explained explain.Explanation
	compared  explain.Comparison
	span      int // chosen field of the explanation
	deed      explain.Deed
}

// wrong tells whether something in the request is not well formed.
func (r *requestState) wrong() bool {
	return r.explained.Wrong()
}

// sendable tells whether the request may be sent at all from here.
func (r *requestState) sendable() bool {
	e := r.explained
	return e.Frame != nil && e.Direction == explain.Request && !r.wrong() && (e.Class == explain.Change || e.Class == explain.Look)
}

func (w *Window) makeRequestFields() {
	w.req.deed = explain.DeedCodes
	w.req.field = look.NewField("request", T("request.hint"), true, func(string) {
		w.req.span, w.card.writing = 0, false
		w.pass.leave()
		w.explainAgain()
		w.draw()
	})
	w.req.field.Lines(6)
	w.req.other = look.NewField("other", T("compare.hint"), true, func(string) { w.explainAgain(); w.draw() })
}

// explainAgain explains what is typed with what is known now.
func (w *Window) explainAgain() {
	text, other := w.req.field.Text, w.req.other.Text
	explainer, comparer := w.explainer(), w.engine.Compare
	if v := w.link.visit; v != nil {
		comparer = v.Compare
	}
	w.req.explained, w.req.compared = explain.Explanation{}, explain.Comparison{}
	if strings.TrimSpace(text) == "" {
		return
	}
	w.req.explained = explainer(text, w.req.wish)
	if strings.TrimSpace(other) != "" {
		w.req.compared = comparer(text, other)
	}
	w.req.span = max(0, min(w.req.span, len(w.req.explained.Fields)-1))
}

func (w *Window) requestPage() (body, margin fyne.CanvasObject) {
	r := &w.req
	e := r.explained
	parts := []fyne.CanvasObject{w.header(T("request.title"), T("request.lead"))}
	if w.readOnly() != "" { // before a change is prepared
		parts = append(parts, look.Row(10, look.Natural(look.NewMark(look.MarkOpen, 16)).At(look.Top), look.Growing(look.Body(leadIn(T("read-only.head"), told(w.readOnly())))).At(look.Top)))
	}
	parts = append(parts, w.requestEntry())
	if strings.TrimSpace(r.field.Text) == "" {
		parts = append(parts, look.Boxed(look.Stack(6, look.Head(T("request.empty")), look.Body(T("request.empty.1")), look.Styled(T("request.example"), look.Style{Mono: true}), look.Body(T("request.empty.2")))),
			w.chooser(), w.cardList())
		return look.Stack(16, parts...), w.margin("", T("request.m.start"), T("request.m.start.text"), T("request.m.safe"), T("request.m.safe.text"))
	}
	if r := w.readAs(); r != nil {
		parts = append(parts, r)
	}
	if e.Frame != nil {
		parts = append(parts, w.ribbon())
	}
	if s := w.stepList(); s != nil {
		parts = append(parts, s)
	}
	if f := w.findings(); f != nil {
		parts = append(parts, f)
	}
	if len(e.Fields) > 0 {
		parts = append(parts, w.fieldRows())
	}
	if near := w.nearest(); near != nil {
		parts = append(parts, near)
	}
	if e.Frame != nil {
		parts = append(parts, look.Sides(look.Scaled(220), 14, true, w.wordsCard(), w.compareCard()))
	}
	parts = append(parts, w.classRow())
	parts = append(parts, w.requestButtons())
	if w.card.writing {
		parts = append(parts, w.cardForm())
	} else {
		parts = append(parts, w.cardNews()...)
	}
	return look.Stack(16, parts...), w.requestMargin()
}

// requestEntry is the field, what is known of its form, and what the owner wishes to do.
func (w *Window) requestEntry() fyne.CanvasObject {
	r := &w.req
	if r.large == nil {
		r.large = look.Large(r.field)
	}
	parts := []fyne.CanvasObject{r.large}
	sign, word := look.MarkCheck, T("request.sound")
	switch e := r.explained; {
	case strings.TrimSpace(r.field.Text) == "":
		sign, word = look.MarkWaiting, T("request.waiting")
	case e.Frame == nil || r.wrong():
		sign, word = look.MarkOpen, T("request.unsound")
	case e.Direction != explain.Request:
		sign, word = look.MarkUnknown, T("request.direction."+string(e.Direction))
	}
	wish := func(v explain.Wish, key string) fyne.CanvasObject {
		return look.NewButton(key, T(key), look.Quiet, func() { r.wish = v; w.explainAgain(); w.draw() }).Chosen(r.wish == v)
	}
	state := look.Row(8, look.Natural(look.NewMark(sign, 16)), look.Growing(look.Styled(word, look.Style{Size: look.SizeSmall})))
	wishes := look.Wrap(4, look.Small(T("wish")), wish("", "wish.open"), wish(explain.WishRead, "wish.read"), wish(explain.WishClear, "wish.clear"))
	parts = append(parts, look.Wrap(28, state, wishes))
	return look.Stack(4, parts...)
}

// readAs sets what was read beside what was typed, where notation or words stood around it. What belongs to the chosen
// bytes is marked.
func (w *Window) readAs() fyne.CanvasObject {
	e := w.req.explained
	if e.Cleaned == nil || strings.EqualFold(strings.Join(strings.Fields(e.Input), " "), strings.Join(strings.Fields(e.Cleaned.Text), " ")) {
		return nil
	}
	return look.Boxed(look.Stack(3, look.Small(T("request.typed")), w.typedText(), look.Small(T("request.read-as")), look.AsIs(e.Cleaned.Text, look.Style{Mono: true})))
}

// typedLetters is how much of a pasted text is shown around what was read.
const typedLetters = 420

// typedText is what was typed, with what was read in ink and what belongs to the chosen bytes marked.
func (w *Window) typedText() *look.Text {
	e := w.req.explained
	runes := []rune(e.Input)
	const around, taken, chosen = 0, 1, 2
	kind := make([]byte, len(runes))
	step := max(0, slices.IndexFunc(e.Steps, func(s explain.Step) bool { return s.Taken }))
	from := 0
	for i, s := range e.Cleaned.Segments {
		k := byte(taken)
		if s.Step == step && w.req.span >= 0 && w.req.span < len(e.Fields) {
			if f := e.Fields[w.req.span]; s.Byte == f.From || s.Byte >= f.From && s.Byte < f.To {
				k = chosen
			}
		}
		if i == 0 {
			from = max(0, s.From-60)
		}
		for at := max(0, s.From); at < min(s.To, len(runes)); at++ {
			kind[at] = max(kind[at], k)
		}
	}
	styles := [...]look.Style{around: {Mono: true, Size: look.SizeSmall, Color: look.Soft}, taken: {Mono: true, Size: look.SizeSmall}, chosen: {Mono: true, Size: look.SizeSmall, Bold: true, Color: look.Accent}}
	var runs []look.Run
	to := min(len(runes), from+typedLetters)
	for at := from; at < to; {
		end := at + 1
		for end < to && kind[end] == kind[at] {
			end++
		}
		runs = append(runs, look.Run{Text: string(runes[at:end]), Style: styles[kind[at]]})
		at = end
	}
	if to < len(runes) {
		runs = append(runs, look.Run{Text: " …", Style: styles[around]})
	}
	return look.NewText(runs...)
}

// stepList names the requests of a text that holds several; the one that is explained is marked.
func (w *Window) stepList() fyne.CanvasObject {
	steps := w.req.explained.Steps
	if len(steps) < 2 {
		return nil
	}
	rows := []fyne.CanvasObject{}
	for i, s := range steps {
		if i == fewSteps {
			rows = append(rows, look.Pad(8, 14, 8, 14, look.Small(N("steps.more", len(steps)-fewSteps))))
			break
		}
		text := look.Stack(1, look.AsIs(s.Text, look.Style{Mono: true, Bold: s.Taken}), look.Small(told(s.Summary)))
		var act fyne.CanvasObject = look.Small(T("steps.shown"))
		if !s.Taken && s.Text != "" {
			act = look.NewButton(fmt.Sprintf("step %d", i), T("steps.take"), look.Plain, func() { w.req.field.SetText(s.Text) }).Small()
		}
		rows = append(rows, look.Pad(7, 12, 7, 14, look.Row(12, look.Natural(look.NewMark(classSigns[s.Class], 16)), look.Growing(text), look.Natural(look.Small(T("class."+string(s.Class)))), look.Natural(act))))
	}
	return look.Stack(6, look.Head(N("steps.title", len(steps))), look.Rows(rows...))
}

// fewSteps is how many requests of one text are listed.
const fewSteps = 8

// classSigns are the marks of the classes.
var classSigns = map[explain.Class]look.Sign{explain.Look: look.MarkCheck, explain.Change: look.MarkNow, explain.Workshop: look.MarkOpen, explain.Never: look.MarkOpen}

func (w *Window) ribbon() fyne.CanvasObject {
	e := w.req.explained
	var spans []look.Span
	for _, f := range e.Fields {
		spans = append(spans, look.Span{From: f.From, To: f.To, Name: told(f.Name), Filling: f.Name == fillingName, Wrong: f.Name == unreadName})
	}
	return look.NewRibbon(e.Frame.IDText, e.Frame.DataText, spans, w.req.span, func(i int) { w.req.span = i; w.draw() }).
		Over(func(i int) { w.lightSentence(len(e.Fields), i) })
}

// lightSentence marks, of so many sentences, that of the bytes that the pointer is on.
func (w *Window) lightSentence(of, span int) {
	for i := range of {
		if row, ok := look.Find(w.main.Object, fieldID(i)).(*look.Choice); ok {
			row.Light(i == span)
		}
	}
}

// lightBytes marks the bytes of the sentence that the pointer is on.
func (w *Window) lightBytes(span int, on bool) {
	if ribbon, ok := look.Find(w.main.Object, "ribbon").(*look.Ribbon); ok {
		if !on {
			span = -1
		}
		ribbon.Light(span)
	}
}

func fieldID(i int) string { return fmt.Sprintf("field %d", i) }

// How an explanation names bytes without meaning, and bytes that can't be read.
const (
	fillingName = "Filling"
	unreadName  = "Not understood"
)

// findings are shown where they are: the place in what was typed is marked.
func (w *Window) findings() fyne.CanvasObject {
	e := w.req.explained
	var rows []fyne.CanvasObject
	for _, f := range e.Findings {
		sign, colour := look.MarkUnknown, look.Amber
		switch f.Level {
		case explain.Wrong:
			sign, colour = look.MarkOpen, look.Danger
		case explain.Note:
			sign, colour = look.MarkRemembered, look.Soft
		}
		text := []fyne.CanvasObject{look.Body(leadIn(T("level."+string(f.Level)), told(f.Text)))}
		if f.At >= 0 && f.At < utf8.RuneCountInString(e.Input) {
			text = append(text, pointed(e.Input, f.At, colour))
		}
		if f.Fix != "" {
			text = append(text, look.Small(told(f.Fix)))
		}
		rows = append(rows, look.Pad(10, 14, 10, 14, look.Row(12, look.Natural(look.NewMark(sign, 18)).At(look.Top), look.Growing(look.Stack(2, text...)))))
	}
	if len(rows) == 0 {
		return nil
	}
	return look.Rows(rows...)
}

// pointed sets a line with one of its runes marked; of a long line, what is around the place.
func pointed(line string, at int, colour fyne.ThemeColorName) *look.Text {
	const around = 24
	runes := []rune(strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' {
			return ' '
		}
		return r
	}, line))
	from, to := max(0, at-around), min(len(runes), at+around)
	plain := look.Style{Mono: true, Size: look.SizeSmall, Color: look.Soft}
	mark := look.Style{Mono: true, Size: look.SizeSmall, Color: colour, Bold: true}
	spot := string(runes[at])
	if spot == " " {
		spot = "_"
	}
	return look.NewText(look.Run{Text: string(runes[from:at]), Style: plain}, look.Run{Text: spot, Style: mark}, look.Run{Text: string(runes[at+1 : to]), Style: plain})
}

func (w *Window) fieldRows() fyne.CanvasObject {
	var rows []fyne.CanvasObject
	for i, f := range w.req.explained.Fields {
		rows = append(rows, look.Hair(), w.fieldRow(i, f, look.Head(told(f.Name)), look.Body(told(f.Text)), i == w.req.span, func() { w.req.span = i; w.draw() }))
	}
	return look.Stack(0, rows...)
}

// fieldRow is one part of a frame: its name over its bytes, and beside them what it says.
func (w *Window) fieldRow(i int, f explain.Field, title, text fyne.CanvasObject, chosen bool, choose func()) fyne.CanvasObject {
	name := look.Stack(1, title, look.Styled(spacedID(f), look.Style{Mono: true, Size: look.SizeSmall, Color: look.Soft}))
	row := look.Row(18, look.Fixed(look.Scaled(120), name).At(look.Top), look.Growing(text).At(look.Top))
	return look.NewChoice(fieldID(i), told(f.Name), look.Pad(7, 6, 7, 6, row), chosen, choose).Follow().Over(func(in bool) { w.lightBytes(i, in) })
}

// spacedID is the hex of a field: an identifier as one word, bytes in pairs.
func spacedID(f explain.Field) string {
	if f.From < 0 {
		return f.Hex
	}
	return spaced(strings.ReplaceAll(f.Hex, " ", ""))
}

// fieldHead names a field with its bytes.
func fieldHead(f explain.Field) string {
	return T("field.head", "Name", told(f.Name), "Bytes", spacedID(f))
}

// nearest are the well-formed requests that a doubtful one is a slip away from. A sound request has neighbours too,
// but nobody is offered another one in its place.
func (w *Window) nearest() fyne.CanvasObject {
	if !w.req.explained.Slipped() {
		return nil
	}
	var rows []fyne.CanvasObject
	for _, n := range w.req.explained.Nearest {
		text := look.Stack(1, look.Styled(n.Text, look.Style{Mono: true, Bold: true}), look.Small(told(n.Summary)), look.Small(told(n.Slip)))
		rows = append(rows, look.Pad(6, 12, 6, 14, look.Row(10, look.Growing(text), look.Natural(look.NewButton("near "+n.Text, T("near.take"), look.Plain, func() { w.req.field.SetText(n.Text) }).Small()))))
	}
	if len(rows) == 0 {
		return nil
	}
	return look.Stack(6, look.Head(T("near.title")), look.Small(T("near.lead")), look.Rows(rows...))
}

func (w *Window) wordsCard() fyne.CanvasObject {
	e := w.req.explained
	if e.Words == nil {
		return look.Boxed(look.Stack(6, look.Head(T("words.title")), look.Small(T("words.none"))))
	}
	return look.Boxed(look.Stack(6, look.Head(T("words.title")),
		look.Styled(strings.Join(e.Words[:], " · "), look.Style{Mono: true, Bold: true, Size: look.SizeHex}), look.Small(T("words.about"))))
}

func (w *Window) compareCard() fyne.CanvasObject {
	r := &w.req
	parts := []fyne.CanvasObject{look.Head(T("compare.title")), r.other}
	c := r.compared
	switch {
	case strings.TrimSpace(r.other.Text) == "":
		parts = append(parts, look.Small(T("compare.about")))
	case c.A.Frame == nil || c.B.Frame == nil:
		parts = append(parts, look.Small(T("compare.unreadable")))
	default:
		parts = append(parts, compared(c, c.A, true), compared(c, c.B, false), look.Small(told(c.Summary)))
		for _, d := range c.Differences {
			parts = append(parts, look.Small(told(d.Text)))
		}
	}
	return look.Boxed(look.Stack(6, parts...))
}

// compared sets one frame of a comparison, its differing bytes marked.
func compared(c explain.Comparison, e explain.Explanation, first bool) fyne.CanvasObject {
	differs := map[int]bool{}
	for _, d := range c.Differences {
		switch {
		case first && d.A != "":
			differs[d.Byte] = true
		case !first && d.B != "":
			differs[d.Byte+d.Shift] = true
		}
	}
	base := look.Style{Mono: true, Size: look.SizeSmall}
	mark := base
	mark.Bold, mark.Color = true, look.Danger
	if !first {
		base.Color = look.Soft
	}
	style := func(i int) look.Style {
		if differs[i] {
			return mark
		}
		return base
	}
	runs := []look.Run{{Text: e.Frame.IDText, Style: style(-1)}}
	for i := 0; i+2 <= len(e.Frame.DataText); i += 2 {
		runs = append(runs, look.Run{Text: " " + e.Frame.DataText[i:i+2], Style: style(i / 2)})
	}
	return look.NewText(runs...)
}

// classRow says what may be done with the request, and why.
func (w *Window) classRow() fyne.CanvasObject {
	e := w.req.explained
	if e.Class == "" {
		return look.Gap(0)
	}
	return look.Row(10, look.Natural(look.NewMark(classSigns[e.Class], 16)).At(look.Top), look.Growing(look.Body(leadIn(T("class."+string(e.Class)+".head"), told(e.Reason)))).At(look.Top))
}

// requestButtons are what can be done with the request now.
func (w *Window) requestButtons() fyne.CanvasObject {
	r := &w.req
	var parts, acts []fyne.CanvasObject
	switch {
	case !r.sendable():
	case w.pass.sending != nil:
		parts = append(parts, look.Small(T("request.sending")))
	case w.link.visit == nil:
		parts = append(parts, look.Small(T("request.no-link")))
		acts = append(acts, look.NewButton("go-link", T("go.link"), look.Plain, func() { w.Show(PageLink) }))
	case !w.mayAsk():
		parts = append(parts, w.hindrances()...)
	case r.explained.Class == explain.Change && w.readOnly() != "":
		parts = append(parts, w.readOnlyNotice())
		acts = append(acts, look.NewButton("go-link", T("read-only.more"), look.Plain, func() { w.Show(PageLink) }))
	case r.explained.Class == explain.Look:
		acts = append(acts, look.NewButton("send-look", T("request.send-look"), look.Main, w.sendLook))
	default:
		acts = append(acts, look.NewButton("to-gate", T("request.to-gate"), look.Main, func() { w.Show(PageGate) }))
	}
	if _, whole := diag.NewCard(r.explained, "", w.now()); whole && w.car().ID != 0 && !w.card.writing {
		acts = append(acts, look.NewButton("card-new", T("card.new"), look.Quiet, w.newCard))
	}
	acts = append(acts, look.NewButton("request-again", T("request.again"), look.Quiet, func() { r.wish = ""; r.field.SetText("") }))
	return look.Stack(8, append(parts, look.Buttons(acts...))...)
}

func (w *Window) requestMargin() fyne.CanvasObject {
	e := w.req.explained
	if e.Frame == nil {
		return w.margin("", T("request.m.unread"), T("request.m.unread.text"), T("request.m.safe"), T("request.m.safe.text"))
	}
	source := e.Source
	var texts []string
	if i := w.req.span; i >= 0 && i < len(e.Fields) {
		f := e.Fields[i]
		texts = append(texts, fieldHead(f), told(f.Text))
		if source == "" {
			source = f.Source
		}
	}
	texts = append(texts, T("request.m.does"), told(e.Summary), T("request.m.lost"), sentences(allTold(e.Lost)...), T("request.m.cannot"), sentences(allTold(e.Cannot)...), T("request.m.sure"), told(e.Sure))
	return w.sourced(told(source), heads(texts)...)
}

// sendLook sends a request that only reads, once, as it is shown.
func (w *Window) sendLook() {
	if !w.mayAsk() || w.busy() || !w.req.sendable() || w.req.explained.Class != explain.Look {
		return
	}
	w.send(w.req.explained)
}
