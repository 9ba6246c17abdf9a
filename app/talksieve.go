package app

import (
	"slices"
	"strconv"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/link"
	"readback/diag/talk"
)

// fewThreads is how many modules can be chosen before the owner asks for all of them.
const fewThreads = 8

// talkSieve is what the owner looks for: one module or all, words and bytes, what became of it.
func (w *Window) talkSieve(s *said) fyne.CanvasObject {
	t := &w.said
	var kinds []fyne.CanvasObject
	for _, k := range talkKinds {
		kinds = append(kinds, look.NewButton("talk-"+string(k), T("talk.kind."+string(k)), look.Quiet, func() {
			t.kind = k
			w.siftTalk()
			w.draw()
		}).Chosen(t.kind == k))
	}
	return look.Stack(2, w.talkThreads(s), t.search, look.Wrap(2, kinds...))
}

// talkThreads are the modules that were asked. At first only those that say most can be chosen.
func (w *Window) talkThreads(s *said) fyne.CanvasObject {
	t := &w.said
	all := s.talk.Threads()
	threads := all
	if !t.threads && len(all) > fewThreads {
		threads = loudest(all, fewThreads, t.thread)
	}
	choose := func(id, text string, number int) fyne.CanvasObject {
		return look.NewButton(id, text, look.Quiet, func() {
			t.thread = number
			w.siftTalk()
			w.draw()
		}).Chosen(t.thread == number)
	}
	acts := []fyne.CanvasObject{choose("thread 0", T("talk.thread.all"), 0)}
	for _, x := range threads {
		acts = append(acts, choose("thread "+strconv.Itoa(x.Number), T("talk.thread", "Name", moduleName(x.Module, x.Address), "Rows", grouped(x.Rows)), x.Number))
	}
	if len(all) > fewThreads {
		text := N("talk.thread.more", len(all)-len(threads))
		if t.threads {
			text = T("talk.thread.fewer")
		}
		acts = append(acts, look.NewButton("threads", text, look.Plain, func() { t.threads = !t.threads; w.draw() }).Small())
	}
	return look.Wrap(2, acts...)
}

// loudest are the n threads with most rows, and the chosen one, in the order in which they were met.
func loudest(all []talk.Thread, n, chosen int) []talk.Thread {
	out := slices.Clone(all)
	rank := func(x talk.Thread) int {
		if x.Number == chosen {
			return -1 << 30
		}
		return -x.Rows
	}
	slices.SortStableFunc(out, func(a, b talk.Thread) int { return rank(a) - rank(b) })
	out = out[:min(n, len(out))]
	slices.SortFunc(out, func(a, b talk.Thread) int { return a.Number - b.Number })
	return out
}

// moduleName is what a module is called, by its address where it has no name.
func moduleName(name string, a link.Address) string {
	switch {
	case name != "":
		return named(name)
	case !a.Request.IsZero():
		return a.Request.String()
	case !a.Answer.IsZero():
		return a.Answer.String()
	}
	return T("talk.wire")
}

// talkTurn leads through a conversation of more rows than are shown in one piece.
func (w *Window) talkTurn(where string) fyne.CanvasObject {
	t := &w.said
	all, end := t.view.Len(), t.part+t.column.Len()
	if all <= talkPart {
		return nil
	}
	parts := []fyne.CanvasObject{look.Small(T("talk.part", "From", grouped(t.part+1), "To", grouped(end), "All", grouped(all)))}
	turn := func(id, text string, to int) {
		parts = append(parts, look.NewButton("talk-"+id+"-"+where, text, look.Plain, func() { w.talkGo(to) }).Small())
	}
	if t.part > 0 {
		turn("earlier", T("talk.earlier"), t.part-talkPart)
	}
	if end < all {
		turn("later", T("talk.later"), end)
		turn("last", T("talk.last"), all-1)
	}
	return look.Wrap(8, parts...)
}

// grouped writes a number with a mark between thousands.
func grouped(n int) string {
	s, mark := strconv.Itoa(n), T("number.thousands")
	for at := len(s) - 3; at > 0 && s[at-1] != '-'; at -= 3 {
		s = s[:at] + mark + s[at:]
	}
	return s
}

// share is a part of a whole in per cent.
func share(part float64) string {
	switch {
	case part > 0 && part < 0.001:
		return T("heard.share.least")
	case part > 0 && part < 0.1:
		return T("number.percent", "N", decimal(part*100, 1))
	}
	return T("number.percent", "N", decimal(part*100, 0))
}
