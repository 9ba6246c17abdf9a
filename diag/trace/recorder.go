package trace

import (
	"context"
	"slices"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// Level tells what an entry is.
type Level string

const (
	Frame   Level = "frame"   // one CAN frame
	Message Level = "message" // one whole diagnostic message
	Trouble Level = "trouble" // something that went wrong on the way
)

// Entry is one thing that happened on the wire. Its slices belong to the receiver of the entry.
type Entry struct {
	Seq       uint64    // in the order of recording, from 1
	At        time.Time // when it left or arrived
	Direction bus.Direction
	Level     Level
	ID        link.ID      // identifier of a frame; of a message the one it went out on or came in on
	Address   link.Address // of a message
	Data      []byte       // data field of a frame, payload of a message
	Frames    []can.Frame  // the frame itself; the frames of a message where they are known
	Text      string       // words, for a trouble
}

// Limits of a Recorder's memory. A frame takes 40 bytes; a fully loaded bus of 500 kbit/s carries about 4 000 in a second.
const (
	maxFrames   = 100_000
	maxMessages = 20_000   // messages and troubles
	maxPayload  = 16 << 20 // bytes of payload, frames and words in messages and troubles
)

// Recorder keeps the newest frames, messages and troubles. Frames and messages have room of their own, so that a busy
// bus does not push the conversation out. Its methods may be called from several goroutines. It is a bus.Tap.
type Recorder struct {
	now func() time.Time
	say func(error) string

	mu       sync.Mutex
	seq      uint64
	frames   ring[frameRecord]
	messages ring[Entry]
	payload  int // bytes held by messages
	out, in  int
	dropped  int
	wake     chan struct{} // closed at the next entry; nil while nobody waits
}

// frameRecord is a frame as it is kept: no pointers, nothing to collect.
type frameRecord struct {
	seq       uint64
	at        int64 // nanoseconds since 1970
	frame     can.Frame
	direction bus.Direction
}

// NewRecorder makes a Recorder. now tells the time of what has no time of its own.
func NewRecorder(now func() time.Time) *Recorder {
	return &Recorder{now: now, say: error.Error, frames: ring[frameRecord]{limit: maxFrames}, messages: ring[Entry]{limit: maxMessages}}
}

// InWords lets say tell what went wrong, in the texts of troubles from now on; without it they are the texts of the errors.
// It is called before anything is recorded.
func (r *Recorder) InWords(say func(error) string) *Recorder {
	r.say = say
	return r
}

// Frame records one frame; the time is now when at is zero.
func (r *Recorder) Frame(d bus.Direction, f can.Frame, at time.Time) {
	if at.IsZero() {
		at = r.now()
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if d == bus.Out {
		r.out++
	} else {
		r.in++
	}
	r.seq++
	if _, full := r.frames.push(frameRecord{seq: r.seq, at: at.UnixNano(), frame: f, direction: d}); full {
		r.dropped++
	}
	r.signal()
}

// add records a message or a trouble.
func (r *Recorder) add(e Entry) {
	if e.At.IsZero() {
		e.At = r.now()
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.seq++
	e.Seq = r.seq
	r.payload += weight(e)
	if old, full := r.messages.push(e); full {
		r.payload -= weight(old)
		r.dropped++
	}
	for r.payload > maxPayload && r.messages.len() > 1 {
		r.payload -= weight(r.messages.pop())
		r.dropped++
	}
	r.signal()
}

func weight(e Entry) int { return len(e.Data) + 16*len(e.Frames) + len(e.Text) }

func (r *Recorder) signal() {
	if r.wake != nil {
		close(r.wake)
		r.wake = nil
	}
}

// Entries is all that is kept, by time.
func (r *Recorder) Entries() []Entry {
	entries, _ := r.Since(0)
	return entries
}

// Since is all that was recorded after seq and is still kept, by time, and the number of the newest entry, which is the
// seq for the next call. What happened at the same time comes in the order of recording.
func (r *Recorder) Since(seq uint64) ([]Entry, uint64) {
	r.mu.Lock()
	frames := r.frames.after(func(f frameRecord) bool { return f.seq > seq })
	messages := r.messages.after(func(e Entry) bool { return e.Seq > seq })
	newest := r.seq
	r.mu.Unlock()

	entries := make([]Entry, 0, len(frames)+len(messages))
	carried := make([]can.Frame, len(frames)) // one allocation for the frames of all entries
	data := make([]byte, 0, can.MaxDataLength*len(frames))
	for i, f := range frames {
		carried[i] = f.frame
		from := len(data)
		if !f.frame.IsRemote {
			data = append(data, f.frame.Data[:min(f.frame.Length, can.MaxDataLength)]...)
		}
		entries = append(entries, Entry{
			Seq: f.seq, At: time.Unix(0, f.at).UTC(), Direction: f.direction, Level: Frame, ID: link.IDOf(f.frame),
			Data: data[from:len(data):len(data)], Frames: carried[i : i+1 : i+1],
		})
	}
	for _, m := range messages {
		m.Data, m.Frames = slices.Clone(m.Data), slices.Clone(m.Frames)
		entries = append(entries, m)
	}
	slices.SortFunc(entries, func(a, b Entry) int {
		if c := a.At.Compare(b.At); c != 0 {
			return c
		}
		if a.Seq < b.Seq {
			return -1
		}
		return 1
	})
	return entries, newest
}

// Wait returns once something newer than seq has been recorded, or with ctx.Err().
func (r *Recorder) Wait(ctx context.Context, seq uint64) error {
	for {
		r.mu.Lock()
		if r.seq > seq {
			r.mu.Unlock()
			return nil
		}
		if r.wake == nil {
			r.wake = make(chan struct{})
		}
		wake := r.wake
		r.mu.Unlock()
		select {
		case <-wake:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Frames counts the frames that went out and came in since the beginning, those no longer kept included.
func (r *Recorder) Frames() (out, in int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.out, r.in
}

// Dropped counts the entries that are no longer kept.
func (r *Recorder) Dropped() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.dropped
}
