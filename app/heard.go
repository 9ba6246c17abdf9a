package app

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/heard"
	"readback/diag/link"
	"readback/diag/signal"
)

// heardOrder is in which order those who talk are listed.
type heardOrder string

const (
	heardByID    heardOrder = "id"
	heardByShare heardOrder = "share"
)

// heardState is what the owner looks at of those who talk.
type heardState struct {
	signals *signal.File // nil without a definition file
	file    string
	order   heardOrder
	own     bool // what this computer sent is listed, too
	search  *look.Field
	list    *look.Many
	column  *heardColumn
	chosen  link.ID
}

func (w *Window) makeHeardParts() {
	h := &w.ear
	h.order = heardByID
	h.search = look.NewField("heard-search", T("heard.search"), false, func(string) { w.draw() })
	h.list = look.NewMany("heard", func(i int) { h.chosen = h.column.rows[i].ID; w.draw() })
	h.column = &heardColumn{}
}

// siftHeard shows the newly read definitions.
func (w *Window) siftHeard() { w.main.ToTop() }

// heardColumn are those who talk, a row each. All rows are equally high.
type heardColumn struct {
	rows []heard.Row
}

func (c *heardColumn) Len() int                        { return len(c.rows) }
func (c *heardColumn) Heading(int) bool                { return false }
func (c *heardColumn) Odd(float32) []int               { return nil }
func (c *heardColumn) Build(i int) fyne.CanvasObject   { return heardLine(c.rows[i]) }
func (c *heardColumn) Height(_ int, w float32) float32 { return c.EvenHeight(w) }
func (c *heardColumn) EvenHeight(width float32) float32 {
	return look.HeightFor(heardLine(heard.Row{}), width)
}

// sift are the rows of a table that hold what is looked for, named by the definition file.
func (h *heardState) sift(t *heard.Table) *heardColumn {
	out := &heardColumn{}
	words := strings.Fields(strings.ToLower(h.search.Text))
	for i := range t.Len() {
		r := t.Row(i)
		if r.Out && !h.own {
			continue
		}
		if m, ok := h.message(r.ID); ok {
			r.Name, r.Expected = m.Name, m.Cycle
		}
		text := strings.ToLower(r.ID.String() + " " + r.Name)
		if !slices.ContainsFunc(words, func(word string) bool { return !strings.Contains(text, word) }) {
			out.rows = append(out.rows, r)
		}
	}
	if h.order == heardByShare {
		slices.SortStableFunc(out.rows, func(a, b heard.Row) int { return cmp.Compare(b.Share, a.Share) })
	}
	return out
}

func (h *heardState) message(id link.ID) (*signal.Message, bool) {
	if h.signals == nil {
		return nil, false
	}
	return h.signals.Message(id)
}

func (w *Window) heardPage() (body, margin fyne.CanvasObject) {
	h := &w.ear
	s := w.said.shown()
	switch {
	case w.said.reading != nil:
		return w.readingBody(), w.heardHelp()
	case s == nil:
		return w.noTalk(T("heard.none"), T("heard.none.lead")), w.heardHelp()
	case s.deaf:
		return look.Stack(18, kept([]fyne.CanvasObject{w.header(T("heard.no-frames"), T("heard.no-frames.lead")), w.talkTrouble(), w.talkSources(s), w.definitions(),
			look.Buttons(look.NewButton("go-link", T("go.link"), look.Plain, func() { w.Show(PageLink) }))})...), w.heardHelp()
	}
	h.column = h.sift(s.table)
	at := slices.IndexFunc(h.column.rows, func(r heard.Row) bool { return r.ID == h.chosen })
	h.list.Fill(h.column, at)
	others := 0
	for i := range s.table.Len() {
		if !s.table.Row(i).Out {
			others++
		}
	}
	title, lead := N("heard.title", others, "Count", grouped(others)), w.heardLead(s, s.table.Len()-others)
	silent := s.table.Len() == 0
	if silent {
		title, lead = T("heard.silent"), T("heard.silent.lead")
		if s.ended {
			lead = T("heard.silent.ended")
		}
	}
	parts := []fyne.CanvasObject{w.header(title, lead), w.talkTrouble(), look.State(look.MarkCheck, T("heard.nothing-sent")), w.talkSources(s)}
	if silent {
		parts = append(parts, look.Boxed(look.Stack(4, look.Head(T("heard.nothing")), look.Body(T("heard.nothing.why")), look.Body(T("heard.nothing.next")))))
		return look.Stack(12, kept(append(parts, w.definitions()))...), w.heardHelp()
	}
	parts = append(parts, w.voices(s), w.definitions(), w.heardSieve())
	if len(h.column.rows) == 0 {
		parts = append(parts, look.Boxed(look.Body(T("heard.no-match"))))
	} else {
		parts = append(parts, look.Fine(T("heard.marks")), h.list)
	}
	return look.Stack(12, kept(parts)...), w.heardMargin(s, at)
}

// heardLead says how much was heard; so many identifiers are used by this computer.
func (w *Window) heardLead(s *said, own int) string {
	t := s.table
	lead := []string{N("heard.lead", t.Frames(), "Count", grouped(t.Frames()), "Time", lasting(t.Lasted()))}
	if now, mean := t.Load(s.rate); mean > 0 {
		key := "heard.load"
		if s.ended {
			key = "heard.load.mean"
		}
		lead = append(lead, T(key, "Now", share(now), "Mean", share(mean), "Rate", grouped(s.rate/1000)))
	}
	if own > 0 {
		lead = append(lead, N("heard.own.count", own, "Count", grouped(own)))
	}
	if n := t.Unlisted(); n > 0 {
		lead = append(lead, N("heard.unlisted", n, "Count", grouped(n)))
	}
	return sentences(lead...)
}

// voices is the picture of who talks how much.
func (w *Window) voices(s *said) fyne.CanvasObject {
	var all []look.Voice
	for i := range s.table.Len() {
		r := s.table.Row(i)
		if r.Out && !w.ear.own {
			continue
		}
		all = append(all, look.Voice{Name: r.ID.String(), Share: r.Share, Note: share(r.Share), Own: r.Out, Chosen: r.ID == w.ear.chosen})
	}
	about := T("heard.voices")
	if w.ear.own {
		about = sentences(about, T("heard.voices.own"))
	}
	return look.Stack(2, look.NewVoices(all), look.Fine(about))
}

func (w *Window) heardSieve() fyne.CanvasObject {
	h := &w.ear
	order := func(o heardOrder) fyne.CanvasObject {
		return look.NewButton("heard-by-"+string(o), T("heard.order."+string(o)), look.Quiet, func() { h.order = o; w.draw() }).Chosen(h.order == o)
	}
	return look.Stack(2, h.search, look.Wrap(2, order(heardByID), order(heardByShare),
		look.NewButton("heard-own", T("heard.own.too"), look.Quiet, func() { h.own = !h.own; w.draw() }).Chosen(h.own)))
}

// definitions tells which definition file is open.
func (w *Window) definitions() fyne.CanvasObject {
	h := &w.ear
	open := look.NewButton("heard-signals", T("heard.signals.open"), look.Plain, w.openSignals).Small()
	if h.signals == nil {
		return look.Wrap(8, open, look.Small(T("heard.signals.none")))
	}
	text, problems := N("heard.signals", len(h.signals.Messages), "File", h.file), h.signals.Problems
	parts := []fyne.CanvasObject{look.Wrap(8, open, look.NewButton("heard-forget", T("heard.signals.forget"), look.Quiet, func() { h.signals = nil; w.draw() }))}
	if n := len(problems); n > 0 {
		text = sentences(text, N("heard.signals.problems", n))
	}
	parts = append(parts, look.Small(text))
	for i, p := range problems {
		if i == mostProblems {
			parts = append(parts, look.Fine(N("heard.signals.problems.more", len(problems)-i)))
			break
		}
		what := told(p.Text)
		if p.Line > 0 {
			what = T("heard.signals.problem", "Line", p.Line, "Text", what)
		}
		parts = append(parts, look.AsIs(what, look.Style{Size: look.SizeFine, Color: look.Soft}))
	}
	return look.Stack(4, parts...)
}

// mostProblems is how many places that could not be read are told one by one.
const mostProblems = 5

// heardBytes are the newest bytes of an identifier: those that have changed are bold, those that just changed coloured.
func heardBytes(r heard.Row) fyne.CanvasObject {
	if r.Remote {
		return cut(T("heard.remote"), cutSoft)
	}
	var runs []look.Run
	for i := range r.Length {
		st := look.Style{Mono: true, Size: look.SizeSmall, Color: look.Soft}
		switch {
		case r.Newly>>i&1 == 1:
			st.Bold, st.Color = true, look.Accent
		case r.Changed>>i&1 == 1:
			st.Bold, st.Color = true, look.Ink
		}
		runs = append(runs, look.Run{Text: fmt.Sprintf("%02X ", r.Data[i]), Style: st})
	}
	if runs == nil {
		runs = []look.Run{{Text: "", Style: cutBytes}}
	}
	return look.NewCut(runs...)
}

// often is how often an identifier is said.
func often(r heard.Row) string {
	switch rate := r.Rate(); {
	case rate >= 9.5:
		return T("heard.rate", "Rate", decimal(rate, 0))
	case rate >= 0.1:
		return T("heard.rate", "Rate", decimal(rate, 1))
	case r.Count == 1:
		return T("heard.once")
	}
	return T("heard.seldom")
}

func heardLine(r heard.Row) fyne.CanvasObject {
	name := func() fyne.CanvasObject {
		about := r.Name
		if r.Out {
			about = dots(about, T("heard.own"))
		}
		return look.NewCut(look.Run{Text: r.ID.String(), Style: look.Style{Mono: true, Bold: true}}, look.Run{Text: "  " + about, Style: cutSoft})
	}
	part := dots(share(r.Share), N("heard.frames", r.Count, "Count", grouped(r.Count)))
	return look.Pad(8, 14, 8, 14, look.Either(look.Scaled(430),
		look.Row(12, look.Growing(look.Stack(2, name(), cut(part, cutFine))), look.Fixed(look.Scaled(206), heardBytes(r)), look.Fixed(look.Scaled(92), cut(often(r), cutWords))),
		look.Stack(2, name(), heardBytes(r), cut(often(r), cutWords), cut(part, cutFine))))
}

func (w *Window) heardHelp() fyne.CanvasObject {
	return w.margin(T("source.heard"), T("heard.m.what"), T("heard.m.what.text"), T("heard.m.need"), T("heard.m.need.text"), T("heard.m.signals"), T("heard.m.signals.text"))
}

// heardMargin is what is known of the chosen identifier.
func (w *Window) heardMargin(s *said, at int) fyne.CanvasObject {
	h := &w.ear
	if at < 0 {
		return w.heardHelp()
	}
	r := h.column.rows[at]
	facts := []fyne.CanvasObject{fact(T("heard.f.frames"), grouped(r.Count)), fact(T("heard.f.share"), share(r.Share))}
	span := func(key string, d time.Duration) {
		if d > 0 {
			facts = append(facts, fact(T(key), lasting(d)))
		}
	}
	span("heard.f.period", r.Period)
	span("heard.f.expected", r.Expected)
	span("heard.f.jitter", r.Jitter)
	span("heard.f.shortest", r.Shortest)
	span("heard.f.longest", r.Longest)
	head := []fyne.CanvasObject{look.Head(T("heard.m.id", "ID", r.ID.String()))}
	if r.Name != "" {
		head = append(head, look.AsIs(r.Name, look.Style{}))
	}
	parts := []fyne.CanvasObject{look.Stack(2, head...), look.Stack(3, facts...)}
	m, known := h.message(r.ID)
	switch {
	case known && !r.Remote:
		parts = append(parts, signalValues(m, r))
	case h.signals != nil:
		parts = append(parts, look.Small(T("heard.unknown", "File", h.file)))
	default:
		parts = append(parts, look.Small(T("heard.m.signals.text")))
	}
	return w.sourced(T("source.heard"), parts...)
}

// mostValues is how many signals of a frame the margin shows.
const mostValues = 80

// signalValues are the signals in the newest frame, as the definition file has them.
func signalValues(m *signal.Message, r heard.Row) fyne.CanvasObject {
	parts := []fyne.CanvasObject{look.Head(T("heard.m.values"))}
	for i, v := range m.Append(nil, r.Data[:r.Length]) {
		if i == mostValues {
			parts = append(parts, look.Small(N("heard.values.more", len(m.Signals)-mostValues)))
			break
		}
		text := v.String()
		switch {
		case v.Missing:
			text = T("heard.missing")
		case v.Outside():
			text = T("heard.outside", "Value", text)
		}
		parts = append(parts, look.Stack(0, look.AsIs(v.Signal.Name, look.Style{Size: look.SizeSmall, Color: look.Soft}), look.AsIs(text, look.Style{Mono: true, Size: look.SizeSmall})))
	}
	return look.Stack(5, append(parts, look.Fine(T("heard.m.values.text")))...)
}
