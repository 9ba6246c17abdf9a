package talk

import (
	"slices"
	"time"

	"readback/diag/link"
	"readback/diag/uds"
)

// Bytes of ISO 14229-1: the refusal, its code for "understood, still working", and the bit of a sub-function that asks
// for no positive answer.
const (
	negative = 0x7F
	pending  = byte(uds.ResponsePending)
	suppress = 0x80
)

const wideFlag = 1 << 31

func idOf(id link.ID) uint32 {
	if id.Extended {
		return id.Value | wideFlag
	}
	return id.Value
}

func linkID(id uint32) link.ID {
	if id&wideFlag != 0 {
		return link.ID29(id)
	}
	return link.ID11(id)
}

func width(id uint32) int { return int(id >> 31) }

// subFunction tells the services whose second byte is a sub-function.
var subFunction = func() (out [256]bool) {
	for i := range out {
		out[i] = uds.Suppressed([]byte{byte(i), 0})[1] != 0
	}
	return out
}()

// requests are the services of ISO 14229-1, SAE J1979 and ISO 14230-3: what may begin a question at an identifier that
// nothing is known of.
var requests = func() (out [256]bool) {
	for _, r := range [][2]int{{0x01, 0x0A}, {0x10, 0x14}, {0x17, 0x24}, {0x27, 0x28}, {0x29, 0x3E}, {0x81, 0x88}, {0xA0, 0xBF}} {
		for i := r[0]; i <= r[1]; i++ {
			out[i] = true
		}
	}
	return out
}()

// serviceOf is the service that a message is about.
func serviceOf(p []byte, asks bool) byte {
	switch {
	case asks:
		return p[0]
	case p[0] == negative && len(p) > 1:
		return p[1]
	}
	return p[0] &^ 0x40
}

// belongs reports an answer that fits the question of a row: the same service, and what it echoes.
func (t *Talk) belongs(row uint32, p []byte) bool {
	r := t.rows.at(row)
	if r.service != serviceOf(p, false) || p[0]&0x40 == 0 { // a question has no such bit
		return false
	}
	if p[0] == negative {
		return true
	}
	var room [8]byte
	q := t.head(r.first, room[:0])
	switch {
	case len(q) < 2 || len(p) < 2:
		return true
	case subFunction[q[0]]:
		return (q[1]^p[1])&^suppress == 0
	case q[0] == 0x22 && len(q) == 3, q[0] == 0x2E, q[0] == 0x2F, q[0] == 0x24:
		return len(q) < 3 || len(p) < 3 || q[1] == p[1] && q[2] == p[2]
	}
	return true
}

// find looks an identifier up among the threads that are known.
func (t *Talk) find(id uint32, data []byte) (place, bool) {
	key := end{id, -1}
	if len(t.spread) > 0 && t.spread[id] && len(data) > 0 {
		key.address = int16(data[0])
	}
	p := t.ends.at(key)
	return p, p.thread != 0
}

// learn makes sure that there is a thread for an address, and that its two identifiers belong together. It returns 0
// when there is no room for a further thread.
func (t *Talk) learn(a link.Address) uint16 {
	ask, answer := t.endOf(a, a.Request, a.Target), t.endOf(a, a.Answer, a.Source)
	var n uint16
	if p := t.ends.at(ask); p.thread != 0 && !a.Request.IsZero() {
		n = p.thread
	} else if p := t.ends.at(answer); p.thread != 0 && !a.Answer.IsZero() && (a.Request.IsZero() || t.threads[p.thread].address.Request.IsZero()) {
		n = p.thread
	}
	if n == 0 {
		if len(t.threads) >= maxThreads {
			return 0
		}
		n = uint16(len(t.threads))
		t.threads = append(t.threads, thread{address: a})
	}
	known := &t.threads[n].address
	if !a.Request.IsZero() {
		known.Request, known.Mode, known.Functional, known.Target, known.Source = a.Request, a.Mode, a.Functional, a.Target, a.Source
		t.ends.put(ask, place{n, true})
	}
	if !a.Answer.IsZero() {
		if p := t.ends.at(answer); p.thread != 0 && p.thread != n { // it was taken for another's, or nobody's
			old := &t.threads[p.thread]
			if old.address.Answer = (link.ID{}); old.address.Request.IsZero() {
				old.same = n
			}
		}
		known.Answer = a.Answer
		t.ends.put(answer, place{n, false})
	}
	return n
}

// endOf is where the frames of an identifier are found; the identifiers of a bus with headers never have frames.
func (t *Talk) endOf(a link.Address, id link.ID, address uint8) end {
	switch a.Mode {
	case link.Extended, link.Mixed:
		t.spread[idOf(id)] = true
		return end{idOf(id), int16(address)}
	case link.Header:
		return end{idOf(id), 0x100}
	}
	return end{idOf(id), -1}
}

// meet decides what to make of an identifier that is not known yet.
func (t *Talk) meet(id uint32, data []byte, out bool) (place, bool) {
	x := linkID(id)
	if !x.Diagnostic() {
		return place{}, false
	}
	var a link.Address
	asks := true
	if answer, ok := link.DefaultAnswer(x); ok {
		a = link.Physical(x, answer)
	} else if request, ok := link.DefaultRequest(x); ok {
		a, asks = link.Physical(request, x), false
	} else if x == link.ID11(0x7DF) {
		a = link.Functional11()
	} else if x.Extended && x.Value&^0xFF00 == 0x18DB00F1 {
		a = link.Address{Mode: link.NormalFixed, Request: x, Functional: true}
	} else if a, asks, ok = t.guess(x, data, out); !ok {
		return place{}, false
	}
	n := t.learn(a)
	return place{n, asks}, n != 0
}

// guess goes by the first frame that is seen of an identifier: a question of a service that exists, or an answer to an
// open question at an identifier whose answers are not known.
func (t *Talk) guess(id link.ID, data []byte, out bool) (a link.Address, asks, ok bool) {
	if len(data) > 0 && data[0]>>4 == 3 { // flow control: from whoever receives a long message of a thread with an unknown end
		n := t.growing()
		a = t.threads[n].address
		a.Request = id
		return a, true, n != 0 && out
	}
	payload := opening(data)
	switch {
	case len(payload) == 0:
		return a, false, false
	case payload[0]&0x40 == 0:
		return link.Address{Mode: modeOf(id), Request: id}, true, out || requests[payload[0]]
	case out:
		return a, false, false
	}
	if n := t.open(id, payload); n != 0 {
		t.threads[n].guessed = true
		a = t.threads[n].address
		a.Answer = id
		return a, false, true
	}
	if n := t.asked[width(idOf(id))]; n != 0 && t.isOpen(n, payload) {
		return link.Address{Mode: modeOf(id), Answer: id}, false, true
	}
	return a, false, false
}

func modeOf(id link.ID) link.Mode {
	if id.Extended {
		return link.NormalFixed
	}
	return link.Normal
}

// growing is a thread whose answer is in progress and whose question identifier is not known, 0 for none.
func (t *Talk) growing() uint16 {
	for n := range t.threads {
		if th := &t.threads[n]; th.address.Request.IsZero() && th.parts[1].message != 0 {
			return uint16(n)
		}
	}
	return 0
}

// offsets are how far answers commonly lie above their questions, the most usual first: the 8 of ISO 15765-4, the others
// are common practice.
var offsets = []int64{8, 0x20, 0x80, 0x6A, 0x10}

// soon is how long after its question an answer at an unknown identifier is looked for by offset: P2 of ISO 14229-2 is
// 50 ms, so of the many questions of a search only the newest are meant.
const soon = 60 * time.Millisecond

// open is the thread with an open question that an answer at a new identifier fits: one at a usual distance, or the
// one that was asked last; 0 for none.
func (t *Talk) open(id link.ID, payload []byte) uint16 {
	best, rank, row := uint16(0), len(offsets), uint32(0)
	for i := range t.threads {
		n := uint16(i)
		th := &t.threads[n]
		a := &th.address
		if n == 0 || !a.Answer.IsZero() || a.Functional || a.Request.Extended != id.Extended || !t.isOpen(n, payload) || t.rows.at(th.row).answers > 0 {
			continue
		}
		r := len(offsets)
		if i := slices.Index(offsets, int64(id.Value)-int64(a.Request.Value)); i >= 0 && t.newest-t.frames.at(t.msgs.at(t.rows.at(th.row).first).last).at < int64(soon) {
			r = i
		}
		if r < rank || r == rank && th.row > row {
			best, rank, row = n, r, th.row
		}
	}
	return best
}

// rethink looks again at an identifier that is known. An answer at one whose question was only guessed, or is not known,
// may fit the open question of a module whose answers were not seen before. So may an answer that arrives where a search
// has asked in vain before.
func (t *Talk) rethink(p place, id uint32, data []byte, out bool) place {
	th := &t.threads[p.thread]
	if out || !p.asks && !th.guessed && !th.address.Request.IsZero() {
		return p
	}
	payload := opening(data)
	if len(payload) == 0 || payload[0]&0x40 == 0 || !p.asks && t.isOpen(p.thread, payload) {
		return p
	}
	n := t.open(linkID(id), payload)
	if n == 0 {
		return p
	}
	if all := t.asked[width(id)]; all != 0 && t.threads[all].row > t.threads[n].row && t.isOpen(all, payload) {
		return p // all were asked after that
	}
	a := t.threads[n].address
	a.Answer = linkID(id)
	t.learn(a)
	t.threads[n].guessed = true
	return place{n, false}
}

// opening is what a single or first frame without an address byte carries of its message; nil for other frames.
func opening(data []byte) []byte {
	if len(data) < 2 || data[0]>>4 > 1 || data[0]>>4 == 0 && (data[0] == 0 || int(data[0]) > len(data)-1) {
		return nil
	}
	return carried(data, 0)
}

func (t *Talk) isOpen(n uint16, payload []byte) bool {
	row := t.threads[n].row
	return row != 0 && t.rows.has(row) && row >= t.settled && t.belongs(row, payload)
}
