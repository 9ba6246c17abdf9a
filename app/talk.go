package app

import (
	"context"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/explain"
	"readback/diag/heard"
	"readback/diag/talk"
	"readback/diag/trace"
)

// said is what was said on the wire, in a visit or in a recording, as far as it has been taken in.
type said struct {
	name  string // of the recording, "" for a visit
	visit Visit  // nil for a recording, and once it has ended
	deaf  bool   // it was with an adapter that does not pass on the frames of the car
	seq   uint64 // number of the newest entry that was taken
	known int64  // the reading whose modules are known by name
	ended bool
	fresh int // entries that were taken last
	gone  int // entries that were not kept any more when they should have been taken
	rate  int // bit/s, 0 when not known
	talk  *talk.Talk
	table *heard.Table
	err   error // why a recording could not be read to its end
}

// liveFrames is how many diagnostic frames of a visit are kept here: as many as its record keeps of all frames. Live values
// make some hundred in a second, and the window must not grow for as long as they are watched.
const liveFrames = 100_000

// newSaid keeps so many diagnostic frames, 0 for what a recording is given.
func newSaid(frames int) *said {
	return &said{talk: talk.New(talk.Options{Limit: frames}), table: heard.New(heard.Options{})}
}

func (s *said) add(entries []trace.Entry) {
	s.talk.Add(entries)
	s.table.Add(entries)
}

// take takes in what has been said since the last time and tells whether there was anything.
func (s *said) take() bool {
	entries, seq := s.visit.Since(s.seq)
	s.gone += int(seq-s.seq) - len(entries)
	s.seq, s.fresh = seq, len(entries)
	s.add(entries)
	named := false
	if r, ok := s.visit.Record(); ok && r.ID != s.known {
		s.talk.Know(explain.Options{Modules: diag.ExplainModules(r.Modules)})
		s.known, named = r.ID, true
	}
	return named || len(entries) > 0
}

// Heard is how many frames of the visit have been taken in, and how many entries of its record were gone before they could be.
func (w *Window) Heard() (frames, gone int) {
	if s := w.said.live; s != nil {
		return s.table.Frames(), s.gone
	}
	return 0, 0
}

// talkKind is which exchanges of a conversation are shown.
type talkKind string

const (
	talkAll     talkKind = "all"
	talkRefused talkKind = "refused"
	talkSilent  talkKind = "silent"
	talkChange  talkKind = "change"
)

var talkKinds = []talkKind{talkAll, talkRefused, talkSilent, talkChange}

// talkState is the conversation, and what the owner looks at in it.
type talkState struct {
	live, file *said
	onFile     bool // the recording is shown, not the visit
	reading    *talkReading
	err        error // why no recording or definition file was opened

	kept    []keptRecording
	keptErr error
	allKept bool
	keeping bool // the kept recordings are listed although something is shown

	thread  int
	threads bool // all modules can be chosen, not only those that talk most
	kind    talkKind
	search  *look.Field

	of      *said // what the view is a view of
	view    *talk.View
	many    int  // rows from which on it is sought off the window's thread
	seeking *int // what is being sought there, nil when nothing is
	part    int  // the first row of the part that is shown
	list    *look.Many
	column  *talkColumn
	chosen  uint32 // number of the row, 0 for none
	message int    // of the chosen row
	opened  map[uint32]bool
	follow  bool // what is newest stays in sight
	rest    int  // times in which the page is not drawn although much has come
	due     bool // something has come since it was drawn
}

// talkPart is how many rows are shown in one piece. A recording may have a hundred times as many.
const talkPart = 2500

// hearRead is how much may come within [beatEvery] for the page to show it each time. While more comes, nobody can read it as it
// comes, and the page is drawn every hearRest times only: drawing is most of what a busy bus costs.
const hearRead, hearRest = 50, 4

func (w *Window) makeTalkParts() {
	t := &w.said
	t.kind, t.opened, t.many = talkAll, map[uint32]bool{}, manyRows
	t.search = look.NewField("talk-search", T("talk.search"), false, func(string) { w.siftTalk(); w.draw() })
	t.list = look.NewMany("talk", func(i int) {
		t.chosen, t.message = t.column.row(i).Number, -1
		w.draw()
	}).Opens(w.unfold).Beyond(w.talkBeyond)
	t.column = &talkColumn{}
}

// shown is what the page is about, nil when nothing has been said.
func (t *talkState) shown() *said {
	if t.onFile && t.file != nil || t.live == nil {
		return t.file
	}
	return t.live
}

// overhear takes in what has been said since the last time.
func (w *Window) overhear() {
	if w.ctx.Err() != nil {
		return
	}
	t, v, news := &w.said, w.link.visit, false
	if t.live != nil && t.live.visit != v && !t.live.ended {
		t.live.take()
		t.live.talk.End()
		t.live.visit, t.live.ended, news = nil, true, true
	}
	if v != nil && (t.live == nil || t.live.visit != v) {
		t.live = newSaid(liveFrames)
		a := v.Adapter()
		t.live.visit, t.live.rate, t.live.deaf = v, a.BitRate, !a.Raw
		t.onFile, t.rest, news = false, 0, true
		w.resetTalk()
	}
	if t.live != nil && !t.live.ended {
		news = t.live.take() || news
	}
	if t.shown() != t.live || w.page != PageTalk && w.page != PageHeard {
		return
	}
	if busy := t.live != nil && !t.live.ended && t.live.fresh > hearRead; busy && t.rest > 0 {
		t.rest--
		t.due = true
		return
	} else if busy {
		t.rest = hearRest - 1
	} else if t.rest = 0; !news && !t.due {
		return
	}
	t.due = false
	t.follow = t.follow && w.main.AtEnd()
	w.draw()
	w.followTalk()
}

// followTalk brings the newest row into sight where that is wished.
func (w *Window) followTalk() {
	if w.page == PageTalk && w.said.follow {
		w.main.ToEnd()
	}
}

// resetTalk forgets what was looked at in another conversation.
func (w *Window) resetTalk() {
	t := &w.said
	t.thread, t.chosen, t.message, t.follow = 0, 0, -1, false
	t.opened = map[uint32]bool{}
	w.siftTalk()
}

// manyRows is how many rows are looked through at once, within the time of a key press.
const manyRows = 50_000

// siftTalk lets the rows be chosen anew. A long recording is looked through off the window's thread; nothing is added to it
// any more. Until then the rows of before are shown.
func (w *Window) siftTalk() {
	t := &w.said
	s := t.shown()
	t.seeking = nil
	if s == nil || !s.ended || s.talk.Len() < t.many || t.of != s {
		t.view, t.part = nil, 0
		return
	}
	mine, f := new(int), t.filter()
	t.seeking = mine
	w.act(func(context.Context) func() {
		v := s.talk.View(f)
		return func() {
			if t.seeking == mine {
				t.view, t.part, t.seeking = v, 0, nil
			}
		}
	})
}

func (t *talkState) filter() talk.Filter {
	f := talk.Filter{Thread: t.thread, Text: t.search.Text, Tell: told, ChangeMark: T("class.change")}
	switch t.kind {
	case talkRefused:
		f.Outcomes = []talk.Outcome{talk.Refused}
	case talkSilent:
		f.Outcomes = []talk.Outcome{talk.Silent, talk.Torn, talk.Waiting}
	case talkChange:
		f.Class = explain.Change
	}
	return f
}

// fill brings the rows up to date with what was said and what the owner looks for.
func (t *talkState) fill(s *said) {
	if t.view == nil || t.of != s {
		t.view, t.of = s.talk.View(t.filter()), s
	} else {
		t.view.Update()
	}
	if t.follow || t.part >= t.view.Len() {
		t.part = max(0, t.view.Len()-1) / talkPart * talkPart
	}
	t.column = newTalkColumn(t.view, s.talk, t.part, t.opened)
	t.list.Fill(t.column, t.place()-t.part)
}

// place is where the chosen row is among all rows, far away when it is not among them.
func (t *talkState) place() int {
	if t.chosen > 0 && t.view != nil {
		if i := t.view.Find(t.chosen); i < t.view.Len() && t.view.Row(i).Number == t.chosen && i >= t.part && i < t.part+talkPart {
			return i
		}
	}
	return t.part - 1
}

// talkGo chooses the row at a place among all rows.
func (w *Window) talkGo(i int) {
	t := &w.said
	t.chosen, t.message, t.part, t.follow = t.view.Row(i).Number, -1, i/talkPart*talkPart, false
	w.draw()
	t.list.Show()
}

// talkBeyond is told of a key that leads out of the part that is shown.
func (w *Window) talkBeyond(by int, all bool) bool {
	t := &w.said
	to := t.part - 1
	switch {
	case all && by < 0:
		to = 0
	case all:
		to = t.view.Len() - 1
	case by > 0:
		to = t.part + t.column.Len()
	}
	if to < 0 || to >= t.view.Len() {
		return false
	}
	w.talkGo(to)
	return true
}

// mostOpen is how many rows may be open at a time.
const mostOpen = 32

// unfold opens or closes a row of the part that is shown.
func (w *Window) unfold(i int) {
	t := &w.said
	n := t.column.row(i).Number
	if t.opened[n] {
		delete(t.opened, n)
	} else {
		if len(t.opened) >= mostOpen {
			clear(t.opened)
		}
		t.opened[n] = true
	}
	w.draw()
	t.list.Show()
}

func (w *Window) talkPage() (body, margin fyne.CanvasObject) {
	t := &w.said
	s := t.shown()
	if t.reading != nil {
		return w.readingBody(), w.talkHelp()
	}
	if s == nil {
		return look.Stack(18, kept([]fyne.CanvasObject{w.noTalk(T("talk.none"), T("talk.none.lead")), w.keptRecordings()})...), w.talkHelp()
	}
	t.fill(s)
	title, lead := N("talk.title", s.talk.Len(), "Count", grouped(s.talk.Len())), w.talkLead(s)
	parts := []fyne.CanvasObject{w.header(title, lead), w.talkTrouble(), w.talkSources(s)}
	if t.keeping {
		parts = append(parts, w.keptRecordings())
	}
	parts = append(parts, w.talkSieve(s))
	if t.seeking != nil {
		parts = append(parts, look.Small(T("talk.seeking")))
	}
	switch shown := t.view.Len(); {
	case s.talk.Len() == 0:
		parts = append(parts, look.Boxed(look.Body(T("talk.nothing"))))
	case shown == 0:
		parts = append(parts, look.Boxed(look.Body(T("talk.no-match"))))
	default:
		if shown < s.talk.Len() {
			parts = append(parts, look.Small(T("talk.shown", "Shown", grouped(shown), "All", grouped(s.talk.Len()))))
		}
		parts = append(parts, w.talkTurn("top"), t.list, w.talkTurn("end"))
	}
	return look.Stack(12, kept(parts)...), w.talkMargin(s)
}

// kept leaves out what is not there.
func kept(parts []fyne.CanvasObject) (out []fyne.CanvasObject) {
	for _, p := range parts {
		if p != nil {
			out = append(out, p)
		}
	}
	return out
}

// talkLead tells where the conversation is from.
func (w *Window) talkLead(s *said) string {
	from := T("talk.lead.live")
	switch {
	case s.name != "":
		from = T("talk.lead.file", "File", s.name)
	case s.ended:
		from = T("talk.lead.ended")
	}
	lead := []string{from}
	if n := s.talk.Other(); n > 0 {
		lead = append(lead, N("talk.other", n, "Count", grouped(n)))
	}
	if n := s.talk.Lost(); n > 0 {
		lead = append(lead, N("talk.lost", n, "Count", grouped(n)))
	}
	return sentences(lead...)
}

// talkTrouble is what went wrong with a file, nil when nothing did.
func (w *Window) talkTrouble() fyne.CanvasObject {
	err := w.said.err
	if s := w.said.shown(); err == nil && s != nil {
		err = s.err
	}
	if err == nil {
		return nil
	}
	return look.Noted(look.Alert, look.Body(fileSentence(err)))
}

// talkSources are this visit and the recording that is open, and the way to another one.
func (w *Window) talkSources(s *said) fyne.CanvasObject {
	t := &w.said
	var acts []fyne.CanvasObject
	if t.live != nil && t.file != nil {
		choose := func(id, text string, file bool) fyne.CanvasObject {
			return look.NewButton(id, text, look.Quiet, func() { t.onFile = file; w.resetTalk(); w.draw() }).Chosen((s == t.file) == file)
		}
		acts = append(acts, choose("talk-live", T("talk.live"), false), choose("talk-file", t.file.name, true))
	}
	acts = append(acts, look.NewButton("talk-open", T("talk.open"), look.Plain, w.openRecording).Small())
	if len(t.kept) > 0 && w.page == PageTalk {
		acts = append(acts, look.NewButton("talk-kept", T("talk.kept.show"), look.Quiet, func() { t.keeping = !t.keeping; w.draw() }).Chosen(t.keeping))
	}
	if s == t.live && !s.ended && w.page == PageTalk {
		acts = append(acts, look.NewButton("talk-follow", T("talk.follow"), look.Quiet, func() {
			t.follow = !t.follow
			w.draw()
			w.followTalk()
		}).Chosen(t.follow))
	}
	return look.Wrap(4, acts...)
}
