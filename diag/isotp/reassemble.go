package isotp

import "encoding/binary"

// Event is what one frame meant to a [Reassembler].
type Event byte

const (
	Ignored   Event = iota // nothing: an unexpected or malformed frame, which the standard says to ignore
	Began                  // a first frame: its sender now waits for flow control
	Continued              // a consecutive frame in the middle
	Completed              // the message is whole
	Broke                  // the message in progress is lost
	TooLong                // a first frame announced more than is accepted: its sender waits for "overflow"
	Flow                   // a flow control frame, for the sending side
)

// Step is the outcome of one frame.
type Step struct {
	Event   Event
	Message []byte      // with Completed; the caller owns it
	Want    int         // with Began and TooLong: the length announced
	Control FlowControl // with Flow
	Filling []byte      // with Completed: what stands behind the payload in its last frame
	Cause   error       // why a message in progress was lost; it may come with any event
	Got     int         // with Cause: how much of it had arrived, and of how much
	Of      int
}

// Reassembler puts the messages of one sender together. The zero value is not ready; see [NewReassembler]. It holds
// no more than the message in progress, whose memory grows with what has arrived, not with what was announced.
type Reassembler struct {
	head int // address bytes before the control bytes
	max  int
	want int // length of the message in progress, 0 when there is none
	next byte
	buf  []byte
	room []byte // for the next short messages
}

// roomSize is how much memory is taken at a time for messages of one frame. One of them that is kept keeps so much.
const roomSize = 448

// short is memory for a message of one frame.
func (r *Reassembler) short(n int) []byte {
	if len(r.room) < n {
		r.room = make([]byte, roomSize)
	}
	m := r.room[:n:n]
	r.room = r.room[n:]
	return m
}

// NewReassembler makes a Reassembler for a sender with or without an address byte, which accepts messages of up to
// max bytes.
func NewReassembler(extended bool, max int) *Reassembler {
	return &Reassembler{head: Layout{Extended: extended}.head(), max: max}
}

// Pending tells how much of a message in progress has arrived.
func (r *Reassembler) Pending() (got, want int, ok bool) { return len(r.buf), r.want, r.want > 0 }

// Drop forgets a message in progress.
func (r *Reassembler) Drop() { r.want, r.buf = 0, nil }

// broke reports a message in progress as lost, if there is one.
func (r *Reassembler) broke(s Step, cause error) Step {
	if r.want > 0 {
		s.Cause, s.Got, s.Of = cause, len(r.buf), r.want
		r.Drop()
	}
	return s
}

// Frame takes the data field of the next frame, without its address byte's value being looked at. What comes when it
// was not expected is treated after clause 9.8.3: a new message ends the one in progress, a consecutive frame without
// one is ignored, as are frames of unknown kind.
func (r *Reassembler) Frame(data []byte) Step {
	if len(data) <= r.head || len(data) > frameSize {
		return Step{}
	}
	if c, ok := ParseFlowControl(data, r.head > 0); ok {
		return Step{Event: Flow, Control: c}
	}
	data = data[r.head:]
	switch data[0] >> 4 {
	case pciSingle:
		return r.single(data)
	case pciFirst:
		return r.first(data)
	case pciConsecutive:
		return r.consecutive(data)
	}
	return Step{}
}

// single: clause 9.6.2. A length of zero, or one that does not fit, is ignored.
func (r *Reassembler) single(data []byte) Step {
	n := int(data[0] & 0xF)
	if n == 0 || n > len(data)-1 {
		return Step{}
	}
	message := r.short(n)
	copy(message, data[1:])
	return r.broke(Step{Event: Completed, Message: message, Filling: data[1+n:]}, ErrUnexpected)
}

// first: clause 9.6.3. A length that would fit into a single frame, or an escaped length that would not have needed
// the escape, is ignored.
func (r *Reassembler) first(data []byte) Step {
	if len(data) < frameSize-r.head {
		return Step{}
	}
	n := int(data[0]&0xF)<<8 | int(data[1])
	body := data[2:]
	switch {
	case n == 0:
		long := binary.BigEndian.Uint32(data[2:])
		if long <= shortLength {
			return Step{}
		}
		if uint64(long) > uint64(r.max) {
			return r.broke(Step{Event: TooLong, Want: int(min(uint64(long), 1<<31-1))}, ErrUnexpected)
		}
		n, body = int(long), data[6:]
	case n <= frameSize-1-r.head:
		return Step{}
	case n > r.max:
		return r.broke(Step{Event: TooLong, Want: n}, ErrUnexpected)
	}
	s := r.broke(Step{Event: Began, Want: n}, ErrUnexpected)
	r.want, r.next = n, 1
	r.buf = append(make([]byte, 0, min(n, 4096)), body...)
	return s
}

// consecutive: clause 9.6.4. Without a message in progress it is ignored.
func (r *Reassembler) consecutive(data []byte) Step {
	if r.want == 0 {
		return Step{}
	}
	if data[0]&0xF != r.next {
		return r.broke(Step{Event: Broke}, ErrWrongSequence)
	}
	body := data[1:] // what is missing, and perhaps filling
	var filling []byte
	if missing := r.want - len(r.buf); len(body) > missing {
		body, filling = body[:missing], body[missing:]
	} else if len(body) < missing && len(body) < frameSize-1-r.head {
		return Step{} // a short frame in the middle: the next sequence number will tell
	}
	r.buf = append(r.buf, body...)
	r.next = (r.next + 1) & 0xF
	if len(r.buf) < r.want {
		return Step{Event: Continued}
	}
	m := r.buf
	r.Drop()
	return Step{Event: Completed, Message: m, Filling: filling}
}
