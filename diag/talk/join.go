package talk

import (
	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/trace"
)

// frame adds one frame.
func (t *Talk) frame(at int64, out bool, f *can.Frame) {
	if f.IsRemote || f.Length > can.MaxDataLength {
		t.other++
		return
	}
	id, data := idOf(link.IDOf(*f)), f.Data[:f.Length]
	p, ok := t.find(id, data)
	if !ok {
		if p, ok = t.meet(id, data, out); !ok {
			t.other++
			return
		}
	} else {
		p = t.rethink(p, id, data, out)
	}
	th := &t.threads[p.thread]
	own := &th.parts[1]
	if p.asks {
		own = &th.parts[0]
	}
	if own.join == nil {
		own.join = isotp.NewReassembler(skipOf(th.address) > 0, maxMessage)
	}
	x := frame{at: at, data: f.Data, id: id, size: f.Length, out: out}
	s := own.join.Frame(data)
	if s.Cause != nil && s.Event != isotp.Broke {
		t.tear(own)
	}
	switch s.Event {
	case isotp.Flow:
		x.kind = flow
		about := &th.parts[0]
		if p.asks {
			about = &th.parts[1]
		}
		t.attach(about, x)
	case isotp.Completed:
		t.complete(p, own, x, s.Message)
	case isotp.Began:
		own.message = t.begin(p, t.frames.add(x), carried(data, skipOf(th.address)), uint32(s.Want), growing)
	case isotp.Continued:
		t.attach(own, x)
	case isotp.Broke:
		x.kind = misplaced
		t.attach(own, x)
		t.tear(own)
	default:
		t.other++
	}
}

func (t *Talk) complete(p place, own *part, x frame, payload []byte) {
	if own.message == 0 {
		own.message = t.begin(p, t.frames.add(x), payload, uint32(len(payload)), complete)
	} else {
		t.attach(own, x)
	}
	t.finish(own.message, payload)
	own.message = 0
}

// attach puts a frame under the message in progress.
func (t *Talk) attach(p *part, x frame) {
	if p.message == 0 || !t.msgs.has(p.message) {
		t.other++
		return
	}
	m := t.msgs.at(p.message)
	n := t.frames.add(x)
	t.frames.at(m.last).next = n
	m.last = n
	m.count++
}

// tear ends a message in progress that will never be whole.
func (t *Talk) tear(p *part) {
	if p.message != 0 && t.msgs.has(p.message) {
		t.msgs.at(p.message).state = torn
	}
	p.message = 0
}

// begin adds a message whose first frame is n, and finds or makes its row.
func (t *Talk) begin(p place, n uint32, payload []byte, size uint32, s state) uint32 {
	f := t.frames.at(n)
	m := t.msgs.add(message{first: n, last: n, size: size, count: 1, thread: p.thread, out: p.asks, state: s})
	if row := t.rowFor(p, payload); row != 0 {
		r := t.rows.at(row)
		t.msgs.at(r.last).next = m
		r.last = m
		t.msgs.at(m).row = row
		return m
	}
	r := exchange{first: m, last: m, thread: p.thread, asked: p.asks}
	if len(payload) > 0 {
		r.service = serviceOf(payload, p.asks)
	}
	r.quiet = p.asks && len(payload) > 1 && subFunction[payload[0]] && payload[1]&suppress != 0
	row := t.rows.add(r)
	t.msgs.at(m).row = row
	th := &t.threads[p.thread]
	th.rows++
	if p.asks {
		th.row = row
		if th.address.Functional {
			t.asked[width(f.id)] = p.thread
		}
	}
	return m
}

// rowFor is the row of the question that an answer belongs to; 0 for questions, and for answers that nobody asked for.
func (t *Talk) rowFor(p place, payload []byte) uint32 {
	if p.asks || len(payload) == 0 {
		return 0
	}
	best := uint32(0)
	id := idOf(t.threads[p.thread].address.Answer)
	for _, n := range [2]uint16{p.thread, t.asked[width(id)]} {
		if n == 0 {
			continue
		}
		row := t.threads[n].row
		if row > best && row >= t.settled && t.rows.has(row) && t.belongs(row, payload) {
			best = row
		}
	}
	return best
}

// finish notes in its row what a whole message says.
func (t *Talk) finish(n uint32, payload []byte) {
	if !t.msgs.has(n) {
		return
	}
	m := t.msgs.at(n)
	m.state = complete
	if m.out || !t.rows.has(m.row) || len(payload) == 0 {
		return
	}
	r := t.rows.at(m.row)
	switch {
	case payload[0] == negative && len(payload) > 2 && payload[2] == pending:
		r.waits++
		return
	case payload[0] == negative && len(payload) > 2:
		r.refusal = payload[2]
	default:
		r.agreed = true
	}
	r.answers++
}

// message adds a message without frames.
func (t *Talk) message(at int64, e *trace.Entry) {
	n := t.learn(e.Address)
	if n == 0 || len(e.Data) == 0 {
		t.other++
		return
	}
	out := e.Direction == bus.Out
	p := place{n, out}
	f := t.frames.add(frame{at: at, id: idOf(e.ID), kind: whole, out: out})
	t.texts[f] = string(e.Data[:min(len(e.Data), maxMessage)])
	t.finish(t.begin(p, f, e.Data, uint32(len(e.Data)), complete), e.Data)
}

// trouble adds a row of words.
func (t *Talk) trouble(at int64, e *trace.Entry, n uint16) {
	if e.Text == "" {
		return
	}
	f := t.frames.add(frame{at: at, id: idOf(e.ID), kind: words, out: e.Direction == bus.Out})
	t.texts[f] = e.Text[:min(len(e.Text), maxText)]
	m := t.msgs.add(message{first: f, last: f, count: 1, thread: n, state: complete})
	row := t.rows.add(exchange{first: m, last: m, thread: n, trouble: true})
	t.msgs.at(m).row = row
	t.threads[n].rows++
}
