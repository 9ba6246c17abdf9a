package explain

import (
	"fmt"
	"math"
	"strings"

	"readback/diag/link"
)

// maxSteps bounds how many frames of one input are explained.
const maxSteps = 100

// describe explains every frame of an input by itself. Nothing is described when there is only one.
func describe(steps []step, o Options) []Step {
	if len(steps) < 2 {
		return nil
	}
	out := make([]Step, 0, min(len(steps), maxSteps))
	for _, s := range steps[:min(len(steps), maxSteps)] {
		d := Step{request: true, At: s.place(), Direction: Other, Class: Never, Summary: "It can't be read.", Reason: "What can't be read completely must not go out."}
		switch {
		case readableStep(s):
			x := explainFrame(s.id, s.data, o)
			d.Text, d.Direction, d.Summary, d.Class, d.Reason = s.text(), x.Direction, x.Summary, x.Class, x.Reason
			d.request = x.Direction == Request || x.Direction == Other && !whoIs(s.id, s.data, o).answer
			if k := uncounted(s.data); s.by && k > 0 && x.Class == Never {
				d.counted(s, k, o)
			}
		case !s.bad && !s.hasID && len(s.data) > 0 && len(s.data) <= 8:
			d.Text, d.Summary, d.request = s.text(), "The identifier is missing.", true
		}
		out = append(out, d)
	}
	return out
}

// counted describes a line for an adapter, which adds the counting byte by itself.
func (d *Step) counted(s step, k int, o Options) {
	x := explainFrame(s.id, append([]byte{byte(k)}, s.data[:k]...), o)
	d.request, d.Direction, d.Class, d.Reason = true, x.Direction, x.Class, x.Reason
	d.Summary = "With the counting byte that an adapter adds: " + x.Summary
}

// place is where a frame begins in the input, -1 when nothing of it was read.
func (s step) place() int {
	switch {
	case s.hasID && !s.inherits:
		return s.from
	case len(s.at) > 0:
		return s.at[0]
	}
	return -1
}

// text is a frame as it was read, without the notation.
func (s step) text() string {
	switch {
	case !s.hasID:
		return hexOf(s.data)
	case len(s.data) == 0:
		return s.idText()
	}
	return s.idText() + " " + hexOf(s.data)
}

// idText is the identifier, with a # where only that tells that it is one.
func (s step) idText() string {
	if id := s.id.String(); len(s.data) == 0 || s.id.Extended && !wide(id) {
		return id + "#"
	}
	return s.id.String()
}

// taken is the frame that the explanation is about: the first request, else the first frame.
func taken(found []Step) int {
	first := 0
	for i, d := range found {
		if d.request && d.Text != "" {
			return i
		}
		if d.Direction == Answer && found[first].Text == "" {
			first = i
		}
	}
	return first
}

// several: more than one frame was pasted. Each is named; the class is the worst of the requests among them.
func several(e *Explanation, steps []step, found []Step, main int, o Options, c *cleaned) {
	found[main].Taken = true
	e.Steps = found
	var said []string
	at, requests := -1, 0
	for i, d := range found {
		if !d.request {
			continue
		}
		requests++
		if i != main && at < 0 {
			at = d.At
		}
		if danger(d.Class) > danger(e.Class) {
			e.Class, e.Reason = d.Class, d.Reason
			if d.Text == "" {
				e.Reason = "One of several requests can't be read."
			}
		}
		if requests <= 5 {
			said = append(said, fmt.Sprintf("%d: %s", requests, d.Summary))
		}
	}
	requests += len(steps) - len(found)
	if n := requests - 5; n > 0 {
		said = append(said, fmt.Sprintf("And %d more.", n))
	}
	if requests > 1 {
		c.found("two-requests", Wrong, at, fmt.Sprintf("There are %d requests. %s", requests, strings.Join(said, " ")), "Take one at a time. The first is explained here.")
		if len(steps) > len(found) {
			e.Class, e.Reason = Never, "These are too many requests to look at."
		}
		return
	}
	if whole := conversation(steps, o); whole != "" {
		c.found("answers-among", Note, -1, fmt.Sprintf("The %d frames are one message in parts. %s", len(steps), whole), "")
		return
	}
	c.found("answers-among", Note, -1, fmt.Sprintf("Of %d frames, %s. The others are what came back or went by.", len(steps), count(requests, "is a request", "are requests")), "")
}

// conversation is what the frames say together when they are all parts of one answer; "" when they are not.
func conversation(steps []step, o Options) string {
	var frames [][]byte
	var id link.ID
	for i, s := range steps {
		if !readableStep(s) || i > 0 && s.id != id {
			return ""
		}
		id = s.id
		frames = append(frames, s.data)
	}
	if frames[0][0]>>4 != 1 || len(frames) > 1 && frames[1][0]>>4 != 2 {
		return ""
	}
	return ExplainFrames(id, frames, o).Summary
}

// segments links the bytes that were read with the input, and what could not be read among them; nil when there are none.
func segments(steps []step, holes []hole) *Cleaned {
	c := Cleaned{Segments: []Segment{}}
	var lines []string
	for i, s := range steps {
		if s.bad || !s.hasID && len(s.data) == 0 {
			continue
		}
		var parts []string
		before := func(at int) { // what can't be read, up to a place
			for len(holes) > 0 && holes[0].from < at {
				c.Segments = append(c.Segments, Segment{From: holes[0].from, To: holes[0].to, Step: i, Byte: Gap})
				parts = append(parts, "??")
				holes = holes[1:]
			}
		}
		if s.hasID {
			before(s.from)
			if last := len(lines) - 1; last >= 0 && len(parts) > 0 { // of a frame between, which can't be read: nothing may stand before an identifier
				lines[last] += " " + strings.Join(parts, " ")
				parts = nil
			}
			c.Segments = append(c.Segments, Segment{From: s.from, To: s.to, Step: i, Byte: -1, Hex: s.id.String()})
			parts = append(parts, s.idText())
		}
		for j, at := range s.at {
			before(at)
			c.Segments = append(c.Segments, Segment{From: at, To: at + 2, Step: i, Byte: j, Hex: byteText(s.data, j)})
			parts = append(parts, byteText(s.data, j))
		}
		if i+1 < len(steps) {
			before(steps[i+1].place())
		} else {
			before(math.MaxInt)
		}
		lines = append(lines, strings.Join(parts, " "))
	}
	if len(lines) == 0 {
		return nil
	}
	c.Text = strings.Join(lines, "\n")
	return &c
}

// byteAt is the data byte of a frame that stands at a place of the input, -1 when there is none.
func byteAt(steps []step, main, at int) int {
	if at < 0 || len(steps) == 0 {
		return -1
	}
	for i, from := range steps[main].at {
		if at == from || at == from+1 {
			return i
		}
	}
	return -1
}
