// Package lesson teaches to read a frame: short lessons, the judging of what the learner does, and how far they came.
//
// A lesson is data, in readback/assets. It holds frames, questions and reasons, and never what a frame means: that is
// told by readback/diag/explain each time. [Run] is one lesson being taken. It is pure: it sends nothing, it says what to
// ask the practice car and is told what came back.
//
// The order of a lesson follows the worked-example effect (Sweller and Cooper, 1985): a finished example, one with its help
// faded, a guess before the answer, and an error to find.
package lesson

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"strings"

	"readback/assets"
	"readback/diag/explain"
)

// Lesson is one lesson as its document holds it.
type Lesson struct {
	ID      string `json:"id"`      // stays the same: progress is kept by it
	Title   string `json:"title"`   // a few words
	About   string `json:"about"`   // one sentence
	Minutes int    `json:"minutes"` // about how long it takes
	Steps   []Step `json:"steps"`   // 3 to 6
}

// Kind is what the learner does at a step.
type Kind string

const (
	Show   Kind = "show"   // reads a worked example
	Choose Kind = "choose" // chooses one of several answers
	Mark   Kind = "mark"   // points at a byte
	Type   Kind = "type"   // writes a request
	Ask    Kind = "ask"    // guesses what the practice car will answer, then asks it
)

// Step is one step of a lesson.
type Step struct {
	Kind   Kind     `json:"kind"`
	Say    []string `json:"say"`              // before the frames, a sentence or two each
	Frames []string `json:"frames,omitempty"` // shown as they are; of two with Compare, the second is the instructions'
	// Seen is a conversation with the practice car: "> " before what is sent, "< " before what the car sends. At a step
	// with a question, what the car sends is shown once the question is answered.
	Seen     []string `json:"seen,omitempty"`
	Scenario string   `json:"scenario,omitempty"` // which practice car; "" for the ordinary one
	Compare  bool     `json:"compare,omitempty"`  // the two Frames stand side by side
	Fade     []string `json:"fade,omitempty"`     // names of fields whose meaning is hidden until it is asked for; "*" for all
	Question string   `json:"question,omitempty"`
	Options  []Option `json:"options,omitempty"`
	Mark     string   `json:"mark,omitempty"`  // what to point at; see [Run.Mark]
	Want     string   `json:"want,omitempty"`  // the request to write, or to ask
	Exact    bool     `json:"exact,omitempty"` // the filling counts too
	Then     string   `json:"then,omitempty"`  // said once the step is done
}

// Option is one answer that can be chosen.
type Option struct {
	Text  string `json:"text"`
	Right bool   `json:"right,omitempty"` // with Choose: exactly one is
	When  *When  `json:"when,omitempty"`  // with Ask: right when the car answers so
	Why   string `json:"why"`             // why it is not right; of the right one, why it is
}

// When describes answers of the car. Each part that is not empty must hold.
type When struct {
	Begins string `json:"begins,omitempty"` // the last answer, in upper-case hex
	Ends   string `json:"ends,omitempty"`   // the same
	From   string `json:"from,omitempty"`   // identifier of the first answer
	Number Number `json:"number,omitempty"` // how many modules answer
	Frames int    `json:"frames,omitempty"` // how many frames the last answer came in
}

// Number is how many modules answer.
type Number string

const (
	None    Number = "none"
	One     Number = "one"
	Several Number = "several"
)

// Reply is one message that the practice car sent.
type Reply struct {
	From    string   // identifier that answered, upper-case hex
	Hex     string   // payload, upper-case hex
	Frames  []string // as they were on the bus, "7ED#037F1478AAAAAAAA"
	AfterMs float64  // since the request
}

// holds reports whether the car answered as w says.
func (w When) holds(replies []Reply) bool {
	from := map[string]bool{}
	for _, r := range replies {
		from[r.From] = true
	}
	number := Several
	switch len(from) {
	case 0:
		number = None
	case 1:
		number = One
	}
	if w.Number != "" && w.Number != number {
		return false
	}
	if w.Begins == "" && w.Ends == "" && w.From == "" && w.Frames == 0 {
		return true
	}
	if len(replies) == 0 {
		return false
	}
	last := replies[len(replies)-1]
	return strings.HasPrefix(last.Hex, w.Begins) && strings.HasSuffix(last.Hex, w.Ends) &&
		(w.From == "" || w.From == replies[0].From) && (w.Frames == 0 || w.Frames == len(last.Frames))
}

// All are the lessons of this program, in their order.
func All() ([]Lesson, error) {
	entries, err := fs.ReadDir(assets.Lessons, "lessons")
	if err != nil {
		return nil, fmt.Errorf("lesson: reading the lessons: %w", err)
	}
	var out []Lesson
	for _, e := range entries {
		b, err := fs.ReadFile(assets.Lessons, "lessons/"+e.Name())
		if err != nil {
			return nil, fmt.Errorf("lesson: reading %s: %w", e.Name(), err)
		}
		l, err := Parse(b)
		if err != nil {
			return nil, fmt.Errorf("lesson: reading %s: %w", e.Name(), err)
		}
		out = append(out, l)
	}
	return out, nil
}

// Parse reads one lesson and checks that it can be taken.
func Parse(b []byte) (Lesson, error) {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	var l Lesson
	if err := d.Decode(&l); err != nil {
		return Lesson{}, err
	}
	if l.ID == "" || l.Title == "" || l.About == "" || l.Minutes < 1 {
		return Lesson{}, fmt.Errorf("a lesson needs an id, a title, what it is about, and its minutes")
	}
	if n := len(l.Steps); n < 3 || n > 6 {
		return Lesson{}, fmt.Errorf("%s: %d steps, it may have 3 to 6", l.ID, n)
	}
	for i, s := range l.Steps {
		if err := s.check(); err != nil {
			return Lesson{}, fmt.Errorf("%s, step %d: %w", l.ID, i+1, err)
		}
	}
	return l, nil
}

// check reports what would keep a step from being taken.
func (s Step) check() error {
	if len(s.Say) == 0 {
		return fmt.Errorf("it says nothing")
	}
	if s.Compare && len(s.Frames) != 2 {
		return fmt.Errorf("it compares %d frames", len(s.Frames))
	}
	for _, f := range s.Frames {
		if explain.Explain(f, explain.Options{}).Frame == nil {
			return fmt.Errorf("%q is no frame", f)
		}
	}
	for _, line := range s.Seen {
		if _, text, ok := seenLine(line); !ok || explain.Explain(text, explain.Options{}).Frame == nil {
			return fmt.Errorf("%q is no line of a conversation", line)
		}
	}
	if s.Kind != Show && s.Question == "" {
		return fmt.Errorf("it asks nothing")
	}
	switch s.Kind {
	case Show:
		if s.Question != "" || len(s.Options) > 0 || s.Mark != "" || s.Want != "" {
			return fmt.Errorf("it only shows, so it can't ask")
		}
		return nil
	case Choose:
		right := 0
		for _, o := range s.Options {
			if o.Right {
				right++
			}
		}
		if right != 1 {
			return fmt.Errorf("%d of its options are right, exactly one must be", right)
		}
		return s.checkOptions()
	case Mark:
		if len(s.marked(explain.Explain(s.marks(), explain.Options{}))) == 0 {
			return fmt.Errorf("no byte of %q is %q", s.marks(), s.Mark)
		}
		return nil
	case Type, Ask:
		e := explain.Explain(s.Want, explain.Options{})
		if e.Frame == nil || e.Wrong() || e.Direction != explain.Request {
			return fmt.Errorf("%q is no well-formed request", s.Want)
		}
		if s.Kind == Type {
			return nil
		}
		if e.Class != explain.Look {
			return fmt.Errorf("%q may not be asked: it is of class %s", s.Want, e.Class)
		}
		for _, o := range s.Options {
			if o.When == nil {
				return fmt.Errorf("option %q does not say when it is right", o.Text)
			}
		}
		return s.checkOptions()
	}
	return fmt.Errorf("a step of kind %q is not known", s.Kind)
}

func (s Step) checkOptions() error {
	if len(s.Options) < 2 {
		return fmt.Errorf("it has %d options", len(s.Options))
	}
	for _, o := range s.Options {
		if o.Text == "" || o.Why == "" {
			return fmt.Errorf("option %q has no reason", o.Text)
		}
	}
	return nil
}

// seenLine parts a line of a conversation.
func seenLine(line string) (fromCar bool, text string, ok bool) {
	if text, ok := strings.CutPrefix(line, "> "); ok {
		return false, text, true
	}
	text, ok = strings.CutPrefix(line, "< ")
	return true, text, ok
}
