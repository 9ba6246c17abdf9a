package app

import (
	"fmt"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/explain"
	"readback/diag/talk"
)

func (w *Window) talkHelp() fyne.CanvasObject {
	return w.margin(T("source.talk"), T("talk.m.what"), T("talk.m.what.text"), T("talk.m.open"), T("talk.m.open.text"), T("talk.m.file"), T("talk.m.file.text"))
}

// talkMargin explains the chosen message byte by byte.
func (w *Window) talkMargin(s *said) fyne.CanvasObject {
	t := &w.said
	at := t.place()
	if at < t.part || at >= t.view.Len() {
		return w.talkHelp()
	}
	x := t.view.Exchange(at)
	if len(x.Messages) == 0 {
		return w.margin(T("source.talk"), T("talk.m.trouble"), told(x.Text))
	}
	if t.message < 0 || t.message >= len(x.Messages) {
		t.message = messageFirst(x)
	}
	m := x.Messages[t.message]
	e := s.talk.Explain(m)
	parts := []fyne.CanvasObject{w.messageChoice(x), look.Stack(4, look.Head(moduleName(m.Module, m.Address)), look.Body(told(e.Summary)))}
	facts := []fyne.CanvasObject{fact(T("talk.f.when"), clockFine(m.Begun))}
	if x.Took > 0 {
		facts = append(facts, fact(T("talk.f.took"), lasting(x.Took)))
	}
	facts = append(facts, fact(T("talk.f.bytes"), fmt.Sprint(len(m.Payload))))
	parts = append(parts, look.Stack(3, facts...))
	if m.Question {
		head := T("talk.m.not-sent") // by somebody else, or while modules were looked for
		if e.Class == explain.Look || e.Class == explain.Change {
			head = T("class." + string(e.Class) + ".head")
		}
		parts = append(parts, look.Stack(4, look.Head(head), look.Small(told(e.Reason))))
	}
	parts = append(parts, look.Stack(10, fieldTexts(e)...))
	open := T("talk.unfold")
	if t.opened[x.Number] {
		open = T("talk.fold")
	}
	parts = append(parts, look.Buttons(look.NewButton("talk-unfold", open, look.Plain, func() { w.unfold(at - t.part) }).Small()))
	return w.sourced(told(e.Source), parts...)
}

// messageFirst is the message that is explained at first: the question, or what was said without one.
func messageFirst(x talk.Exchange) int {
	for i, m := range x.Messages {
		if m.Question {
			return i
		}
	}
	return 0
}

// messageChoice lets the owner choose between question and answers.
func (w *Window) messageChoice(x talk.Exchange) fyne.CanvasObject {
	const most = 12
	var acts []fyne.CanvasObject
	answers := 0
	for i, m := range x.Messages[:min(len(x.Messages), most)] {
		text := T("talk.question")
		switch {
		case m.Question:
		case isWait(m):
			text = T("talk.wait")
		default:
			answers++
			text = T("talk.answer")
			if x.Answers > 1 {
				text = T("talk.answer.n", "N", answers)
			}
		}
		acts = append(acts, look.NewButton(fmt.Sprintf("message %d", i), text, look.Quiet, func() { w.said.message = i; w.draw() }).Chosen(i == w.said.message))
	}
	return look.Pad(0, 0, 0, -8, look.Wrap(2, acts...))
}

// mostFields is how many parts of a message the margin explains.
const mostFields = 60

func fieldTexts(e explain.Explanation) []fyne.CanvasObject {
	var out []fyne.CanvasObject
	for i, f := range e.Fields {
		if i == mostFields {
			return append(out, look.Small(N("talk.fields.more", len(e.Fields)-mostFields)))
		}
		out = append(out, look.Stack(1, look.Head(told(f.Name)), look.Styled(spacedID(f), look.Style{Mono: true, Size: look.SizeSmall, Color: look.Soft}), look.Small(told(f.Text))))
	}
	return out
}
