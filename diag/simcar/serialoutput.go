package simcar

import (
	"context"
	"io"
	"sync"
	"time"
)

// output is the sending half of the serial line, with the buffer in front of it.
type output struct {
	w       io.Writer
	perByte time.Duration // 0: the line is as fast as its reader
	room    int

	mu   sync.Mutex
	held []byte
	err  error
	more chan struct{}
}

func newOutput(w io.Writer, o SerialOptions) *output {
	out := &output{w: w, room: o.Buffer, more: make(chan struct{}, 1)}
	if out.room <= 0 {
		out.room = defaultBuffer
	}
	if o.BitRate > 0 {
		out.perByte = 10 * time.Second / time.Duration(o.BitRate) // a start bit, 8 bits, a stop bit
	}
	return out
}

// put takes text whether there is room or not.
func (o *output) put(s string) {
	if o.perByte == 0 {
		_, err := io.WriteString(o.w, s)
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
	full := o.perByte > 0 && len(o.held)+len(s) > o.room
	o.mu.Unlock()
	if full {
		return false
	}
	o.put(s)
	return true
}

// pass lets the time go by that n bytes take on the line; it reports whether the context lasted as long.
func (o *output) pass(ctx context.Context, n int) bool {
	if o.perByte == 0 || n <= 0 {
		return ctx.Err() == nil
	}
	timer := time.NewTimer(time.Duration(n) * o.perByte)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
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
	if o.perByte == 0 {
		return
	}
	for {
		o.mu.Lock()
		piece := append([]byte(nil), o.held[:min(chunk, len(o.held))]...)
		o.mu.Unlock()
		if len(piece) == 0 {
			select {
			case <-ctx.Done():
				return
			case <-o.more:
			}
			continue
		}
		if !o.pass(ctx, len(piece)) {
			return
		}
		if _, err := o.w.Write(piece); err != nil {
			o.fail(err)
			return
		}
		o.mu.Lock()
		o.held = o.held[len(piece):]
		o.mu.Unlock()
	}
}
