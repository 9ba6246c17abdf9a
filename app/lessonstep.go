package app

import (
	"fmt"
	"slices"
	"strings"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/explain"
	"readback/diag/lesson"
)

// lessonPage is one step of the lesson that is taken.
func (w *Window) lessonPage() (body, margin fyne.CanvasObject) {
	l := &w.les
	of, s := l.run.Lesson(), l.run.Step()
	parts := []fyne.CanvasObject{practiceHead(T("lesson.head", "N", l.number+1, "Title", told(of.Title)), told(of.About)), w.lessonMarks()}
	var say []fyne.CanvasObject
	for _, text := range s.Say {
		say = append(say, look.Body(told(text)))
	}
	parts = append(parts, look.Stack(6, say...))
	frames := w.lessonTalk()
	ribbon, rows := w.lessonFrame()
	if ribbon != nil {
		frames = append(frames, ribbon)
	}
	if s.Question == "" {
		parts = append(append(parts, frames...), rows...)
		return look.Stack(16, append(parts, w.lessonButtons())...), w.lessonMargin()
	}
	asked := s.Kind == lesson.Ask && l.run.Done() // what the car said comes after what was guessed
	if !asked {
		parts = append(parts, frames...)
	}
	parts = append(parts, look.Stack(8, append([]fyne.CanvasObject{look.Head(told(s.Question))}, w.lessonTask()...)...))
	if v := w.lessonVerdict(); v != nil {
		parts = append(parts, v)
	}
	parts = append(parts, w.lessonButtons())
	if asked {
		parts = append(parts, frames...)
	}
	return look.Stack(16, append(parts, rows...)...), w.lessonMargin() // the rows last: the question stays in sight
}

// lessonMarks is a mark for each of the lessons, and how far this one has come.
func (w *Window) lessonMarks() fyne.CanvasObject {
	l := &w.les
	var marks []fyne.CanvasObject
	for i, x := range l.lessons() {
		sign := look.MarkWaiting
		switch {
		case l.progress.Lessons[x.ID].Done:
			sign = look.MarkTick
		case i == l.number:
			sign = look.MarkRemembered
		}
		style := look.Style{Size: look.SizeSmall, Color: look.Soft}
		if i == l.number {
			style = look.Style{Size: look.SizeSmall, Bold: true}
		}
		marks = append(marks, look.Row(5, look.Natural(look.NewMark(sign, 16)), look.Natural(look.NewText(look.Run{Text: fmt.Sprint(i + 1), Style: style}))))
	}
	marks = append(marks, look.Small(T("lesson.step", "Step", l.run.At()+1, "Of", len(l.run.Lesson().Steps))))
	return look.Wrap(14, marks...)
}

// lessonTalk is what is said at this step: two requests or a question and its answer side by side, a longer conversation
// in bubbles. One frame alone needs neither.
func (w *Window) lessonTalk() []fyne.CanvasObject {
	l := &w.les
	if l.run.Step().Compare {
		return []fyne.CanvasObject{w.lessonSides()}
	}
	lines := l.run.Lines()
	if len(lines) < 2 {
		return nil
	}
	if len(lines) == 2 && !lines[0].FromCar && lines[1].FromCar {
		return []fyne.CanvasObject{look.Sides(look.Scaled(250), 14, false, w.lessonHalf(0, T("lesson.asked"), lines[0]), w.lessonHalf(1, T("lesson.answered"), lines[1]))}
	}
	var rows []fyne.CanvasObject
	for i, line := range lines {
		words := told(line.Explain.Summary)
		if l.run.Fades() {
			words = T("lesson.line.hidden")
		}
		rows = append(rows, look.NewChoice(fmt.Sprintf("line %d", i), line.Text, look.Pad(5, 8, 5, 8, look.Bubble(!line.FromCar, line.Text, words)), i == l.chosen, func() {
			l.chosen, l.span = i, 0
			w.draw()
		}))
	}
	talk := []fyne.CanvasObject{look.Stack(0, rows...)}
	if whole, ok := l.run.Whole(); ok {
		talk = append(talk, look.Noted(look.Accent, look.Stack(4, look.Head(T("lesson.together")), look.Body(told(whole.Summary)))))
	}
	return talk
}

// lessonHalf is a question or its answer, to stand beside the other: which of its bytes do what, in the same order.
func (w *Window) lessonHalf(i int, title string, line lesson.Line) fyne.CanvasObject {
	l := &w.les
	parts := []fyne.CanvasObject{look.Head(title), look.Styled(line.Text, look.Style{Mono: true, Size: look.SizeSmall})}
	if !l.run.Fades() {
		for _, f := range line.Explain.Fields {
			if f.Name != fillingName {
				parts = append(parts, fact(told(f.Name), spacedID(f)))
			}
		}
		parts = append(parts, look.Small(told(line.Explain.Summary)))
	} else {
		parts = append(parts, look.Small(T("lesson.line.hidden")))
	}
	return look.Rows(look.NewChoice(fmt.Sprintf("line %d", i), title, look.Pad(12, 14, 12, 14, look.Stack(5, parts...)), i == l.chosen, func() {
		l.chosen, l.span = i, 0
		w.draw()
	}))
}

// lessonSides are the learner's request and that of the instructions, byte by byte.
func (w *Window) lessonSides() fyne.CanvasObject {
	l := &w.les
	frames := l.run.Step().Frames
	c := explain.Compare(frames[0], frames[1], explain.Options{})
	marked := c
	if l.run.Fades() {
		marked.Differences = nil // the learner finds them
	}
	side := func(key string, e explain.Explanation, first bool) fyne.CanvasObject {
		parts := []fyne.CanvasObject{look.Head(T(key)), compared(marked, e, first)}
		if e.Words != nil && !l.run.Fades() {
			parts = append(parts, look.Styled(strings.Join(e.Words[:], " · "), look.Style{Mono: true, Size: look.SizeSmall}))
		}
		return look.Boxed(look.Stack(6, parts...))
	}
	parts := []fyne.CanvasObject{look.Sides(look.Scaled(250), 14, true, side("lesson.mine", c.A, true), side("lesson.theirs", c.B, false))}
	if !l.run.Fades() {
		parts = append(parts, look.Small(told(c.Summary)))
	}
	return look.Stack(8, parts...)
}

// lessonFrame is the chosen frame byte by byte, and what each part says. What is faded is neither bracketed nor told.
func (w *Window) lessonFrame() (ribbon fyne.CanvasObject, rows []fyne.CanvasObject) {
	l := &w.les
	if w.pointing() {
		return w.lessonBytes(), nil
	}
	s := l.run.Step()
	e := w.lessonLine().Explain
	if e.Frame == nil || s.Compare && l.run.Fades() {
		return nil, nil
	}
	l.span = max(0, min(l.span, len(e.Fields)-1))
	var spans []look.Span
	var parts []fyne.CanvasObject
	all := slices.Contains(s.Fade, "*") && l.run.Fades()
	for i, f := range e.Fields {
		hidden := l.run.Hidden(f.Name)
		spans = append(spans, look.Span{From: f.From, To: f.To, Name: told(f.Name), Filling: f.Name == fillingName && !hidden, Wrong: f.Name == unreadName && !hidden})
		if all {
			continue
		}
		title, text := look.Head(told(f.Name)), look.Body(told(f.Text))
		if hidden {
			title, text = look.Head(T("lesson.field.hidden")), look.Small(T("lesson.field.hidden.text"))
		}
		parts = append(parts, look.Hair(), w.fieldRow(i, f, title, text, i == l.span, func() { l.span = i; w.draw() }))
	}
	if all {
		spans = bytewise(e)
	}
	ribbon = look.NewRibbon(e.Frame.IDText, e.Frame.DataText, spans, l.span, func(i int) { l.span = i; w.draw() }).
		Over(func(i int) { w.lightSentence(len(e.Fields), i) })
	if len(parts) > 0 {
		rows = []fyne.CanvasObject{look.Stack(0, parts...)}
	}
	return ribbon, rows
}

// pointing tells whether a byte has to be pointed at now.
func (w *Window) pointing() bool { return w.les.run.Marks() != "" && !w.les.run.Done() }

// lessonBytes is the frame whose byte has to be pointed at: no bracket tells what belongs together.
func (w *Window) lessonBytes() fyne.CanvasObject {
	l := &w.les
	e := explain.Explain(l.run.Marks(), explain.Options{})
	return look.NewRibbon(e.Frame.IDText, e.Frame.DataText, bytewise(e), l.byte+1, func(i int) { l.byte = i - 1; w.draw() })
}

// bytewise has a span for the identifier and for each byte.
func bytewise(e explain.Explanation) []look.Span {
	spans := []look.Span{{From: -1}}
	for b := range e.Frame.Data {
		spans = append(spans, look.Span{From: b, To: b + 1})
	}
	return spans
}

// lessonTask is what the learner has to do at this step.
func (w *Window) lessonTask() []fyne.CanvasObject {
	l := &w.les
	switch l.run.Step().Kind {
	case lesson.Choose:
		return []fyne.CanvasObject{w.lessonOptions()}
	case lesson.Mark:
		if l.run.Done() {
			return nil
		}
		return []fyne.CanvasObject{look.Small(T("lesson.mark.how")), look.Buttons(look.NewButton("lesson-mark", T("lesson.mark", "Byte", pointedByte(l.run.Marks(), l.byte)), look.Plain, w.lessonMark))}
	case lesson.Type:
		if l.run.Done() {
			return []fyne.CanvasObject{look.Styled(l.written.Text, look.Style{Mono: true, Bold: true})}
		}
		return []fyne.CanvasObject{l.written, look.Buttons(look.NewButton("lesson-check", T("lesson.check"), look.Plain, w.lessonWrite))}
	case lesson.Ask:
		return append([]fyne.CanvasObject{w.lessonOptions()}, w.lessonAsking()...)
	}
	return nil
}

// pointedByte is the byte that is pointed at, or the identifier, as it stands in the frame.
func pointedByte(frame string, b int) string {
	if words := strings.Fields(frame); b+1 >= 0 && b+1 < len(words) {
		return words[b+1]
	}
	return frame
}

// lessonOptions are the answers to choose from. One that was found not to fit keeps its reason.
func (w *Window) lessonOptions() fyne.CanvasObject {
	l := &w.les
	var rows []fyne.CanvasObject
	for i, o := range l.run.Step().Options {
		sign := look.MarkWaiting
		text := []fyne.CanvasObject{look.Body(told(o.Text))}
		switch {
		case l.run.Tried(i):
			sign = look.MarkOpen
			text = append(text, look.Small(leadIn(T("lesson.not-yet"), told(o.Why))))
		case l.run.Done() && (o.Right || l.run.Guess() == i && l.run.Verdict() != nil && l.run.Verdict().Right):
			sign = look.MarkTick
		case l.run.Guess() == i:
			sign = look.MarkRemembered
		}
		row := look.Row(12, look.Natural(look.NewMark(sign, 18)).At(look.Top), look.Growing(look.Stack(2, text...)))
		rows = append(rows, look.NewChoice(fmt.Sprintf("option %d", i), told(o.Text), look.Pad(9, 14, 9, 14, row), l.run.Guess() == i, func() { w.lessonChoose(i) }))
	}
	return look.Rows(rows...)
}

// lessonAsking is the way to the practice car. It opens with a guess.
func (w *Window) lessonAsking() []fyne.CanvasObject {
	l := &w.les
	var parts []fyne.CanvasObject
	if l.askErr != nil {
		parts = append(parts, look.Noted(look.Alert, look.Body(errorText(l.askErr))))
	}
	_, _, may := l.run.Asks()
	switch {
	case l.asking:
		parts = append(parts, look.Small(T("lesson.asking")))
	case may:
		parts = append(parts, look.Buttons(look.NewButton("lesson-ask", T("lesson.ask"), look.Main, w.lessonAsk)))
	case !l.run.Done():
		parts = append(parts, look.Small(T("lesson.guess")))
	case len(l.run.Replies()) == 0:
		parts = append(parts, look.Small(T("lesson.silence")))
	}
	return parts
}

// lessonVerdict is what came of the newest act.
func (w *Window) lessonVerdict() fyne.CanvasObject {
	l := &w.les
	v := l.run.Verdict()
	if v == nil || !v.Right && l.run.Step().Kind == lesson.Choose { // there the reason stands with the option
		return nil
	}
	edge, head := look.Accent, T("lesson.right")
	switch {
	case !v.Right && l.run.Done():
		edge, head = look.Amber, T("lesson.guessed")
	case !v.Right:
		edge, head = look.Amber, T("lesson.not-yet")
	}
	parts := []fyne.CanvasObject{look.Head(head), look.Body(told(v.Text))}
	if then := l.run.Step().Then; then != "" && l.run.Done() {
		parts = append(parts, look.Body(told(then)))
	}
	return look.Noted(edge, look.Stack(4, parts...))
}

func (w *Window) lessonButtons() fyne.CanvasObject {
	l := &w.les
	var acts []fyne.CanvasObject
	if l.run.Done() {
		text := T("lesson.next")
		switch {
		case l.run.Finished() && l.number+1 < len(l.lessons()):
			text = T("lesson.next-lesson")
		case l.run.Finished():
			text = T("lesson.end")
		}
		acts = append(acts, look.NewButton("lesson-next", text, look.Main, w.lessonNext))
	}
	if l.run.At() > 0 {
		acts = append(acts, look.NewButton("lesson-back", T("lesson.back"), look.Plain, w.lessonBack))
	}
	if l.run.Fades() {
		acts = append(acts, look.NewButton("lesson-help", T("lesson.help"), look.Quiet, func() { l.run.Help(); w.draw() }))
	}
	return look.Buttons(append(acts, look.NewButton("lesson-leave", T("lesson.leave"), look.Quiet, w.leaveLesson))...)
}

// lessonMargin is the chosen part in words, and what that rests on.
func (w *Window) lessonMargin() fyne.CanvasObject {
	l := &w.les
	texts := []string{T("lesson.m.car"), T("lesson.m.car.text")}
	source := ""
	if e := w.lessonLine().Explain; !l.run.Fades() && l.span < len(e.Fields) && !w.pointing() {
		f := e.Fields[l.span]
		texts = append([]string{fieldHead(f), told(f.Text), T("lesson.m.whole"), told(e.Summary)}, texts...)
		source = f.Source
	}
	if l.run.Fades() {
		texts = append(texts, T("lesson.m.help"), T("lesson.m.help.text"))
	}
	return w.sourced(told(source), heads(texts)...)
}
