// Package talk puts the frames of a recording or of a running visit together to a conversation: questions with their
// answers, who was asked, how long it took, and what was refused.
//
// A [Talk] takes entries of package trace as they come and keeps each diagnostic frame once, in 32 bytes; messages and
// exchanges are numbers that point at frames, and words are made only for the rows that are looked at. It is pure: no
// clock, nothing sent. It is not safe for use by several goroutines.
//
// Transport frames stand under the message that they carry, and flow control under the message that it is about. Which
// identifier answers which is known from the modules that are given, from the pairs of ISO 15765-4, from messages of
// the trace, and otherwise learnt: from the first answer that fits an open question. In a search, where many modules are
// asked at once, the first answer of one of them may so stand with the same question to another; later ones do not.
package talk

import (
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/explain"
	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/trace"
)

// Limits of a Talk.
const (
	// DefaultLimit is how many diagnostic frames a Talk keeps unless told otherwise: 100 MB at the most.
	DefaultLimit = 1_000_000
	maxThreads   = 4096    // of one Talk; frames of further modules are only counted
	maxMessage   = 1 << 20 // bytes of a message that is put together
	maxText      = 4096    // bytes of the words of a trouble
)

// Times after which an exchange is over.
const (
	// patience is how long an answer is waited for: common practice, twenty times the 50 ms of P2 in ISO 14229-2.
	patience = time.Second
	// longPatience is the same for a module that has asked for time: P2* of ISO 14229-2 is 5 s.
	longPatience = 6 * time.Second
	// settled rows do not change any more, nor do those that many others, or very many frames, have followed.
	settleTime   = 10 * time.Second
	settleRows   = 20_000
	settleFrames = 200_000
)

// Options of a Talk.
type Options struct {
	Explain explain.Options // what is known of the car: its modules have names, and their identifiers belong together
	Limit   int             // diagnostic frames that are kept; 0 stands for DefaultLimit
}

// Talk is a conversation.
type Talk struct {
	opt     explain.Options
	limit   int
	frames  store[frame]
	msgs    store[message]
	rows    store[exchange]
	texts   map[uint32]string // troubles and messages without frames, by the number of their frame
	threads []thread          // number 0 stands for none
	ends    ends
	spread  map[uint32]bool // identifiers that several modules share: an address byte tells them apart
	asked   [2]uint16       // threads of the functional addresses of 11 and of 29 bits
	newest  int64
	settled uint32 // the first row that may still change
	ended   bool
	other   int
	lost    int
}

// frame is one CAN frame; or a message without frames or a trouble, whose bytes or words are in texts.
type frame struct {
	at   int64 // nanoseconds since 1970
	data [8]byte
	id   uint32 // the highest bit marks 29 bits
	next uint32 // the next frame of the same message
	size uint8
	kind kind
	out  bool
}

type kind uint8

const (
	page      kind = iota // single, first or consecutive frame
	flow                  // flow control
	misplaced             // a consecutive frame that came out of order
	whole                 // a message without frames
	words                 // a trouble
)

// message is one question or answer.
type message struct {
	first, last uint32 // frames
	size        uint32 // bytes announced
	next        uint32 // next message of the same exchange
	row         uint32
	count       uint32 // frames
	thread      uint16
	out         bool // from the tester
	state       state
}

type state uint8

const (
	growing state = iota
	complete
	torn
)

// exchange is a question with its answers, an answer without a question, or a trouble.
type exchange struct {
	first, last uint32 // messages
	answers     uint16
	waits       uint16
	thread      uint16
	service     byte
	refusal     byte
	agreed      bool // there is a positive answer
	asked       bool
	trouble     bool
	quiet       bool // no answer was asked for
}

// thread is one module, or all of them at once.
type thread struct {
	address link.Address
	name    string
	rows    int
	row     uint32 // its newest question
	same    uint16 // the thread that this one has turned out to be a part of
	guessed bool   // that its two identifiers belong together
	parts   [2]part
}

// of is the thread that a number stands for.
func (t *Talk) of(n uint16) uint16 {
	for t.threads[n].same != 0 {
		n = t.threads[n].same
	}
	return n
}

// part is the message that a thread's one end is about to complete.
type part struct {
	message uint32
	join    *isotp.Reassembler
}

// end is an identifier, with the address byte of modules that share it.
type end struct {
	id      uint32
	address int16 // -1 when there is none
}

// place is one end of a thread; the zero place is none.
type place struct {
	thread uint16
	asks   bool
}

// ends are the places that are known. Nearly all frames have an identifier of 11 bits that no modules share.
type ends struct {
	narrow [can.MaxID + 1]place
	rest   map[end]place
}

func (e *ends) at(x end) place {
	if x.id <= can.MaxID && x.address < 0 {
		return e.narrow[x.id]
	}
	return e.rest[x]
}

func (e *ends) put(x end, p place) {
	if x.id <= can.MaxID && x.address < 0 {
		e.narrow[x.id] = p
		return
	}
	e.rest[x] = p
}

// New makes an empty Talk.
func New(o Options) *Talk {
	t := &Talk{limit: o.Limit, texts: map[uint32]string{}, threads: make([]thread, 1), ends: ends{rest: map[end]place{}}, spread: map[uint32]bool{}}
	if t.limit <= 0 {
		t.limit = DefaultLimit
	}
	t.frames.init()
	t.msgs.init()
	t.rows.init()
	t.settled = 1
	t.Know(o.Explain)
	return t
}

// Know tells what has been found out about the car since. Rows that are there already get its names, too.
func (t *Talk) Know(o explain.Options) {
	t.opt = o
	for _, m := range o.Modules {
		if m.Address.Request.IsZero() && m.Address.Answer.IsZero() {
			continue
		}
		if n := t.learn(m.Address); n != 0 {
			t.threads[n].name = m.Name
		}
	}
}

// Add takes the next entries, in the order in which they happened. What they hold is copied as far as it is kept.
func (t *Talk) Add(entries []trace.Entry) {
	for i := range entries {
		t.add(&entries[i])
	}
	t.settle()
}

func (t *Talk) add(e *trace.Entry) {
	at := e.At.UnixNano()
	t.newest = max(t.newest, at)
	switch e.Level {
	case trace.Frame:
		for i := range e.Frames {
			t.frame(at, e.Direction == bus.Out, &e.Frames[i])
		}
		if e.Text != "" {
			t.trouble(at, e, 0)
		}
	case trace.Message:
		if e.Address.Mode == link.Header { // no frames on the wire
			t.message(at, e)
		} else if !e.Address.Functional && !e.Address.Request.IsZero() && !e.Address.Answer.IsZero() {
			t.learn(e.Address)
		}
	case trace.Trouble:
		n := uint16(0)
		if !e.Address.Request.IsZero() || !e.Address.Answer.IsZero() {
			n = t.learn(e.Address)
		}
		t.trouble(at, e, n)
	}
	if t.frames.len() > t.limit {
		t.forgetFrames(t.limit / 2)
	}
}

// End says that nothing more comes: what is still open stays unanswered.
func (t *Talk) End() {
	t.ended = true
	t.settled = t.rows.next()
}

// settle moves on over the rows that can't change any more.
func (t *Talk) settle() {
	for t.settled < t.rows.next() {
		r := t.rows.at(t.settled)
		recent := t.newest-t.frames.at(t.msgs.at(r.last).last).at < int64(settleTime)
		if recent && !r.trouble && t.rows.next()-t.settled < settleRows && t.frames.next()-t.msgs.at(r.first).first < settleFrames {
			return
		}
		t.settled++
	}
}

// Settled is the number of the first row that may still change; all rows before it stay as they are.
func (t *Talk) Settled() uint32 { return t.settled }

// Len is the number of rows that are kept. The first of them has the number First.
func (t *Talk) Len() int      { return t.rows.len() }
func (t *Talk) First() uint32 { return t.rows.first }

// Other counts the frames that belong to no conversation: those of the running car, and those that can't be read.
func (t *Talk) Other() int { return t.other }

// Lost counts the rows that are not kept any more.
func (t *Talk) Lost() int { return t.lost }

// Forget drops all rows with a number below n, and what belongs to them alone.
func (t *Talk) Forget(n uint32) {
	n = min(n, t.rows.next())
	if n <= t.rows.first {
		return
	}
	t.lost += int(n - t.rows.first)
	msg, fr := t.msgs.next(), t.frames.next()
	if n < t.rows.next() { // messages and frames are numbered in the order in which their rows were begun
		msg = t.rows.at(n).first
		fr = t.msgs.at(msg).first
	}
	for i := t.rows.first; i < n; i++ {
		t.threads[t.rows.at(i).thread].rows--
	}
	for k := range t.texts {
		if k < fr {
			delete(t.texts, k)
		}
	}
	t.rows.forget(n)
	t.msgs.forget(msg)
	t.frames.forget(fr)
	t.settled = max(t.settled, n)
}

// forgetFrames drops the oldest rows until no more than most frames are kept.
func (t *Talk) forgetFrames(most int) {
	low, high := t.rows.first, t.rows.next()
	for low < high { // the first row whose frames are among the newest
		mid := low + (high-low)/2
		if int(t.frames.next()-t.msgs.at(t.rows.at(mid).first).first) > most {
			low = mid + 1
		} else {
			high = mid
		}
	}
	t.Forget(low)
	if t.frames.len() > t.limit { // one message of very many frames
		t.frames.forget(t.frames.next())
		t.Forget(t.rows.next())
	}
}
