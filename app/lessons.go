package app

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"fyne.io/fyne/v2"

	"readback/app/look"
	"readback/diag/adapter"
	"readback/diag/lesson"
)

// lessonState are the lessons, how far the owner has come in them, and the one that is being taken.
type lessonState struct {
	all      []lesson.Lesson // see lessons
	err      error
	progress lesson.Progress

	number  int         // of the lesson that is taken, from 0
	run     *lesson.Run // nil: the list is shown
	chosen  int         // line of the step that is explained
	span    int         // chosen field of its explanation
	byte    int         // byte that is pointed at, -1 for the identifier
	asking  bool
	askErr  error
	written *look.Field
}

// practiceCars are the scenarios that are offered, each the name of a practice place.
var practiceCars = []string{"courier", "flat-battery", "lock-fault", "refusing-gateway", "silent-module", "wrong-rate", "clone-adapter"}

const practicePlace = "practice:"

func (w *Window) makeLessonParts() {
	l := &w.les
	l.progress = w.opt.Progress
	l.written = look.NewField("lesson-write", T("lesson.write.hint"), true, nil)
	l.written.OnSubmitted = func(string) { w.lessonWrite() }
}

// lessons are all lessons, read when they are first asked for.
func (l *lessonState) lessons() []lesson.Lesson {
	if l.all == nil && l.err == nil {
		l.all, l.err = lesson.All()
	}
	return l.all
}

// takeLesson begins a lesson where the owner left it; one that was finished begins anew.
func (w *Window) takeLesson(i int) {
	l := &w.les
	at := l.progress.Lessons[l.lessons()[i].ID]
	if at.Done {
		at.Step = 0
	}
	l.number, l.run = i, lesson.Begin(l.all[i], at.Step)
	w.lessonStep()
}

// lessonStep shows the step that the lesson has come to, and keeps how far that is.
func (w *Window) lessonStep() {
	l := &w.les
	l.askErr, l.byte = nil, -1
	l.written.SetText("")
	w.lessonChosen()
	w.keepProgress()
	w.draw()
	w.main.ToTop()
	w.side.ToTop()
}

// lessonChosen chooses the line to explain: the newest, or the one that the question is about.
func (w *Window) lessonChosen() {
	l := &w.les
	l.chosen, l.span = max(0, len(l.run.Lines())-1), 0
}

func (w *Window) keepProgress() {
	l := &w.les
	l.progress = l.progress.With(l.run)
	if w.opt.KeepProgress != nil {
		w.opt.KeepProgress(l.progress)
	}
}

func (w *Window) lessonNext() {
	l := &w.les
	switch {
	case l.asking:
	case l.run.Next():
		w.lessonStep()
	case l.run.Finished() && l.number+1 < len(l.lessons()):
		w.keepProgress()
		w.takeLesson(l.number + 1)
	case l.run.Finished():
		w.keepProgress()
		w.leaveLesson()
	}
}

func (w *Window) lessonBack() {
	if !w.les.asking && w.les.run.Back() {
		w.lessonStep()
	}
}

// leaveLesson goes back to the list. How far the owner came is kept.
func (w *Window) leaveLesson() {
	w.les.run = nil
	w.draw()
	w.main.ToTop()
}

func (w *Window) lessonChoose(i int) {
	if _, err := w.les.run.Choose(i); err != nil {
		return
	}
	w.lessonActed()
}

// lessonActed follows an act of the owner: once the step is done, what was hidden is shown.
func (w *Window) lessonActed() {
	if w.les.run.Done() {
		w.lessonChosen()
		w.keepProgress()
	}
	w.draw()
}

func (w *Window) lessonMark() {
	l := &w.les
	if _, err := l.run.Mark(l.byte); err != nil {
		return
	}
	if l.run.Done() {
		w.keepProgress()
		l.span = w.fieldOf(l.byte)
	}
	w.draw()
}

// fieldOf is the field of the explained line that a byte lies in.
func (w *Window) fieldOf(b int) int {
	for i, f := range w.lessonLine().Explain.Fields {
		if f.From <= b && b < f.To || f.From < 0 && b < 0 {
			return i
		}
	}
	return 0
}

func (w *Window) lessonLine() lesson.Line {
	lines := w.les.run.Lines()
	if w.les.chosen >= len(lines) {
		return lesson.Line{}
	}
	return lines[w.les.chosen]
}

func (w *Window) lessonWrite() {
	if w.les.run == nil || strings.TrimSpace(w.les.written.Text) == "" {
		return
	}
	if _, err := w.les.run.Write(w.les.written.Text); err != nil {
		return
	}
	w.lessonActed()
}

// askTries is how often a practice car is asked that stays silent. Its modules have 50 ms (P2, ISO 14229-2) of this
// computer's time, and a computer may be busy for longer. Only what reads is asked in a lesson.
const askTries = 3

// lessonAsk sends the request of the step to a practice car of its own, which is made for it and ends with it.
func (w *Window) lessonAsk() {
	l := &w.les
	request, scenario, ok := l.run.Asks()
	if !ok || l.asking {
		return
	}
	run := l.run
	l.asking, l.askErr = true, nil
	w.act(func(ctx context.Context) func() {
		var (
			replies []lesson.Reply
			err     error
		)
		for try := 0; try < askTries && len(replies) == 0 && err == nil; try++ {
			replies, err = w.askPractice(ctx, adapter.Place(practicePlace+scenario), request)
		}
		return func() {
			l.asking, l.askErr = false, err
			if err != nil || l.run != run {
				return
			}
			if _, err := run.Came(replies); err == nil {
				w.lessonChosen()
				w.keepProgress()
			}
		}
	})
	w.draw()
}

func (w *Window) askPractice(ctx context.Context, p adapter.Place, request string) (replies []lesson.Reply, err error) {
	v, err := w.engine.Open(ctx, p, nil)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, v.Close()) }()
	for _, err := range v.Send(ctx, v.Explain(request, "")) {
		if err != nil {
			return nil, err
		}
	}
	r := v.Result()
	if r == nil || !r.Sent {
		return nil, fmt.Errorf("app: %s was not sent to the practice car", request)
	}
	for _, a := range r.Answers {
		replies = append(replies, lesson.Reply{From: a.From, Hex: a.Hex, Frames: a.Frames, AfterMs: a.AfterMs})
	}
	return replies, nil
}

// practicePage are the lessons and the practice cars, or the lesson that is taken.
func (w *Window) practicePage() (body, margin fyne.CanvasObject) {
	all := w.les.lessons()
	if w.les.run != nil {
		return w.lessonPage()
	}
	parts := []fyne.CanvasObject{practiceHead(T("lesson.title"), T("lesson.lead")), look.Head(N("lesson.list", len(all)))}
	if w.les.err != nil {
		parts = append(parts, look.Noted(look.Alert, look.Body(errorText(w.les.err))))
	}
	var rows, cars []fyne.CanvasObject
	for i, l := range all {
		rows = append(rows, look.NewChoice("lesson "+l.ID, told(l.Title), look.Pad(9, 14, 9, 14, w.lessonRow(i, l)), i == w.les.progress.Next(all), func() { w.takeLesson(i) }))
	}
	for _, name := range practiceCars {
		here := w.link.visit != nil && w.link.visit.Place() == adapter.Place(practicePlace+name)
		title := T("lesson.car." + name + ".title")
		text := look.Stack(2, look.Head(title), look.Body(T("lesson.car."+name+".about")), look.Small(T("lesson.find", "What", T("lesson.car."+name+".find"))))
		cars = append(cars, look.NewChoice("practice "+name, title, look.Pad(9, 14, 9, 14, text), here, func() { w.drivePractice(name) }))
	}
	parts = append(parts, look.Rows(rows...), look.Stack(4, look.Head(T("lesson.cars")), look.Small(T("lesson.cars.lead"))), look.Rows(cars...))
	return look.Stack(14, parts...), w.margin("", T("lesson.m.what"), T("lesson.m.what.text"), T("lesson.m.how"), T("lesson.m.how.text"), T("lesson.m.kept"), T("lesson.m.kept.text"))
}

// practiceHead is the head of a page that is practice whatever car the visit is with.
func practiceHead(title, lead string) fyne.CanvasObject {
	return look.Stack(4, look.Row(12, look.Growing(look.Title(title)).At(look.Top), look.Natural(look.Badge(T("practice"))).At(look.Top)), look.Lead(lead))
}

// lessonRow is one lesson of the list.
func (w *Window) lessonRow(i int, l lesson.Lesson) fyne.CanvasObject {
	sign, word := look.MarkWaiting, N("lesson.minutes", l.Minutes)
	at, begun := w.les.progress.Lessons[l.ID]
	switch {
	case at.Done:
		sign, word = look.MarkTick, T("lesson.done")
	case begun && at.Step > 0:
		sign, word = look.MarkRemembered, T("lesson.begun", "Step", at.Step+1, "Of", len(l.Steps))
	}
	name := look.Stack(1, look.Head(T("lesson.name", "N", i+1, "Title", told(l.Title))), look.Small(told(l.About)))
	state := look.State(sign, word)
	return look.Either(look.Scaled(420), look.Row(12, look.Growing(name), look.Fixed(look.Scaled(120), state)), look.Stack(2, name, look.State(sign, word)))
}

// drivePractice begins a visit to a practice car.
func (w *Window) drivePractice(name string) {
	w.connect(adapter.Place(practicePlace + name))
	w.Show(PageLink)
}
