package replay

import (
	"slices"
	"time"

	"go.einride.tech/can"

	"readback/diag/link"
)

// within is how long after a request its answer, or after a first frame its flow control, tells that two identifiers
// belong together. Answers may come later, but then they tell too little.
const within = 500 * time.Millisecond

// evidence is a request identifier that an answer identifier may belong to.
type evidence struct {
	answer, request link.ID
	weight          int
}

// sure is how much flow control weighs: it goes to the one module that waits for it.
const sure = 20

// pairs finds out on which identifier each module was asked. Identifiers of ISO 15765-4 have their pairs; others belong
// together that request and answer each other most often, each with one other only.
func pairs(all []recorded) map[link.ID]link.ID {
	out := map[link.ID]link.ID{}
	votes := map[[2]link.ID]int{}
	requests := map[link.ID]*recorded{} // the newest on each identifier
	var recent []link.ID                // identifiers of requests, the newest last
	var long []*recorded                // first frames that nobody has reacted to
	for i := range all {
		r := &all[i]
		id := link.IDOf(r.frame)
		switch {
		case r.out && kindOf(&r.frame) == flowControl:
			for _, f := range long {
				if r.at-f.at < int64(within) {
					votes[[2]link.ID{link.IDOf(f.frame), id}] += sure
				}
			}
			long = long[:0]
		case r.out:
			if _, fixed := link.DefaultAnswer(id); !fixed && !functional(id) {
				recent = append(slices.DeleteFunc(recent, func(o link.ID) bool { return o == id || r.at-requests[o].at > int64(within) }), id)
				requests[id] = r
			}
		default:
			if request, ok := link.DefaultRequest(id); ok {
				out[id] = request
				continue
			}
			for _, o := range recent {
				if id.Diagnostic() && r.at-requests[o].at < int64(within) && answers(&requests[o].frame, &r.frame) {
					votes[[2]link.ID{id, o}]++
				}
			}
			if kindOf(&r.frame) == first && id.Diagnostic() {
				long = append(long[:min(len(long), 8)], r)
			}
		}
	}
	ranked := make([]evidence, 0, len(votes))
	for v, n := range votes {
		ranked = append(ranked, evidence{v[0], v[1], n})
	}
	slices.SortFunc(ranked, func(a, b evidence) int {
		if a.weight != b.weight {
			return b.weight - a.weight
		}
		if a.answer != b.answer {
			return int(a.answer.Value) - int(b.answer.Value)
		}
		return int(a.request.Value) - int(b.request.Value)
	})
	taken := map[link.ID]bool{}
	for _, e := range ranked {
		if _, has := out[e.answer]; !has && !taken[e.request] {
			out[e.answer], taken[e.request] = e.request, true
		}
	}
	return out
}

// answers reports a frame that begins an answer to a request of one frame: the same service, and the byte behind it,
// which most services echo.
func answers(q, a *can.Frame) bool {
	from := 1
	switch kindOf(a) {
	case single:
	case first:
		from = 2
	default:
		return false
	}
	if kindOf(q) != single || int(a.Length) < from+2 || q.Length < 2 {
		return false
	}
	sid, p := q.Data[1], a.Data[from:]
	if p[0] == 0x7F {
		return p[1] == sid
	}
	return p[0] == sid|0x40 && (q.Data[0] < 2 || (p[1]^q.Data[2])&0x7F == 0)
}
