package lesson_test

import (
	"encoding/json"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag/lesson"
	"readback/diag/simcar"
)

// walk takes a lesson from its first step to its end: at every step all that is wrong first, then what is right.
func walk(t *testing.T, l lesson.Lesson) {
	r := lesson.Begin(l, 0)
	for {
		at := func(what string) string { return l.ID + ", step " + string(rune('1'+r.At())) + ": " + what }
		if r.Step().Kind != lesson.Show && r.Next() {
			t.Fatal(at("it lets the learner pass before it is done"))
		}
		for _, line := range r.Lines() {
			if line.Explain.Frame == nil || len(line.Explain.Fields) < 2 {
				t.Errorf("%s", at("nothing explains "+line.Text))
			}
		}
		switch s := r.Step(); s.Kind {
		case lesson.Choose:
			chooseAll(t, r, at)
		case lesson.Mark:
			markAll(t, r, at)
		case lesson.Type:
			writeAll(t, r, at)
		case lesson.Ask:
			askAll(t, r, at)
		}
		if !r.Done() || r.Fades() || r.Hidden("How long") {
			t.Error(at("done, and something is still hidden"))
		}
		if r.Finished() {
			break
		}
		if !r.Next() {
			t.Fatal(at("it can't be left"))
		}
	}
	if r.At() != len(l.Steps)-1 || r.Next() {
		t.Errorf("%s ends at step %d", l.ID, r.At()+1)
	}
}

func chooseAll(t *testing.T, r *lesson.Run, at func(string) string) {
	s := r.Step()
	right := -1
	before := len(r.Lines())
	for i, o := range s.Options {
		if o.Right {
			right = i
			continue
		}
		v, err := r.Choose(i)
		if err != nil || v.Right || v.Text != o.Why || !r.Tried(i) || r.Done() {
			t.Errorf("%s: %+v %v", at(o.Text), v, err)
		}
	}
	if before > 1 && len(s.Seen) > 0 {
		t.Error(at("the answer of the car is shown before the question is answered"))
	}
	if v, err := r.Choose(right); err != nil || !v.Right || v.Text == "" {
		t.Errorf("%s: %+v %v", at("the right one"), v, err)
	}
	if got := len(r.Lines()); got != len(s.Frames)+len(s.Seen) {
		t.Errorf("%s: %d frames are shown at the end", at(s.Question), got)
	}
	if _, err := r.Choose(right); !errors.Is(err, lesson.ErrNotNow) {
		t.Error(at("it can be answered twice"))
	}
}

func markAll(t *testing.T, r *lesson.Run, at func(string) string) {
	if _, err := r.Mark(99); !errors.Is(err, lesson.ErrNotNow) {
		t.Error(at("a byte that is not there can be pointed at"))
	}
	data := len(strings.Fields(r.Marks())) - 1
	hit := false
	for pass := range 2 { // first all that is wrong: a right byte ends the step
		for b := -1; b < data; b++ {
			probe := lesson.Begin(r.Lesson(), r.At())
			v, err := probe.Mark(b)
			if err != nil || v.Text == "" {
				t.Errorf("%s: byte %d: %+v %v", at(r.Step().Question), b, v, err)
			}
			if v.Right != (pass == 1) || hit {
				continue
			}
			if got, err := r.Mark(b); err != nil || got != v {
				t.Errorf("%s: byte %d: %+v %v", at(r.Step().Question), b, got, err)
			}
			if p, ok := r.Pointed(); !ok || p != b {
				t.Errorf("%s: pointed at %d", at(r.Step().Question), p)
			}
			hit = v.Right
		}
	}
	if !hit {
		t.Error(at("no byte is right"))
	}
}

func writeAll(t *testing.T, r *lesson.Run, at func(string) string) {
	want := strings.Fields(r.Step().Want)
	other := slices.Clone(want)
	other[0] = "7E1"
	short := slices.Clone(want)
	short = slices.Delete(short, 1, 2)
	for _, bad := range []string{"", "what", strings.Join(other, " "), strings.Join(short, " "), strings.Join(want[:2], " ")} {
		if v, err := r.Write(bad); err != nil || v.Right || v.Text == "" || r.Done() {
			t.Errorf("%s: %q: %+v %v", at(r.Step().Question), bad, v, err)
		}
	}
	filled := slices.Clone(want)
	filled[len(filled)-1] = "CC"
	probe := lesson.Begin(r.Lesson(), r.At())
	if v, err := probe.Write(strings.Join(filled, " ")); err != nil || v.Right == r.Step().Exact {
		t.Errorf("%s: other filling: %+v %v", at(r.Step().Question), v, err)
	}
	if v, err := r.Write(strings.ToLower(strings.Join(want, " "))); err != nil || !v.Right || v.Text == "" {
		t.Errorf("%s: %+v %v", at(r.Step().Question), v, err)
	}
}

func askAll(t *testing.T, r *lesson.Run, at func(string) string) {
	if _, err := r.Came(nil); !errors.Is(err, lesson.ErrNotNow) {
		t.Error(at("an answer is taken before a guess"))
	}
	if _, _, ok := r.Asks(); ok {
		t.Error(at("the car is asked before a guess"))
	}
	for i := range r.Step().Options {
		if v, err := r.Choose(i); err != nil || v.Text != "" || r.Verdict() != nil {
			t.Errorf("%s: a guess is judged before the answer: %+v %v", at(r.Step().Question), v, err)
		}
	}
	request, scenario, ok := r.Asks()
	if !ok || request != r.Step().Want {
		t.Fatal(at("the car can't be asked"))
	}
	replies := ask(t, request, scenario)
	v, err := r.Came(replies)
	if err != nil || v.Text == "" {
		t.Errorf("%s: %+v %v", at(r.Step().Question), v, err)
	}
	if _, err := r.Came(replies); !errors.Is(err, lesson.ErrNotNow) {
		t.Error(at("an answer is taken twice"))
	}
	if shown := r.Lines(); len(shown) < 1+len(replies) || !shown[len(shown)-1].FromCar {
		t.Errorf("%s: %d frames are shown after %d answers", at(r.Step().Question), len(shown), len(replies))
	}
}

func TestAllLessons(t *testing.T) {
	lessons := all(t)
	if len(lessons) != 8 {
		t.Errorf("there are %d lessons", len(lessons))
	}
	for _, l := range lessons {
		synctest.Test(t, func(t *testing.T) { walk(t, l) })
	}
}

// An act that belongs to another kind of step is refused and changes nothing.
func TestNotNow(t *testing.T) {
	for _, l := range all(t) {
		for i, s := range l.Steps {
			r := lesson.Begin(l, i)
			for kind, act := range map[lesson.Kind]func() error{
				lesson.Choose: func() error { _, err := r.Choose(0); return err },
				lesson.Mark:   func() error { _, err := r.Mark(0); return err },
				lesson.Type:   func() error { _, err := r.Write("7E0 02 3E 00"); return err },
			} {
				if kind == s.Kind || kind == lesson.Choose && s.Kind == lesson.Ask {
					continue
				}
				if err := act(); !errors.Is(err, lesson.ErrNotNow) || r.Verdict() != nil {
					t.Errorf("%s, step %d: %s is taken: %v", l.ID, i+1, kind, err)
				}
			}
		}
	}
	l := all(t)[0]
	r := lesson.Begin(l, 1)
	if _, err := r.Choose(-1); !errors.Is(err, lesson.ErrNotNow) {
		t.Errorf("an option that is not there: %v", err)
	}
	if !r.Back() || r.Back() || r.At() != 0 {
		t.Errorf("back leads to step %d", r.At()+1)
	}
	if lesson.Begin(l, 99).At() != 0 || lesson.Begin(l, -1).At() != 0 {
		t.Error("a step that is not there is not the first")
	}
}

// Who begins later finds the steps before done; only what the car was asked has to be asked again.
func TestBeginLater(t *testing.T) {
	for _, l := range all(t) {
		r := lesson.Begin(l, len(l.Steps)-1)
		for r.Back() {
			if s := r.Step(); r.Done() == (s.Kind == lesson.Ask) || r.Fades() && r.Done() {
				t.Errorf("%s, step %d, a %s: done %t", l.ID, r.At()+1, s.Kind, r.Done())
			}
		}
		if r.At() != 0 {
			t.Errorf("%s: back leads to step %d", l.ID, r.At()+1)
		}
	}
}

// Pages that the car sends are put together: the identification number of the practice car stands in none of them alone.
func TestWhole(t *testing.T) {
	spec, err := simcar.Load("")
	if err != nil {
		t.Fatal(err)
	}
	whole := 0
	for _, l := range all(t) {
		for i := range l.Steps {
			e, ok := lesson.Begin(l, i).Whole()
			if !ok {
				continue
			}
			whole++
			if !strings.Contains(e.Summary, spec.VIN) {
				t.Errorf("%s, step %d: %s", l.ID, i+1, e.Summary)
			}
		}
	}
	if whole != 1 { // two single answers, "wait" and "done", are no pages
		t.Errorf("%d steps show a whole message", whole)
	}
}

// Help shows what is faded, and only at this step.
func TestHelp(t *testing.T) {
	for _, l := range all(t) {
		for i, s := range l.Steps {
			if len(s.Fade) == 0 {
				continue
			}
			r := lesson.Begin(l, i)
			name := s.Fade[0]
			if name == "*" {
				name = "What to do"
			}
			if !r.Fades() || !r.Hidden(name) {
				t.Errorf("%s, step %d: %s is not hidden", l.ID, i+1, name)
			}
			r.Help()
			if r.Fades() || r.Hidden(name) || r.Done() {
				t.Errorf("%s, step %d: %s stays hidden", l.ID, i+1, name)
			}
		}
	}
}

func TestProgress(t *testing.T) {
	lessons := all(t)
	var p lesson.Progress
	if p.Next(lessons) != 0 {
		t.Error("a learner begins elsewhere")
	}
	r := lesson.Begin(lessons[0], 0)
	r.Next()
	was := p.With(r)
	if len(p.Lessons) != 0 {
		t.Error("the progress before has changed")
	}
	if got := was.Lessons["frame"]; got != (lesson.Reached{Step: 1}) {
		t.Errorf("after one step: %+v", got)
	}
	end := lesson.Begin(lessons[0], len(lessons[0].Steps)-1)
	if _, err := end.Write(end.Step().Want); err != nil {
		t.Fatal(err)
	}
	done := was.With(end)
	if !done.Lessons["frame"].Done || done.Next(lessons) != 1 {
		t.Errorf("after the last step: %+v", done)
	}
	if again := done.With(lesson.Begin(lessons[0], 0)); again.Lessons["frame"] != (lesson.Reached{Done: true}) {
		t.Errorf("begun again: %+v", again)
	}
	for text, want := range map[string]int{`{"lessons":{"frame":{"step":2,"done":true}}}`: 2, `{"lessons":{"frame":{"step":-3}}}`: 0, `{}`: 0} {
		if got, err := lesson.ReadProgress([]byte(text)); err != nil || got.Lessons["frame"].Step != want {
			t.Errorf("%s: %+v %v", text, got, err)
		}
	}
	for _, text := range []string{"", "[]", "{", `{"lessons":3}`} {
		if _, err := lesson.ReadProgress([]byte(text)); err == nil {
			t.Errorf("%q is read as progress", text)
		}
	}
}

// FuzzProgress: whatever stands in the file of progress, what is read of it can be used and is written as it is read.
func FuzzProgress(f *testing.F) {
	for _, s := range []string{`{"lessons":{"frame":{"step":2,"done":true}}}`, `{"lessons":{"frame":{"step":-7}}}`, `{"lessons":null}`, `null`, `[]`, `{"lessons":{"frame":{"step":1e9}}}`} {
		f.Add([]byte(s))
	}
	all, err := lesson.All()
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := lesson.ReadProgress(text)
		if err != nil {
			return
		}
		if n := p.Next(all); n < 0 || n >= len(all) {
			t.Fatalf("the next of %d lessons is %d", len(all), n)
		}
		for _, l := range all {
			r := lesson.Begin(l, p.Lessons[l.ID].Step)
			if r.At() < 0 || r.At() >= len(l.Steps) {
				t.Fatalf("%s begins at step %d of %d", l.ID, r.At(), len(l.Steps))
			}
			p = p.With(r)
		}
		out, err := json.Marshal(p)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := lesson.ReadProgress(out); err != nil || !reflect.DeepEqual(again, p) {
			t.Fatalf("%s is read as %+v, %v", out, again, err)
		}
	})
}
