package talk

import (
	"strconv"
	"time"

	"readback/diag/explain"
	"readback/diag/link"
)

// Outcome is what has become of a question.
type Outcome string

const (
	Answered  Outcome = "answered"
	Refused   Outcome = "refused"
	Waiting   Outcome = "waiting"    // an answer may still come
	Silent    Outcome = "no answer"  // none came in time
	NotWanted Outcome = "not wanted" // the question asked for no answer, and none came
	Torn      Outcome = "torn"       // an answer came incompletely
	Unasked   Outcome = "unasked"    // an answer without a question in this recording
	Trouble   Outcome = "trouble"    // something went wrong on the way; Row.Text says what
)

// Row is what a list shows of an exchange. To make one allocates nothing.
type Row struct {
	Number  uint32 // from 1, for ever the same
	At      time.Time
	Thread  int
	Module  string       // name, "" when not known
	Address link.Address // of the thread
	Outcome Outcome
	Took    time.Duration // from the end of the question to the end of the final answer that began first; 0 without one
	Waits   int           // how often a module asked for time
	Answers int           // final answers, refusals among them
	Frames  int           // all frames, flow control among them
	Refusal byte          // the code of the last refusal; 0 without one
	Asked   explain.Brief // of the question; Text is "" without one
	Said    explain.Brief // of the first final answer; Text is "" without one
	Text    string        // of a trouble
}

// Row is the row at place i, 0 to Len-1, oldest first.
func (t *Talk) Row(i int) Row { return t.row(t.rows.first+uint32(i), t.brief) }

// row makes a row with brief, which tells what a message is.
func (t *Talk) row(n uint32, brief func(uint32) explain.Brief) Row {
	x := t.rows.at(n)
	thread := t.of(x.thread)
	th := &t.threads[thread]
	first := t.msgs.at(x.first)
	r := Row{Number: n, At: when(t.frames.at(first.first).at), Thread: int(thread), Module: th.name, Address: th.address,
		Waits: int(x.waits), Answers: int(x.answers), Refusal: x.refusal}
	if x.trouble {
		r.Outcome, r.Text = Trouble, t.texts[first.first]
		return r
	}
	var asked int64
	cut, said := false, false
	for m := x.first; m != 0; m = t.msgs.at(m).next {
		msg := t.msgs.at(m)
		r.Frames += int(msg.count)
		cut = cut || msg.state == torn
		switch {
		case msg.out:
			r.Asked = brief(m)
			asked = t.frames.at(msg.last).at
		case msg.state == complete && !said && !t.isWait(m):
			said = true
			r.Said = brief(m)
			if asked != 0 {
				r.Took = time.Duration(t.frames.at(msg.last).at - asked)
			}
		}
	}
	if !said && x.first != x.last {
		r.Said = brief(x.last)
	} else if !said && !x.asked {
		r.Said = brief(x.first)
	}
	r.Outcome = t.outcome(n, x, cut)
	return r
}

func when(ns int64) time.Time { return time.Unix(0, ns).UTC() }

func (t *Talk) outcome(n uint32, x *exchange, cut bool) Outcome {
	switch {
	case !x.asked:
		return Unasked
	case x.agreed:
		return Answered
	case x.answers > 0:
		return Refused
	case cut:
		return Torn
	case x.quiet && x.waits == 0:
		return NotWanted
	}
	last, limit := t.frames.at(t.msgs.at(x.last).last).at, int64(patience)
	if x.waits > 0 {
		limit = int64(longPatience)
	}
	if t.ended || n < t.settled || t.threads[x.thread].row != n || t.newest-last > limit {
		return Silent
	}
	return Waiting
}

// isWait reports "understood, still working".
func (t *Talk) isWait(n uint32) bool {
	if t.msgs.at(n).size != 3 {
		return false
	}
	var room [8]byte
	p := t.head(n, room[:0])
	return len(p) == 3 && p[0] == negative && p[2] == pending
}

// brief is the short form of a message.
func (t *Talk) brief(n uint32) explain.Brief {
	m := t.msgs.at(n)
	f := t.frames.at(m.first)
	if f.kind == whole {
		var room [8]byte
		return explain.Summary(t.threads[m.thread].address, t.head(n, room[:0]), t.opt)
	}
	return explain.SummaryFrame(linkID(f.id), f.data[:f.size], t.opt)
}

// Words says what has become of a question, in a few words with the time it took.
func (r Row) Words() string {
	var room [96]byte
	return string(r.AppendWords(room[:0]))
}

// AppendWords appends [Row.Words] to b.
func (r *Row) AppendWords(b []byte) []byte {
	switch r.Outcome {
	case Answered, Refused:
		b = append(b, r.Outcome...)
		if r.Answers > 1 {
			b = append(strconv.AppendInt(append(b, ' '), int64(r.Answers), 10), " times, the first"...)
		}
		b = appendLasting(append(b, " after "...), r.Took)
	case Waiting:
		b = append(b, "no answer yet"...)
	case NotWanted:
		b = append(b, "no answer asked for"...)
	case Torn:
		b = append(b, "the answer came incompletely"...)
	case Unasked:
		b = append(b, "said without a question in this recording"...)
	default:
		b = append(b, r.Outcome...)
	}
	switch {
	case r.Waits == 1:
		b = append(b, "; it asked for time once"...)
	case r.Waits > 1:
		b = append(strconv.AppendInt(append(b, "; it asked for time "...), int64(r.Waits), 10), " times"...)
	}
	return b
}

// Lasting is a time span with a unit that suits it.
func Lasting(d time.Duration) string { return string(appendLasting(nil, d)) }

func appendLasting(b []byte, d time.Duration) []byte {
	switch {
	case d < 100*time.Microsecond:
		return append(strconv.AppendInt(b, d.Microseconds(), 10), " µs"...)
	case d < 10*time.Millisecond:
		return append(strconv.AppendFloat(b, d.Seconds()*1000, 'f', 1, 64), " ms"...)
	case d < time.Second:
		return append(strconv.AppendInt(b, d.Milliseconds(), 10), " ms"...)
	}
	return append(strconv.AppendFloat(b, d.Seconds(), 'f', 1, 64), " s"...)
}

// Exchange is everything of one row.
type Exchange struct {
	Row
	Messages []Message
}

// Message is a question or an answer with the frames that carried it.
type Message struct {
	Address  link.Address
	Module   string
	Question bool
	Begun    time.Time
	Ended    time.Time
	Payload  []byte
	Want     int // bytes announced
	Whole    bool
	Frames   []Frame // none for a message of a bus without CAN frames
}

// Frame is a CAN frame of a conversation.
type Frame struct {
	At   time.Time
	Out  bool // it left this computer
	ID   link.ID
	Data []byte
}

// Exchange is everything of the row at place i.
func (t *Talk) Exchange(i int) Exchange {
	var room room
	return t.exchange(t.rows.first+uint32(i), t.brief, &room)
}

// room is where what exchanges point at stands. What was handed out of it stays good when it grows.
type room struct {
	messages []Message
	frames   []Frame
	bytes    []byte
}

func (t *Talk) exchange(n uint32, brief func(uint32) explain.Brief, o *room) Exchange {
	x := Exchange{Row: t.row(n, brief)}
	if x.Outcome == Trouble {
		return x
	}
	r := t.rows.at(n)
	if o.messages == nil { // for this one alone
		many := 0
		for m := r.first; m != 0; m = t.msgs.at(m).next {
			many++
		}
		o.messages, o.frames, o.bytes = make([]Message, 0, many), make([]Frame, 0, x.Frames), make([]byte, 0, 2*len(frame{}.data)*x.Frames)
	}
	from := len(o.messages)
	for m := r.first; m != 0; m = t.msgs.at(m).next {
		o.messages = append(o.messages, t.whole(m, o))
	}
	x.Messages = o.messages[from:len(o.messages):len(o.messages)]
	return x
}

func (t *Talk) whole(n uint32, o *room) Message {
	msg := t.msgs.at(n)
	th := &t.threads[t.of(msg.thread)]
	from := len(o.bytes)
	o.bytes = t.payload(n, o.bytes)
	m := Message{Address: th.address, Module: th.name, Question: msg.out, Payload: o.bytes[from:len(o.bytes):len(o.bytes)], Want: int(msg.size), Whole: msg.state == complete,
		Begun: when(t.frames.at(msg.first).at), Ended: when(t.frames.at(msg.last).at)}
	first := t.frames.at(msg.first)
	if !msg.out && first.kind == page {
		m.Address.Answer = linkID(first.id) // whoever it was taken for at first
	}
	if first.kind == whole {
		return m // its bytes are all that there is
	}
	begun := len(o.frames)
	for i, left := msg.first, msg.count; left > 0; left-- {
		f := t.frames.at(i)
		from := len(o.bytes)
		o.bytes = append(o.bytes, f.data[:f.size]...)
		o.frames = append(o.frames, Frame{At: when(f.at), Out: f.out, ID: linkID(f.id), Data: o.bytes[from:len(o.bytes):len(o.bytes)]})
		i = f.next
	}
	m.Frames = o.frames[begun:len(o.frames):len(o.frames)]
	return m
}

// Taken is a piece of a conversation that has been taken out of it.
type Taken struct {
	Exchanges []Exchange
	// Bare leaves Asked and Said of the rows empty, for those who say what messages are in other words.
	Bare bool
	room room
}

// takenRows is how many exchanges are taken at once.
const takenRows = 512

// Take moves the oldest rows that can't change any more out of the conversation, which then forgets them: into p, whose
// earlier content is gone. ok is false when there are none.
func (t *Talk) Take(p *Taken) (ok bool) {
	if p.Exchanges == nil {
		p.Exchanges = make([]Exchange, 0, takenRows)
		p.room = room{messages: make([]Message, 0, 2*takenRows), frames: make([]Frame, 0, 4*takenRows), bytes: make([]byte, 0, 64*takenRows)}
	}
	p.Exchanges, p.room = p.Exchanges[:0], room{p.room.messages[:0], p.room.frames[:0], p.room.bytes[:0]}
	brief := t.brief
	if p.Bare {
		brief = func(uint32) explain.Brief { return explain.Brief{} }
	}
	until := min(t.settled, t.rows.first+takenRows)
	for n := t.rows.first; n < until; n++ {
		p.Exchanges = append(p.Exchanges, t.exchange(n, brief, &p.room))
	}
	t.Forget(until)
	return len(p.Exchanges) > 0
}

// Explain explains a message of this conversation in full.
func (t *Talk) Explain(m Message) explain.Explanation {
	return explain.ExplainMessage(m.Address, m.Payload, t.opt)
}

// Thread is one module of a conversation, or all modules at once.
type Thread struct {
	Number  int // from 1; 0 stands for what belongs to none
	Address link.Address
	Module  string
	Rows    int // rows that are kept and that it was asked in; not those in which all were asked
}

// Threads are all that were asked or have answered, in the order in which they were met.
func (t *Talk) Threads() []Thread {
	var out []Thread
	for n, th := range t.threads {
		if n > 0 && th.same == 0 {
			out = append(out, Thread{Number: n, Address: th.address, Module: th.name, Rows: th.rows})
		}
	}
	return out
}
