package app

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/garage"
)

// codeState is the newest reading of the car.
type codeState struct {
	looking  *looking
	lookErr  error
	read     bool
	record   garage.Visit
	modules  []diag.ModuleView
	patterns []diag.Pattern
	chosen   string // key of the chosen code

	filter filter
	search *look.Field
	list   *look.Many
	column *codeColumn // what is shown of the reading
}

// looking is a reading that is under way.
type looking struct {
	progress diag.Progress
	begun    time.Time
	staged   time.Time // when the stage that it is in began
	stop     context.CancelFunc
	stopping bool
}

// take takes the progress over.
func (l *looking) take(p diag.Progress, now time.Time) {
	if p.Stage != l.progress.Stage {
		l.staged = now
	}
	l.progress = p
}

// left is about how long the stage still takes, in seconds; 0 where that can't be told yet.
func (l *looking) left(now time.Time) int {
	p, passed := l.progress, now.Sub(l.staged)
	if p.Done == 0 || p.Done*20 < p.Total || p.Done >= p.Total || passed < 5*time.Second {
		return 0
	}
	left := passed * time.Duration(p.Total-p.Done) / time.Duration(p.Done)
	return int((left+5*time.Second-1)/(5*time.Second)) * 5 // nobody can tell it closer
}

// count counts codes, the modules that hold them, and the codes that are there now.
func (c *codeState) count() (codes, modules, now int) {
	for _, m := range c.modules {
		if len(m.Views) > 0 {
			modules++
		}
		codes += len(m.Views)
		for _, v := range m.Views {
			if v.Describe.ThereNow {
				now++
			}
		}
	}
	return codes, modules, now
}

// untold counts the codes of which nobody tells whether they are there now.
func (c *codeState) untold() (n int) {
	for _, m := range c.modules {
		for _, v := range m.Views {
			if signs[v.Describe.Verdict] == look.MarkUnknown {
				n++
			}
		}
	}
	return n
}

func (c *codeState) answered() (n int) {
	for _, m := range c.modules {
		if m.Answered == garage.Yes {
			n++
		}
	}
	return n
}

// forget drops the reading; what the owner looks for stays.
func (c *codeState) forget() {
	*c = codeState{filter: c.filter, search: c.search, list: c.list, column: &codeColumn{}}
}

// listed counts the modules that let their list be read.
func (c *codeState) listed() (n int) {
	for _, m := range c.modules {
		if m.CodesRead == garage.Yes {
			n++
		}
	}
	return n
}

// asked tells whether every module let its list be read.
func (c *codeState) asked() bool {
	for _, m := range c.modules {
		if m.CodesRead != garage.Yes {
			return false
		}
	}
	return c.record.Complete && len(c.modules) > 0
}

func codeKey(m diag.ModuleView, v diag.CodeView) string {
	return m.Request.String() + " " + v.Record.Code.String()
}

// choice is the chosen code of those that are shown, else the first of them.
func (c *codeState) choice() (diag.ModuleView, diag.CodeView, bool) {
	i := c.column.index(c.chosen)
	if i < 0 {
		i = c.column.first()
	}
	if i < 0 {
		return diag.ModuleView{}, diag.CodeView{}, false
	}
	return c.column.rows[i].module, c.column.rows[i].view, true
}

// sorted are the modules, those with a code that is there now first, those without codes last.
func (c *codeState) sorted() []diag.ModuleView {
	rank := func(m diag.ModuleView) int {
		switch {
		case len(m.Views) == 0:
			return 2
		case m.Views[0].Describe.ThereNow:
			return 0
		}
		return 1
	}
	out := slices.Clone(c.modules)
	slices.SortStableFunc(out, func(a, b diag.ModuleView) int { return rank(a) - rank(b) })
	return out
}

// startLooking reads the whole car.
func (w *Window) startLooking() {
	v := w.link.visit
	if !w.mayAsk() || w.busy() {
		return
	}
	ctx, stop := context.WithCancel(w.ctx)
	w.code.looking = &looking{begun: w.now(), stop: stop}
	w.code.lookErr = nil
	name := w.car().Name
	w.act(func(context.Context) func() {
		defer stop()
		var failed error
		for p, err := range v.Look(ctx, name) {
			if err != nil {
				failed = err
				break
			}
			w.door.hand("look", func() {
				if w.code.looking != nil {
					w.code.looking.take(p, w.now())
				}
			})
		}
		supply := w.refreshSupply(w.ctx, v)
		return func() {
			if w.link.visit != v {
				return
			}
			w.code.looking, w.code.lookErr = nil, failed
			w.takeRecord()
			supply()
			if w.page == PageCodes { // it is another page now: nobody has scrolled it
				w.main.ToTop()
			}
		}
	})
	w.main.ToTop()
	w.draw()
}

// takeRecord takes the newest record of the visit over.
func (w *Window) takeRecord() {
	r, ok := w.link.visit.Record()
	if !ok {
		return
	}
	w.code.read, w.code.record = true, r
	w.code.modules, w.code.patterns = w.link.visit.Modules(), w.link.visit.Patterns()
	w.siftCodes()
	w.readNotes()
	w.keepOwnVolts()
	w.keepMeasured()
	w.keepWiring()
	w.readWiring()
	w.keepIdentifiers()
	w.cars.edited = garage.Car{}
	w.explainAgain()
	w.askOpenQuestions()
}

func (w *Window) stopLooking() {
	if l := w.code.looking; l != nil && !l.stopping {
		l.stopping = true
		l.stop()
		w.draw()
	}
}

func (w *Window) codesPage() (body, margin fyne.CanvasObject) {
	c := &w.code
	switch {
	case w.link.visit == nil:
		return w.empty(T("codes.no-link.title"), T("codes.no-link.lead"), "go-link", T("go.link"), PageLink), w.codesMarginBefore()
	case c.looking != nil:
		return w.lookingBody(), w.codesMarginBefore()
	case !c.read:
		parts := []fyne.CanvasObject{w.header(T("codes.start.title"), T("codes.start.lead"))}
		parts = append(append(parts, w.hindrances()...), w.lookTrouble()...)
		parts = append(parts, look.Boxed(look.Stack(6, look.Body(T("codes.start.1")), look.Body(T("codes.start.2")), look.Body(T("codes.start.3")))))
		if w.mayAsk() {
			weight, text := look.Main, T("codes.look")
			if w.link.supply.flat() {
				weight, text = look.Plain, T("codes.look.anyway")
			}
			parts = append(parts, look.Buttons(look.NewButton("look", text, weight, w.startLooking)))
		}
		return look.Stack(18, parts...), w.codesMarginBefore()
	}
	return w.codesBody(), w.codeMargin()
}

func (w *Window) lookTrouble() []fyne.CanvasObject {
	err := w.code.lookErr
	switch {
	case err == nil:
		return nil
	case errors.Is(err, context.Canceled):
		return []fyne.CanvasObject{look.Noted(look.Accent, look.Body(T("codes.stopped")))}
	}
	if w.link.gone != nil || w.stopped() != nil {
		return nil // that has a notice of its own
	}
	return []fyne.CanvasObject{look.Noted(look.Alert, look.Stack(4, append([]fyne.CanvasObject{look.Head(T("codes.trouble"))}, w.troubleParts(err)...)...))}
}

// lookingBody shows how far the reading is.
func (w *Window) lookingBody() fyne.CanvasObject {
	l := w.code.looking
	p := l.progress
	stage := p.Stage
	if stage == "" {
		stage = diag.StageListen
	}
	parts := []fyne.CanvasObject{look.Head(T("stage." + string(stage)))}
	if p.Total > 0 {
		parts = append(parts, look.Pad(4, 0, 4, 0, look.Bar(p.Done, p.Total)), look.Body(T("codes.count", "Done", p.Done, "Total", p.Total, "Answered", N("n.answered", p.Answered))))
	} else if p.Answered > 0 {
		parts = append(parts, look.Body(N("n.answered", p.Answered)))
	}
	if p.Module != "" {
		parts = append(parts, look.Small(T("codes.last", "Module", named(p.Module))))
	}
	if s := l.left(w.now()); s > 0 {
		parts = append(parts, look.Small(T("codes.left", "Seconds", s)))
	}
	t := w.link.visit.Tally()
	parts = append(parts, look.Small(T("codes.elapsed", "Seconds", int(w.now().Sub(l.begun).Seconds()), "Reads", N("n.reads", t.Reads))))
	var end fyne.CanvasObject = look.Buttons(look.NewButton("stop-look", T("codes.stop"), look.Plain, w.stopLooking))
	if l.stopping {
		end = look.Body(T("codes.stopping"))
	}
	body := append([]fyne.CanvasObject{w.header(T("codes.looking.title"), T("codes.looking.lead"))}, w.hindrances()...)
	return look.Stack(18, append(body, look.Boxed(look.Stack(6, parts...)), end)...)
}

func (w *Window) codesBody() fyne.CanvasObject {
	c := &w.code
	parts := []fyne.CanvasObject{w.header(w.codesTitle())}
	parts = append(append(parts, w.hindrances()...), w.lookTrouble()...)
	long := len(c.column.rows) > longList
	if long {
		parts = append(parts, w.aroundList()...)
	}
	parts = append(parts, w.codeList())
	if !long {
		parts = append(parts, w.aroundList()...)
	}
	weight := look.Main
	if codes, _, _ := c.count(); codes == 0 { // there is nothing to be asked for
		weight = look.Plain
	}
	acts := []fyne.CanvasObject{look.NewButton("write", T("codes.write"), weight, func() { w.Show(PageRequest) })}
	if w.mayAsk() {
		acts = append(acts, look.NewButton("look", T("codes.again"), look.Plain, w.startLooking))
	}
	parts = append(parts, look.Buttons(acts...),
		look.Fine(T("codes.saved", "When", when(c.record.Ended, w.now()))))
	return look.Stack(14, parts...)
}

// longList is the number of rows from which on what belongs to the whole reading stands above the list.
const longList = 40

// aroundList is what the reading says beside its codes: modules without codes, modules not known, and patterns.
func (w *Window) aroundList() (parts []fyne.CanvasObject) {
	c := &w.code
	var none []string
	for _, m := range c.modules {
		if len(m.Views) == 0 && m.CodesRead == garage.Yes {
			none = append(none, named(m.Name))
		}
	}
	if len(none) > 0 {
		slices.Sort(none)
		parts = append(parts, look.Boxed(look.Stack(2, look.Head(N("codes.none", len(none))), look.Small(listed(none)))))
	}
	if gaps := w.gaps(); gaps != nil {
		parts = append(parts, gaps)
	}
	for _, p := range c.patterns {
		held := make([]string, len(p.Codes))
		for i, s := range p.Codes { // the name of a module and a code
			at := max(0, strings.LastIndexByte(s, ' '))
			held[i] = named(s[:at]) + s[at:]
		}
		codes := listed(held)
		if n := len(held) - fewCodes; n > 0 {
			codes = N("list.more", n, "List", commas(held[:fewCodes]))
		}
		said := []fyne.CanvasObject{look.Head(T("pattern." + p.Key)), look.Body(told(p.Text))}
		if p.Next != "" {
			said = append(said, look.Body(leadIn(T("health.next"), told(p.Next))))
		}
		parts = append(parts, look.Noted(look.Accent, look.Stack(4, append(said, look.Small(codes))...)))
	}
	return parts
}

// codesTitle is the sentence that says how things stand.
func (w *Window) codesTitle() (title, lead string) {
	codes, modules, now := w.code.count()
	left := codes - now
	switch {
	case codes == 0 && w.code.asked():
		return T("codes.zero.title"), N("codes.zero.lead", len(w.code.modules))
	case codes == 0 && w.code.listed() > 0:
		return N("codes.listed.title", w.code.listed()), N("codes.listed.lead", len(w.code.modules)-w.code.listed())
	case codes == 0:
		return T("codes.gaps.title"), T("codes.gaps.lead")
	}
	title = upperFirst(N("codes.title", codes, "Codes", spelled(codes), "Modules", N("in.modules", modules, "Count", spelled(modules))))
	untold := w.code.untold()
	left -= untold
	var said []string
	switch {
	case now == 0:
		said = append(said, T("codes.lead.none-now"))
	case now == codes:
		said = append(said, N("codes.lead.all-now", now))
	default:
		said = append(said, upperFirst(N("codes.lead.now", now, "Count", spelled(now))))
	}
	if left > 0 {
		said = append(said, upperFirst(N("codes.lead.left", left, "Count", spelled(left))))
	}
	if untold > 0 {
		said = append(said, N("codes.lead.untold", untold, "Count", spelled(untold)))
	}
	if w.code.hasPattern("flat-battery") {
		said = append(said, T("codes.lead.battery"))
	}
	return title, sentences(said...)
}

func (c *codeState) hasPattern(key string) bool {
	return slices.ContainsFunc(c.patterns, func(p diag.Pattern) bool { return p.Key == key })
}

// codeCell is the code, its failure type set back.
func codeCell(v diag.CodeView) look.Cell {
	name, failure := splitCode(v.Record.Code.String())
	return look.Fixed(look.Scaled(98), look.NewText(look.Run{Text: name, Style: look.Style{Mono: true, Bold: true}},
		look.Run{Text: failure, Style: look.Style{Mono: true, Size: look.SizeSmall, Color: look.Soft}}))
}

// splitCode parts a code from its failure type.
func splitCode(s string) (name, failure string) {
	if i := strings.IndexByte(s, '-'); i > 0 {
		return s[:i], s[i:]
	}
	return s, ""
}

// gaps lists the modules whose codes are not known, each with the kind of its answer.
func (w *Window) gaps() fyne.CanvasObject {
	var rows []fyne.CanvasObject
	for _, m := range w.code.modules {
		if m.CodesRead == garage.Yes {
			continue
		}
		word := T("gap." + strings.ReplaceAll(string(m.CodesRead), " ", "-"))
		if m.Answered == garage.Silent || m.Answered == garage.Damaged {
			word = T("gap." + string(m.Answered))
		}
		if m.CodesRead == garage.Refused && m.Refusal != "" {
			word = T("gap.refused.why", "Why", told(m.Refusal))
		}
		rows = append(rows, look.Row(10, look.Natural(look.NewMark(look.MarkUnknown, 16)), look.Growing(look.Body(T("gap.row", "Module", named(m.Name), "Request", m.Request.String(), "Why", word)))))
	}
	if len(rows) == 0 {
		return nil
	}
	return look.Boxed(look.Stack(6, append([]fyne.CanvasObject{look.Head(N("gap.title", len(rows))), look.Small(T("gap.lead"))}, rows...)...))
}

func (w *Window) codesMarginBefore() fyne.CanvasObject {
	return w.margin(T("source.look"), T("codes.m.what"), T("codes.m.what.text"), T("codes.m.silence"), T("codes.m.silence.text"))
}
