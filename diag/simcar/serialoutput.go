package simcar

import (
	"context"
	"io"
	"sync"
	"time"
)

// output is the sending half of the serial line, with the buffer in front of it.
type output struct {
	w     io.Writer
	timed bool // false: the line is as fast as its reader
	room  int
	piece int           // bytes that leave at a time
	pause time.Duration // between pieces
	host  func() int    // the other end's speed; nil: always ours

	mu     sync.Mutex
	rate   int  // bit/s
	spoilt bool // nothing that is sent can be read
	held   []byte
	err    error
	more   chan struct{}
	empty  chan struct{} // told when nothing is held any more
}

func newOutput(w io.Writer, o SerialOptions) *output {
	out := &output{w: w, timed: o.BitRate > 0, rate: o.BitRate, room: o.Buffer, piece: chunk, host: o.Host,
		more: make(chan struct{}, 1), empty: make(chan struct{}, 1)}
	if out.room <= 0 {
		out.room = defaultBuffer
	}
	return out
}

// paced takes over how a scenario's adapter breaks up what it sends.
func (o *output) paced(a *AdapterSpec) {
	if a.Pieces > 0 {
		o.piece = a.Pieces
	}
	o.pause = time.Duration(a.Pause) * time.Millisecond
}

func (o *output) speed() int {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.rate
}

func (o *output) setSpeed(bitsPerSecond int) {
	o.mu.Lock()
	o.rate = bitsPerSecond
	o.mu.Unlock()
}

func (o *output) setSpoilt(spoilt bool) {
	o.mu.Lock()
	o.spoilt = spoilt
	o.mu.Unlock()
}

// wrongSpeed tells that the two ends of the line do not have the same speed.
func (o *output) wrongSpeed() bool {
	if o.host == nil || !o.timed {
		return false
	}
	ours, theirs := o.speed(), o.host()
	return theirs > 0 && max(ours-theirs, theirs-ours)*100 > 3*ours
}

// onWire are bytes as the other end reads them.
func (o *output) onWire(b []byte) []byte {
	o.mu.Lock()
	spoilt := o.spoilt
	o.mu.Unlock()
	if spoilt || o.wrongSpeed() {
		for i := range b {
			b[i] ^= spoilsOut
		}
	}
	return b
}

// perByte is how long a byte takes: a start bit, 8 bits, a stop bit.
func (o *output) perByte() time.Duration {
	return 10 * time.Second / time.Duration(o.speed())
}

// drain waits until nothing is held any more; it reports whether the context lasted as long.
func (o *output) drain(ctx context.Context) bool {
	for {
		o.mu.Lock()
		n := len(o.held)
		o.mu.Unlock()
		if n == 0 || !o.timed {
			return ctx.Err() == nil
		}
		select {
		case <-ctx.Done():
			return false
		case <-o.empty:
		}
	}
}

// put takes text whether there is room or not.
func (o *output) put(s string) {
	if !o.timed {
		_, err := o.w.Write(o.onWire([]byte(s)))
		o.fail(err)
		return
	}
	o.mu.Lock()
	o.held = append(o.held, s...)
	o.mu.Unlock()
	select {
	case o.more <- struct{}{}:
	default:
	}
}

// offer takes text if there is room for it.
func (o *output) offer(s string) bool {
	o.mu.Lock()
	full := o.timed && len(o.held)+len(s) > o.room
	o.mu.Unlock()
	if full {
		return false
	}
	o.put(s)
	return true
}

// pass lets the time go by that n bytes take on the line; it reports whether the context lasted as long.
func (o *output) pass(ctx context.Context, n int) bool {
	if !o.timed || n <= 0 {
		return ctx.Err() == nil
	}
	return elapse(ctx, time.Duration(n)*o.perByte())
}

func (o *output) fail(err error) {
	if err != nil {
		o.mu.Lock()
		o.err = err
		o.mu.Unlock()
	}
}

func (o *output) failed() bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.err != nil
}

// chunk is how many bytes leave a slow line at a time.
const chunk = 16

// run sends what is held at the speed of the line.
func (o *output) run(ctx context.Context) {
	if !o.timed {
		return
	}
	for {
		o.mu.Lock()
		piece := append([]byte(nil), o.held[:min(o.piece, len(o.held))]...)
		o.mu.Unlock()
		if len(piece) == 0 {
			select {
			case o.empty <- struct{}{}:
			default:
			}
			select {
			case <-ctx.Done():
				return
			case <-o.more:
			}
			continue
		}
		if !o.pass(ctx, len(piece)) || o.pause > 0 && !elapse(ctx, o.pause) {
			return
		}
		if _, err := o.w.Write(o.onWire(piece)); err != nil {
			o.fail(err)
			return
		}
		o.mu.Lock()
		o.held = o.held[len(piece):]
		o.mu.Unlock()
	}
}
