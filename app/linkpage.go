package app

import (
	"fmt"
	"slices"
	"strings"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag"
	"readback/diag/adapter"
)

func (w *Window) linkPage() (body, margin fyne.CanvasObject) {
	l := &w.link
	var parts []fyne.CanvasObject
	switch {
	case l.opening != nil:
		parts = append(parts, w.header(T("link.opening.title"), T("link.opening.lead", "Place", l.opening.place)),
			w.rungs(l.opening.rungs, ""), look.Buttons(look.NewButton("stop-opening", T("cancel"), look.Plain, w.stopOpening)))
	case l.visit != nil && l.gone != nil:
		parts = append(parts, w.header(T("link.lost.title", "Name", told(l.visit.Adapter().Name)), T("link.lost.lead")))
		parts = append(append(parts, w.notices()...), w.goneNotice(), w.foundList(), w.addressRow())
	case l.visit != nil:
		parts = append(parts, w.header(T("link.open.title", "Name", told(l.visit.Adapter().Name)), w.openLead()))
		parts = append(append(parts, w.notices()...), w.hindrances()...)
		for _, p := range []fyne.CanvasObject{w.readOnlyNotice(), w.testCard(), w.openButtons(), w.standingHealth(), w.supplyCard(), w.abilities()} {
			if p != nil {
				parts = append(parts, p)
			}
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

// openLead is what can be done over an open link: the adapter's grade, where it has one.
func (w *Window) openLead() string {
	if w.stopped() != nil {
		return "" // what stands below says it
	}
	if g := w.link.visit.Adapter().Grade.Word; g != "" {
		return sentences(T("grade."+strings.ReplaceAll(string(g), " ", "-")), T("link.open.lead"))
	}
	return T("link.open.lead")
}

// openButtons are what can be done with an open link.
func (w *Window) openButtons() fyne.CanvasObject {
	weight := look.Main
	if !w.mayAsk() || w.link.supply.flat() {
		weight = look.Plain
	}
	buttons := []fyne.CanvasObject{look.NewButton("go-codes", T("link.go"), weight, func() { w.Show(PageCodes) })}
	if w.busy() {
		return look.Stack(6, look.Buttons(buttons...), look.Small(T("link.busy")))
	}
	buttons = append(buttons, look.NewButton("disconnect", T("link.disconnect"), look.Plain, w.disconnect))
	if w.mayAsk() && !w.link.testing && !w.link.supply.flat() {
		buttons = append(buttons, look.NewButton("test-link", T("link.test.again"), look.Quiet, func() { w.testLink(); w.draw() }))
	}
	return look.Buttons(buttons...)
}

func (w *Window) foundList() fyne.CanvasObject {
	l := &w.link
	var rows []fyne.CanvasObject
	for i, f := range l.seen.Found {
		head := look.NewText(look.Run{Text: told(f.Name), Style: look.Style{Bold: true}})
		if word := l.change(f.Place); word != "" {
			head = look.NewText(look.Run{Text: told(f.Name), Style: look.Style{Bold: true}}, look.Run{Text: "  " + word, Style: look.Style{Size: look.SizeSmall, Bold: true, Color: look.Accent}})
		}
		text := []fyne.CanvasObject{head, look.Small(told(f.Note)), look.Styled(string(f.Place), look.Style{Mono: true, Size: look.SizeFine, Color: look.Soft})}
		weight := look.Plain
		if i == 0 && f.Ready && l.gone == nil && l.openErr == nil { // those have a button of their own that stands out
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
		row := look.Row(12, look.Growing(look.Stack(1, text...)), look.Natural(look.Stack(2, acts...)))
		if f.Fix != "" {
			row = look.Stack(4, row, look.Small(T("link.fix")), w.command(f.Fix))
		}
		rows = append(rows, look.Pad(9, 14, 9, 16, row))
	}
	for _, f := range l.seen.Vanished {
		rows = append(rows, look.Pad(9, 14, 9, 16, look.Row(12, look.Growing(look.Small(T("link.gone", "Name", told(f.Name), "Place", string(f.Place)))))))
	}
	if slices.ContainsFunc(l.seen.Taken, func(f adapter.Found) bool { return f.Place != l.tried }) { // no service takes what was in use
		rows = append(rows, look.Pad(9, 14, 9, 16, look.Body(told(diag.TakenAdvice))))
	}
	switch {
	case l.finding && len(rows) == 0:
		return look.Boxed(look.Body(T("link.finding")))
	case len(rows) == 0:
		rows = append(rows, look.Pad(14, 16, 14, 16, look.Body(T("link.none"))))
	}
	parts := []fyne.CanvasObject{look.Rows(rows...)}
	if l.findErr != nil {
		parts = append(parts, look.Small(errorText(l.findErr)))
	}
	parts = append(parts, look.Buttons(look.NewButton("find", T("link.find"), look.Plain, func() { w.findAdapters(); w.draw() })))
	return look.Stack(10, parts...)
}

// change is what has changed of the adapter at a place since the list before, in a word.
func (l *linkState) change(p adapter.Place) string {
	switch {
	case l.seen.New(p):
		return T("link.new")
	case slices.ContainsFunc(l.seen.Changed, func(f adapter.Found) bool { return f.Place == p }):
		return T("link.changed")
	}
	return ""
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
	fact(T("link.speaks"), told(a.Protocol))
	if a.BitRate > 0 && a.Protocol == "" {
		fact(T("link.speaks"), T("link.bits", "N", a.BitRate/1000))
	}
	fact(T("link.version"), told(a.Version))
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
			graded = append(graded, look.Row(10, look.Natural(look.NewMark(look.MarkCheck, 14)).At(look.Top), look.Growing(look.Body(told(x)))))
		}
		for _, x := range g.Cannot {
			graded = append(graded, look.Row(10, look.Natural(look.NewMark(look.MarkOpen, 14)).At(look.Top), look.Growing(look.Body(told(x)))))
		}
		rows = append(rows, look.Pad(10, 16, 10, 16, look.Stack(4, graded...)))
	}
	limits := slices.DeleteFunc(slices.Clone(a.Limits), func(s string) bool { return slices.Contains(a.Grade.Cannot, s) })
	if len(limits) > 0 {
		rows = append(rows, look.Pad(10, 16, 10, 16, look.Stack(4, append([]fyne.CanvasObject{look.Head(T("link.limits"))}, bodies(limits)...)...)))
	}
	return look.Rows(rows...)
}

func bodies(lines []string) []fyne.CanvasObject {
	var out []fyne.CanvasObject
	for _, l := range lines {
		out = append(out, look.Body(told(l)))
	}
	return out
}

// notices are what the owner has to know before anything else.
func (w *Window) notices() []fyne.CanvasObject {
	var out []fyne.CanvasObject
	for _, err := range []error{w.engine.Trouble, w.link.logErr} {
		if err != nil {
			out = append(out, look.Noted(look.Amber, look.Stack(4, look.Head(T("notice")), look.Body(errorText(err)))))
		}
	}
	for _, q := range w.link.open {
		act := look.NewButton(fmt.Sprintf("seen %d", q.ID), T("open.seen"), look.Plain, func() { w.seenQuestion(q.ID) })
		buttons := []fyne.CanvasObject{act}
		if w.link.visit != nil {
			buttons = []fyne.CanvasObject{look.NewButton(fmt.Sprintf("read %d", q.ID), T("open.read"), look.Plain, func() { w.Show(PageCodes); w.startLooking() }), act}
		}
		out = append(out, look.Noted(look.Amber, look.Stack(4, look.Head(T("notice")),
			look.Body(T("open.text", "When", when(q.Begun, w.now()), "Summary", told(q.Summary))), look.Styled(q.Request, look.Style{Mono: true, Size: look.SizeSmall}),
			look.Body(T("open.do", "Place", q.Place)), look.Buttons(buttons...))))
	}
	return out
}

func (w *Window) linkMargin() fyne.CanvasObject {
	if w.link.visit != nil && w.link.gone == nil {
		return w.margin(T("source.link"), T("link.m.reads"), T("link.m.reads.text"), T("link.m.next"), T("link.m.next.text"))
	}
	return w.margin(T("source.link"), T("link.m.what"), T("link.m.what.text"), T("link.m.fails"), T("link.m.fails.text"),
		T("link.m.practice"), T("link.m.practice.text"))
}
