package lesson

import (
	"errors"
	"slices"
	"strings"

	"readback/diag/explain"
)

// ErrNotNow is returned for an act that the step does not have, or does not have yet.
var ErrNotNow = errors.New("lesson: this step does not ask for that now")

// Run is one lesson being taken. Its methods are called from one goroutine at a time.
type Run struct {
	lesson  Lesson
	at      int
	states  []state
	replies [][]Reply
}

// state is what has happened at one step.
type state struct {
	done    bool
	help    bool
	guess   int  // option that was guessed or chosen last, -1 for none
	marked  *int // byte that was pointed at last
	verdict *Verdict
	tried   []int // options that were not right
}

// Verdict is what came of an act: whether it was right, and why. Text is empty where a step says nothing more.
type Verdict struct {
	Right bool
	Text  string
}

// Line is one frame of a step as it may be shown now.
type Line struct {
	Text    string // "7E5 03 22 F1 90 55 55 55 55"
	FromCar bool
	Explain explain.Explanation
}

// Begin takes a lesson from a step on, counted from 0; a step that it does not have is the first. The steps before it
// are done, but for those that ask the car: its answers are not kept.
func Begin(l Lesson, step int) *Run {
	if step < 0 || step >= len(l.Steps) {
		step = 0
	}
	r := &Run{lesson: l, at: step, states: make([]state, len(l.Steps)), replies: make([][]Reply, len(l.Steps))}
	for i := range r.states {
		r.states[i].guess = -1
		r.states[i].done = i < step && l.Steps[i].Kind != Ask
	}
	return r
}

// Lesson is the lesson that is taken.
func (r *Run) Lesson() Lesson { return r.lesson }

// At is the number of the step, from 0; Step is the step itself.
func (r *Run) At() int    { return r.at }
func (r *Run) Step() Step { return r.lesson.Steps[r.at] }

func (r *Run) now() *state { return &r.states[r.at] }

// Done reports whether the step is done, so that the next may begin. A step that only shows is always done.
func (r *Run) Done() bool { return r.Step().Kind == Show || r.now().done }

// Verdict is what came of the newest act at this step, nil before the first.
func (r *Run) Verdict() *Verdict { return r.now().verdict }

// Guess is the option that was chosen last, -1 for none; Tried reports an option that was found not to be right.
func (r *Run) Guess() int       { return r.now().guess }
func (r *Run) Tried(i int) bool { return slices.Contains(r.now().tried, i) }

// Pointed is the byte that was pointed at last; ok is false before the first. -1 is the identifier.
func (r *Run) Pointed() (b int, ok bool) {
	if r.now().marked == nil {
		return 0, false
	}
	return *r.now().marked, true
}

// Replies are what the practice car answered at this step.
func (r *Run) Replies() []Reply { return r.replies[r.at] }

// Hidden reports whether the meaning of a field is hidden now. Help shows what is hidden at this step.
func (r *Run) Hidden(field string) bool {
	if r.Done() || r.now().help {
		return false
	}
	fade := r.Step().Fade
	return slices.Contains(fade, "*") || slices.Contains(fade, field)
}

// Fades reports whether something is hidden now.
func (r *Run) Fades() bool { return len(r.Step().Fade) > 0 && !r.Done() && !r.now().help }

// Help shows what is hidden at this step.
func (r *Run) Help() { r.now().help = true }

// Lines are the frames that may be shown now, each explained. What the car sends is not among them before the question
// of the step is answered.
func (r *Run) Lines() []Line {
	s := r.Step()
	var out []Line
	for _, f := range s.Frames {
		out = append(out, line(f, false))
	}
	for _, l := range s.Seen {
		fromCar, text, _ := seenLine(l)
		if len(out) > 0 && !r.Done() && s.Kind == Choose { // the request alone, until it is answered
			break
		}
		out = append(out, line(text, fromCar))
	}
	if s.Kind == Ask {
		out = append(out, line(s.Want, false))
		for _, reply := range r.Replies() {
			for _, f := range reply.Frames {
				id, data, _ := strings.Cut(f, "#")
				out = append(out, line(id+" "+spaced(data), true))
			}
		}
	}
	return out
}

// Whole is what the frames of the car that may be shown now say together, where an answer came in several pages; ok is
// false where none did, or while its meaning is hidden.
func (r *Run) Whole() (e explain.Explanation, ok bool) {
	if r.Fades() {
		return explain.Explanation{}, false
	}
	var pages []explain.Frame
	for _, l := range r.Lines() {
		if l.FromCar && l.Explain.Frame != nil {
			pages = append(pages, *l.Explain.Frame)
		}
	}
	var data [][]byte
	for _, p := range pages {
		if p.ID != pages[0].ID {
			return explain.Explanation{}, false
		}
		data = append(data, p.Data)
	}
	if len(data) < 2 {
		return explain.Explanation{}, false
	}
	e = explain.ExplainFrames(pages[0].ID, data, explain.Options{})
	return e, !e.Wrong()
}

// line explains one frame: what is written as an owner's request, what was seen on the bus as a frame.
func line(text string, fromCar bool) Line {
	e := explain.Explain(text, explain.Options{})
	if e.Frame != nil && (fromCar || e.Direction != explain.Request && e.Direction != explain.Other) {
		e = explain.ExplainFrame(e.Frame.ID, e.Frame.Data, explain.Options{})
	}
	return Line{Text: text, FromCar: fromCar, Explain: e}
}

func spaced(hex string) string {
	var pairs []string
	for i := 0; i+2 <= len(hex); i += 2 {
		pairs = append(pairs, hex[i:i+2])
	}
	return strings.Join(pairs, " ")
}

// Choose takes an option. At a step that asks the car it is the guess, which is judged when the answer has come.
func (r *Run) Choose(i int) (Verdict, error) {
	s, st := r.Step(), r.now()
	if s.Kind != Choose && s.Kind != Ask || i < 0 || i >= len(s.Options) || st.done {
		return Verdict{}, ErrNotNow
	}
	st.guess = i
	if s.Kind == Ask {
		return Verdict{}, nil
	}
	o := s.Options[i]
	if !o.Right && !slices.Contains(st.tried, i) {
		st.tried = append(st.tried, i)
	}
	return r.judged(Verdict{o.Right, o.Why}), nil
}

func (r *Run) judged(v Verdict) Verdict {
	r.now().verdict = &v
	r.now().done = v.Right
	return v
}

// marks is the frame that a byte of has to be pointed at.
func (s Step) marks() string {
	if len(s.Frames) > 0 {
		return s.Frames[0]
	}
	for i := len(s.Seen) - 1; i >= 0; i-- {
		if _, text, ok := seenLine(s.Seen[i]); ok {
			return text
		}
	}
	return ""
}

// Marks is the frame of this step whose byte has to be pointed at, "" where none has.
func (r *Run) Marks() string {
	if r.Step().Kind != Mark {
		return ""
	}
	return r.Step().marks()
}

// What [Step.Mark] may say beside the name of a field.
const (
	markFinding = "finding:"   // and the code of what the explanation finds there
	markDiffers = "difference" // where the two frames of the step differ
)

// marked are the bytes that are right to point at. Where they are is told by the explanation.
func (s Step) marked(e explain.Explanation) (out []int) {
	if s.Mark == markDiffers && len(s.Frames) == 2 {
		for _, d := range explain.Compare(s.Frames[0], s.Frames[1], explain.Options{}).Differences {
			out = append(out, d.Byte)
		}
		return out
	}
	if code, ok := strings.CutPrefix(s.Mark, markFinding); ok {
		for _, f := range e.Findings {
			if f.Code == code {
				out = append(out, byteAt(e.Input, f.At))
			}
		}
		return out
	}
	for _, f := range e.Fields {
		if f.Name != s.Mark {
			continue
		}
		if f.From < 0 {
			out = append(out, -1)
		}
		for b := max(f.From, 0); b < f.To; b++ {
			out = append(out, b)
		}
	}
	return out
}

// byteAt is the byte of a frame that stands at a place of its text: an identifier and bytes, each after a space. -1 is
// the identifier.
func byteAt(text string, at int) int {
	return strings.Count(text[:max(0, min(at, len(text)))], " ") - 1
}

// Mark points at a byte of the frame, -1 for its identifier. The reason is what the byte says, in the words of the
// explanation.
func (r *Run) Mark(b int) (Verdict, error) {
	s, st := r.Step(), r.now()
	if s.Kind != Mark || st.done {
		return Verdict{}, ErrNotNow
	}
	text := s.marks()
	e := explain.Explain(text, explain.Options{})
	if e.Frame == nil || b < -1 || b >= len(e.Frame.Data) {
		return Verdict{}, ErrNotNow
	}
	st.marked = &b
	v := Verdict{Right: slices.Contains(s.marked(e), b)}
	for _, f := range e.Fields {
		if f.From <= b && b < f.To || f.From < 0 && b < 0 {
			v.Text = f.Name + ": " + f.Text
		}
	}
	if code, ok := strings.CutPrefix(s.Mark, markFinding); ok && v.Right {
		for _, f := range e.Findings {
			if f.Code == code {
				v.Text = f.Text
			}
		}
	}
	if v.Right && s.Mark == markDiffers {
		for _, d := range explain.Compare(s.Frames[0], s.Frames[1], explain.Options{}).Differences {
			if d.Byte == b {
				v.Text = d.Text
			}
		}
	}
	return r.judged(v), nil
}

// Write judges a request that was written: it must be well formed, and ask the same of the same module. The filling may
// differ unless the step says otherwise. The reason is the first thing that the explanation finds, or the difference.
func (r *Run) Write(text string) (Verdict, error) {
	s := r.Step()
	if s.Kind != Type || r.now().done {
		return Verdict{}, ErrNotNow
	}
	want, got := explain.Explain(s.Want, explain.Options{}), explain.Explain(text, explain.Options{})
	for _, f := range got.Findings {
		if f.Level == explain.Wrong {
			return r.judged(Verdict{Text: strings.TrimSpace(f.Text + " " + f.Fix)}), nil
		}
	}
	if got.Frame == nil {
		return r.judged(Verdict{Text: got.Summary}), nil
	}
	for _, d := range explain.Compare(s.Want, text, explain.Options{}).Differences {
		if !s.Exact && d.Byte >= counted(want.Frame.Data) && d.Byte >= counted(got.Frame.Data) {
			continue
		}
		return r.judged(Verdict{Text: d.Text}), nil
	}
	return r.judged(Verdict{Right: true, Text: got.Summary}), nil
}

// counted is where the filling of a single frame begins.
func counted(data []byte) int {
	if len(data) == 0 {
		return 0
	}
	return 1 + int(data[0]&0x0F)
}

// Asks is the request that may go to the practice car now; ok is false before a guess, and once it was asked.
func (r *Run) Asks() (request, scenario string, ok bool) {
	s := r.Step()
	if s.Kind != Ask || r.now().guess < 0 || r.now().done {
		return "", "", false
	}
	return s.Want, s.Scenario, true
}

// Came takes what the practice car answered and judges the guess by it. The step is done whatever was guessed.
func (r *Run) Came(replies []Reply) (Verdict, error) {
	if _, _, ok := r.Asks(); !ok {
		return Verdict{}, ErrNotNow
	}
	st := r.now()
	o := r.Step().Options[st.guess]
	r.replies[r.at] = slices.Clone(replies)
	v := Verdict{o.When.holds(replies), o.Why}
	st.verdict, st.done = &v, true
	return v, nil
}

// Next goes on to the next step; false when this one is not done, or is the last.
func (r *Run) Next() bool {
	if !r.Done() || r.at+1 >= len(r.lesson.Steps) {
		return false
	}
	r.at++
	return true
}

// Back goes back to the step before; false at the first.
func (r *Run) Back() bool {
	if r.at == 0 {
		return false
	}
	r.at--
	return true
}

// Finished reports whether the last step is shown and done.
func (r *Run) Finished() bool { return r.at == len(r.lesson.Steps)-1 && r.Done() }
