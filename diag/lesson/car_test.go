package lesson_test

import (
	"context"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/bus"
	"readback/diag/explain"
	"readback/diag/lesson"
	"readback/diag/link"
	"readback/diag/simcar"
)

func all(t *testing.T) []lesson.Lesson {
	t.Helper()
	lessons, err := lesson.All()
	if err != nil {
		t.Fatal(err)
	}
	return lessons
}

// frameOf reads "7E5 03 22 F1 90 55 55 55 55".
func frameOf(t *testing.T, text string) can.Frame {
	t.Helper()
	e := explain.Explain(text, explain.Options{})
	if e.Frame == nil {
		t.Fatalf("%q is no frame", text)
	}
	f := can.Frame{ID: e.Frame.ID.Value, IsExtended: e.Frame.ID.Extended, Length: uint8(len(e.Frame.Data))}
	copy(f.Data[:], e.Frame.Data)
	return f
}

// Every conversation in the lessons is one that the practice car holds: what is sent is sent to it, and what it answers
// is what stands there, frame by frame and in this order.
func TestCarAnswersAsSeen(t *testing.T) {
	n := 0
	for _, l := range all(t) {
		for i, s := range l.Steps {
			if len(s.Seen) == 0 {
				continue
			}
			n++
			synctest.Test(t, func(t *testing.T) {
				spec, err := simcar.Load(s.Scenario)
				if err != nil {
					t.Fatal(err)
				}
				tester, cars := bus.Pair()
				ctx, stop := context.WithCancel(t.Context())
				served := make(chan error, 1)
				go func() { served <- simcar.New(spec).Serve(ctx, cars) }()
				defer func() {
					stop()
					if err := tester.Close(); err != nil {
						t.Error(err)
					}
					if err := <-served; err != nil {
						t.Error(err)
					}
				}()
				for _, line := range s.Seen {
					if text, ok := strings.CutPrefix(line, "> "); ok {
						if err := tester.Send(ctx, frameOf(t, text)); err != nil {
							t.Fatal(err)
						}
						continue
					}
					want := frameOf(t, strings.TrimPrefix(line, "< "))
					if got := fromModule(t, tester, want.ID); got != want {
						t.Errorf("%s, step %d: the car answers %v, the lesson says %v", l.ID, i+1, got, want)
					}
				}
			})
		}
	}
	if n < 10 {
		t.Errorf("only %d conversations", n)
	}
}

// fromModule is the next frame that is not one of the car's ordinary messages.
func fromModule(t *testing.T, b bus.Bus, id uint32) can.Frame {
	t.Helper()
	ctx, stop := context.WithTimeout(t.Context(), 10*time.Second)
	defer stop()
	for {
		r, err := b.Receive(ctx)
		if err != nil {
			t.Fatalf("waiting for %03X: %v", id, err)
		}
		if r.Frame.ID >= 0x700 {
			return r.Frame
		}
	}
}

// ask sends a request of a lesson to the practice car, through the whole of the program.
func ask(t *testing.T, request, scenario string) []lesson.Reply {
	t.Helper()
	v, err := diag.Open(t.Context(), diag.Options{Place: adapter.Place("practice:" + scenario), Drivers: []adapter.Driver{practice.Driver()}})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := v.Close(); err != nil {
			t.Error(err)
		}
	}()
	for _, err := range v.Send(t.Context(), diag.Explain(request, "")) {
		if err != nil {
			t.Fatal(err)
		}
	}
	r := v.Result()
	if !r.Sent {
		t.Fatalf("%s was not sent: %s", request, r.Reason)
	}
	var out []lesson.Reply
	for _, a := range r.Answers {
		out = append(out, lesson.Reply{From: a.From, Hex: a.Hex, Frames: a.Frames, AfterMs: a.AfterMs})
	}
	return out
}

// Of each guess exactly one is what the practice car answers.
func TestOneGuessIsRight(t *testing.T) {
	n := 0
	for _, l := range all(t) {
		for i, s := range l.Steps {
			if s.Kind != lesson.Ask {
				continue
			}
			n++
			synctest.Test(t, func(t *testing.T) {
				replies := ask(t, s.Want, s.Scenario)
				var right []string
				for g, o := range s.Options {
					r := lesson.Begin(l, i)
					if _, err := r.Choose(g); err != nil {
						t.Fatal(err)
					}
					v, err := r.Came(replies)
					if err != nil {
						t.Fatal(err)
					}
					if v.Right {
						right = append(right, o.Text)
					}
				}
				if len(right) != 1 {
					t.Errorf("%s, step %d: right are %q; the car answers %+v", l.ID, i+1, right, replies)
				}
			})
		}
	}
	if n < 5 {
		t.Errorf("only %d questions for the car", n)
	}
}

// The names that lessons ask are those of modules of the practice car, or that of all.
func TestModulesOfTheCar(t *testing.T) {
	spec, err := simcar.Load("")
	if err != nil {
		t.Fatal(err)
	}
	known := map[link.ID]bool{link.Functional11().Request: true}
	for _, m := range spec.Modules {
		known[m.Request], known[m.Answer] = true, true
	}
	for _, l := range all(t) {
		for i, s := range l.Steps {
			for _, line := range s.Seen {
				if f := frameOf(t, line[2:]); !known[link.IDOf(f)] {
					t.Errorf("%s, step %d: %s is no name of the practice car", l.ID, i+1, line)
				}
			}
		}
	}
}
