package app

import (
	"context"
	"fmt"
	"iter"
	"strings"
	"testing"
	"testing/synctest"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/driver/desktop"

	"readback/app/look"
	"readback/diag"
	"readback/diag/adapter"
	drivers "readback/diag/adapter/all"
	"readback/diag/explain"
	"readback/diag/lesson"
)

// practised puts the real practice car behind a bench.
func practised(b *bench) *bench {
	b.w.engine.Open = func(ctx context.Context, p adapter.Place, tell func(adapter.Rung)) (Visit, error) {
		return diag.Open(ctx, diag.Options{Place: p, Drivers: drivers.Drivers(), Tell: tell})
	}
	return b
}

// heldVisit answers as the practice car did, so that no test depends on how busy this computer is.
type heldVisit struct {
	*fakeVisit
	held map[string]*diag.Result // by request
}

func (v *heldVisit) Explain(text string, wish explain.Wish) explain.Explanation {
	return diag.Explain(text, wish)
}

func (v *heldVisit) Send(_ context.Context, e explain.Explanation) iter.Seq2[diag.SendStep, error] {
	return func(func(diag.SendStep, error) bool) {
		defer v.lock()()
		v.ended = v.held[e.Input]
	}
}

// heldCar asks the real practice car, in fake time, all that the lessons ask of it, and puts its answers behind a bench.
func heldCar(t *testing.T) func(*bench) *bench {
	t.Helper()
	lessons, err := lesson.All()
	if err != nil {
		t.Fatal(err)
	}
	held := map[adapter.Place]map[string]*diag.Result{}
	for _, l := range lessons {
		for _, s := range l.Steps {
			if s.Kind != lesson.Ask {
				continue
			}
			p := adapter.Place(practicePlace + s.Scenario)
			if held[p] == nil {
				held[p] = map[string]*diag.Result{}
			}
			synctest.Test(t, func(t *testing.T) {
				v, err := diag.Open(t.Context(), diag.Options{Place: p, Drivers: drivers.Drivers()})
				if err != nil {
					t.Fatal(err)
				}
				defer v.Close()
				for _, err := range v.Send(t.Context(), v.Explain(s.Want, "")) {
					if err != nil {
						t.Fatal(err)
					}
				}
				held[p][s.Want] = v.Result()
			})
		}
	}
	return func(b *bench) *bench {
		b.w.engine.Open = func(_ context.Context, p adapter.Place, _ func(adapter.Rung)) (Visit, error) {
			return &heldVisit{&fakeVisit{}, held[p]}, nil
		}
		return b
	}
}

// atStep shows a step of a lesson, both counted from 1.
func (b *bench) atStep(n, step int) {
	b.t.Helper()
	l := b.w.les.lessons()[n-1]
	b.w.Show(PagePractice)
	b.w.les.progress = lesson.Progress{Lessons: map[string]lesson.Reached{"frame": {Done: true}, l.ID: {Step: step - 1}}}
	b.tap("lesson " + l.ID)
	if at := b.w.les.run.At(); at != step-1 {
		b.t.Fatalf("lesson %d begins at step %d, not %d", n, at+1, step)
	}
}

// asked answers a lesson's question to the car.
func (b *bench) asked() {
	b.t.Helper()
	b.tap("option 1")
	b.tap("lesson-ask")
	b.until("the car has answered", func() bool { return !b.w.les.asking })
}

// lessonScenes are the states of the practice page that have to fit.
var lessonScenes = []struct {
	name  string
	reach func(b *bench)
}{
	{"practice", func(b *bench) { b.atStep(3, 2); b.tap("lesson-leave") }},
	{"lesson-show", func(b *bench) { b.atStep(1, 1) }},
	{"lesson-pair", func(b *bench) { b.atStep(2, 1) }},
	{"lesson-mark", func(b *bench) { b.atStep(3, 3); b.w.les.byte = 1; b.tap("lesson-mark") }},
	{"lesson-marked", func(b *bench) { b.atStep(3, 3); b.w.les.byte = 0; b.tap("lesson-mark") }},
	{"lesson-choose", func(b *bench) { b.atStep(2, 2); b.tap("option 2") }},
	{"lesson-write", func(b *bench) { b.atStep(4, 6); b.w.les.written.SetText("7E5 19 02 FF"); b.tap("lesson-check") }},
	{"lesson-pages", func(b *bench) { b.atStep(7, 1) }},
	{"lesson-compare", func(b *bench) { b.atStep(8, 1) }},
	{"lesson-compare-find", func(b *bench) { b.atStep(8, 2) }},
	{"lesson-asked", func(b *bench) { b.atStep(7, 5); b.asked() }},
}

// take goes through the lesson that is shown with the right answers, by what stands on the page alone.
func (b *bench) take() {
	b.t.Helper()
	l := &b.w.les
	for n := l.number; l.run != nil && l.number == n; {
		switch s := l.run.Step(); s.Kind {
		case lesson.Choose:
			if b.has("lesson-next") {
				b.t.Errorf("lesson %d, step %d may be passed without an answer", n+1, l.run.At()+1)
			}
			for i, o := range s.Options {
				if o.Right {
					b.tap(fmt.Sprintf("option %d", i))
				}
			}
		case lesson.Mark:
			for at := -1; !l.run.Done() && at < 8; at++ {
				l.byte = at
				b.tap("lesson-mark")
			}
		case lesson.Type:
			l.written.SetText(s.Want)
			l.written.OnSubmitted(s.Want)
		case lesson.Ask:
			if b.has("lesson-ask") {
				b.t.Errorf("lesson %d, step %d: the car may be asked before a guess", n+1, l.run.At()+1)
			}
			b.saysNot(T("lesson.right"), T("lesson.guessed"))
			b.asked()
			if l.askErr != nil || len(l.run.Replies()) == 0 {
				b.t.Errorf("lesson %d, step %d: the car says %v, %v", n+1, l.run.At()+1, l.run.Replies(), l.askErr)
			}
		}
		if !l.run.Done() {
			b.t.Fatalf("lesson %d, step %d is not done", n+1, l.run.At()+1)
		}
		b.tap("lesson-next")
	}
}

// All eight lessons can be taken in the window, with the real explanation and the real practice car, and each is kept
// as finished.
func TestTakeAllLessons(t *testing.T) {
	b := heldCar(t)(newBench(t, setup{}))
	var kept lesson.Progress
	b.w.opt.KeepProgress = func(p lesson.Progress) { kept = p }
	b.w.Show(PagePractice)
	b.tap("lesson frame")
	for b.w.les.run != nil {
		b.says(T("practice"))
		b.take()
	}
	if len(b.w.les.lessons()) != 8 {
		t.Errorf("there are %d lessons", len(b.w.les.lessons()))
	}
	for _, l := range b.w.les.lessons() {
		if !kept.Lessons[l.ID].Done {
			t.Errorf("%s is not kept as finished: %+v", l.ID, kept)
		}
	}
	b.says(T("lesson.done"))
}

// A choice that does not fit tells why and stays; the owner may try again.
func TestLessonTellsWhy(t *testing.T) {
	b := newBench(t, setup{})
	b.atStep(2, 2)
	s := b.w.les.run.Step()
	for i, o := range s.Options {
		if o.Right {
			continue
		}
		b.saysNot(o.Why)
		b.tap(fmt.Sprintf("option %d", i))
		b.says(o.Why, T("lesson.not-yet"))
		if b.has("lesson-next") {
			t.Error("the step may be passed")
		}
	}
}

// What a step hides is neither on the page nor in the margin, until help is asked for.
func TestLessonHides(t *testing.T) {
	b := newBench(t, setup{})
	b.atStep(3, 5)
	e := explain.Explain(b.w.les.run.Step().Frames[0], explain.Options{})
	secret := e.Fields[1].Text
	for _, said := range []string{b.page(), b.margin()} {
		if strings.Contains(said, secret) {
			t.Errorf("%q is told", secret)
		}
	}
	b.tap("lesson-help")
	b.says(secret)
	if b.has("lesson-next") {
		t.Error("help passes the step")
	}
}

// The car's answer is not shown before the guess; a practice car that can't be reached leaves the step as it was.
func TestLessonAsks(t *testing.T) {
	b := newBench(t, setup{openErr: &adapter.OpenError{Place: "practice:", Step: adapter.StepAdapter, Cause: errNothing}})
	b.atStep(2, 3)
	b.says(T("lesson.guess"))
	b.asked()
	if b.w.les.run.Done() || !b.has("lesson-ask") {
		t.Error("without an answer the step is done")
	}
	b.says(diag.Sentence(b.w.les.askErr))

	heldCar(t)(b)
	b.asked()
	b.says("7ED", T("lesson.right"), b.w.les.run.Step().Then)
	if b.visit.closed != 0 {
		t.Error("the visit of the owner was closed")
	}
}

// A practice car that is silent is asked again, three times in all: its modules live in this computer's time.
func TestLessonAsksAgain(t *testing.T) {
	b := newBench(t, setup{})
	opened := 0
	b.w.engine.Open = func(context.Context, adapter.Place, func(adapter.Rung)) (Visit, error) {
		opened++
		return &heldVisit{&fakeVisit{}, map[string]*diag.Result{"7E5 03 22 F1 86 55 55 55 55": {Sent: true}}}, nil
	}
	b.atStep(2, 3)
	b.asked()
	if opened != 3 || !b.w.les.run.Done() {
		t.Errorf("asked %d times: %v", opened, b.w.les.askErr)
	}
	b.says(T("lesson.silence"), T("lesson.guessed"))
}

// The window asks the real practice car, through the whole of the program.
func TestLessonAsksTheRealCar(t *testing.T) {
	b := practised(newBench(t, setup{}))
	b.atStep(7, 5)
	b.asked()
	if b.w.les.askErr != nil || !b.w.les.run.Done() {
		t.Errorf("asking: %v", b.w.les.askErr)
	}
}

// The keyboard alone leads through a step, and Escape leaves the lesson; how far it went is kept.
func TestLessonKeys(t *testing.T) {
	b := newBench(t, setup{})
	b.win.Canvas().(fyne.Shortcutable).TypedShortcut(&desktop.CustomShortcut{KeyName: fyne.KeyP, Modifier: fyne.KeyModifierControl})
	if b.w.page != PagePractice {
		t.Fatalf("Ctrl+P shows %s", b.w.page)
	}
	b.win.Canvas().FocusNext()
	b.key(fyne.KeyReturn)
	if b.w.les.run == nil {
		t.Fatal("Return takes no lesson")
	}
	b.focus("lesson-next")
	b.key(fyne.KeyReturn)
	b.focus("ribbon")
	b.key(fyne.KeyRight)
	if b.w.les.run.Verdict() != nil {
		t.Error("moving over the bytes answers")
	}
	b.focus("lesson-mark")
	b.key(fyne.KeyReturn)
	if v := b.w.les.run.Verdict(); v == nil || !v.Right {
		t.Errorf("the first byte counts: %+v", v)
	}
	b.key(fyne.KeyEscape)
	if b.w.les.run != nil || b.w.les.progress.Lessons["frame"].Step != 1 {
		t.Errorf("after Escape: %+v", b.w.les.progress)
	}
}

// focus moves the keyboard with Tab to a part of the page.
func (b *bench) focus(id string) {
	b.t.Helper()
	for range 60 {
		b.win.Canvas().FocusNext()
		if f, ok := b.win.Canvas().Focused().(look.Identified); ok && f.ID() == id {
			return
		}
	}
	b.t.Fatalf("Tab never comes to %s", id)
}

// Each practice car can be opened, and choosing one begins a visit to it.
func TestPracticeCars(t *testing.T) {
	b := practised(newBench(t, setup{}))
	for _, name := range practiceCars {
		b.w.Show(PagePractice)
		b.tap("practice " + name)
		b.until("opened", func() bool { return b.w.link.opening == nil })
		if b.w.link.openErr != nil || b.w.link.visit == nil || !b.w.practice() || b.w.page != PageLink {
			t.Errorf("%s: %v, page %s", name, b.w.link.openErr, b.w.page)
		}
	}
}
