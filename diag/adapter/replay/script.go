package replay

import (
	"time"

	"go.einride.tech/can"

	"readback/diag/link"
)

// recorded is one frame of a recording.
type recorded struct {
	at    int64 // nanoseconds since 1970
	out   bool  // from the tester
	frame can.Frame
}

// script is a recording, cut into what a car does by itself and what it does when asked.
type script struct {
	first     int64
	alone     []recorded
	reactions map[request]*reactions
	asks      map[link.ID]link.ID // where the tester asks the module that answers on an identifier
}

// request is a frame of the tester without its filling, which may differ from one adapter to the other.
type request struct {
	id     link.ID
	length uint8
	data   can.Data
}

// reactions are what followed a request each time that it was sent.
type reactions struct {
	all  []*reaction
	next int
}

// take is the reaction to the next request of its kind.
func (r *reactions) take() *reaction {
	out := r.all[r.next]
	r.next = min(r.next+1, len(r.all)-1)
	return out
}

// reaction is what each module said to one request.
type reaction struct {
	tracks []*track
}

// track is what one module said, frame after frame.
type track struct {
	answer link.ID
	steps  []step
	last   int64 // time of the newest of them in the recording, or of the flow control after it
	gate   bool  // flow control has come since
}

// step is one frame: how long after the one before it, after the request, or, where it was waited for, after the flow
// control.
type step struct {
	after time.Duration
	gated bool
	frame can.Frame
}

// Kinds of frames of ISO 15765-2 by the high digit of their first byte.
const (
	single      = 0
	first       = 1
	flowControl = 3
)

func kindOf(f *can.Frame) byte {
	if f.Length == 0 {
		return 0xF
	}
	return f.Data[0] >> 4
}

// requestOf leaves the filling of a single frame out.
func requestOf(f *can.Frame) request {
	r := request{id: link.IDOf(*f), length: f.Length, data: f.Data}
	if n := f.Data[0]&0x0F + 1; kindOf(f) == single && n <= f.Length {
		r.length = n
	}
	for i := int(r.length); i < len(r.data); i++ {
		r.data[i] = 0
	}
	return r
}

// functional reports the identifiers of requests to all modules: 7DF and 18DBttF1 of ISO 15765-4.
func functional(id link.ID) bool {
	return id == link.ID11(0x7DF) || id.Extended && id.Value&^0xFF00 == 0x18DB00F1
}

// newScript finds out what followed what.
func newScript(all []recorded) *script {
	s := &script{first: all[0].at, reactions: map[request]*reactions{}, asks: pairs(all)}
	type asked struct {
		number int // place in the recording
		at     int64
		what   *reaction
	}
	latest, toAll := map[link.ID]asked{}, map[bool]asked{}
	open := map[link.ID]*track{} // what is being said on each answer identifier
	for i := range all {
		r := &all[i]
		id := link.IDOf(r.frame)
		if r.out {
			if kindOf(&r.frame) == flowControl {
				for answer, t := range open {
					if s.asks[answer] == id {
						t.gate, t.last = true, r.at
					}
				}
				continue
			}
			key := requestOf(&r.frame)
			list := s.reactions[key]
			if list == nil {
				list = &reactions{}
				s.reactions[key] = list
			}
			a := asked{i, r.at, &reaction{}}
			list.all = append(list.all, a.what)
			latest[id] = a
			if functional(id) {
				toAll[id.Extended] = a
			}
			continue
		}
		cause, ok := latest[s.asks[id]]
		if _, known := s.asks[id]; !known {
			ok = false
		}
		if a, all := toAll[id.Extended]; all && id.Diagnostic() && (!ok || a.number > cause.number) {
			cause, ok = a, true
		}
		if !ok {
			s.alone = append(s.alone, *r)
			continue
		}
		t := cause.what.track(id, cause.at)
		open[id] = t
		t.steps = append(t.steps, step{after: time.Duration(max(r.at-t.last, 0)), gated: t.gate, frame: r.frame})
		t.last, t.gate = r.at, false
	}
	return s
}

// track is what a module says in a reaction.
func (r *reaction) track(answer link.ID, begun int64) *track {
	for _, t := range r.tracks {
		if t.answer == answer {
			return t
		}
	}
	t := &track{answer: answer, last: begun}
	r.tracks = append(r.tracks, t)
	return t
}
