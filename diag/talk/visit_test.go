package talk_test

import (
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"testing/synctest"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/talk"
	"readback/diag/trace"
)

// lookedAt is the conversation of a look at the practice car.
func lookedAt(t *testing.T) (entries []trace.Entry) {
	synctest.Test(t, func(t *testing.T) {
		s, err := garage.Open(t.Context(), filepath.Join(t.TempDir(), "readback.db"))
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		v, err := diag.Open(t.Context(), diag.Options{Place: "practice:", Drivers: []adapter.Driver{practice.Driver()}, Store: s})
		if err != nil {
			t.Fatal(err)
		}
		defer v.Close()
		for _, err := range v.Look(t.Context(), "") {
			if err != nil {
				t.Fatal(err)
			}
		}
		entries = v.Conversation()
	})
	return entries
}

// TestVisit: the messages of a whole look are those that the trace has recorded above the transport, frame by frame put
// together again; every question stands with the answers of its module, and no answer without its question.
func TestVisit(t *testing.T) {
	all := lookedAt(t)
	want, frames, torn := map[link.ID][]string{}, 0, 0
	pairs := map[link.ID]link.ID{}
	for _, e := range all {
		switch e.Level {
		case trace.Frame:
			frames++
		case trace.Trouble: // nobody knew yet whom to send the flow control to, so the answers to all were cut short
			torn++
		case trace.Message:
			want[e.ID] = append(want[e.ID], fmt.Sprintf("%X", e.Data))
			if e.Direction == bus.In && !e.Address.Request.IsZero() {
				pairs[e.Address.Answer] = e.Address.Request
			}
		}
	}
	onlyFrames := slices.DeleteFunc(slices.Clone(all), func(e trace.Entry) bool { return e.Level != trace.Frame })
	for name, entries := range map[string][]trace.Entry{"live": all, "from a file": onlyFrames} {
		c := talk.New(talk.Options{})
		c.Add(entries)
		c.End()
		got, shown := map[link.ID][]string{}, 0
		questions, cut, wrong := 0, 0, map[link.ID]int{}
		for i := range c.Len() {
			x := c.Exchange(i)
			if x.Outcome == talk.Unasked || x.Outcome == talk.Torn {
				t.Errorf("%s: row %d is %s: %+v", name, x.Number, x.Outcome, x.Messages)
			}
			for _, m := range x.Messages {
				shown += len(m.Frames)
				if !m.Whole {
					cut++
					continue
				}
				id := m.Address.Answer
				if m.Question {
					id = m.Address.Request
					questions++
				}
				got[id] = append(got[id], fmt.Sprintf("%X", m.Payload))
				if m.Question {
					continue
				}
				if p, ok := pairs[id]; ok && m.Address.Request != p {
					if wrong[id]++; wrong[id] <= 2 && len(m.Payload) <= 3 {
						continue // an answer to the search, in which many were asked the same at once
					}
					t.Errorf("%s: %X of %s is taken for an answer of %s; it is one of %s", name, m.Payload, id, m.Address.Request, p)
				}
			}
		}
		if cut != torn {
			t.Errorf("%s: %d messages are not whole, %d were recorded as torn", name, cut, torn)
		}
		if shown+c.Other() != frames {
			t.Errorf("%s: %d frames in rows, %d others, %d recorded", name, shown, c.Other(), frames)
		}
		for id, w := range want {
			g := got[id]
			slices.Sort(g) // rows stand in the order of their questions
			slices.Sort(w)
			if !slices.Equal(g, w) {
				t.Errorf("%s: %s: %d messages, recorded are %d", name, id, len(g), len(w))
			}
			delete(got, id)
		}
		if len(got) != 0 || questions < 100 {
			t.Errorf("%s: %d questions; not recorded: %v", name, questions, got)
		}
	}
}
