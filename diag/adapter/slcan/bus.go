package slcan

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
)

const (
	// depth is how many events wait for a receiver that does not fetch them; then the newest are dropped, and told.
	depth = 1 << 14
	// watchEvery is how often the adapter's status flags are read.
	watchEvery = 500 * time.Millisecond
)

// Bus is the bus behind a serial-line CAN adapter. It is a [bus.Bus] and a [bus.Stater].
type Bus struct {
	w       *wire
	closing atomic.Bool
	some    chan struct{} // holds a token while something may be waiting
	watch   sync.WaitGroup
	stop    context.CancelFunc // ends the watch

	mu         sync.Mutex
	queue      []bus.Received
	clock      clock
	dropped    bool // events were lost at the end of queue
	state      bus.State
	listenOnly bool
	flags      bool // the adapter has answered F
	noFlags    bool // the adapter does not know F
	silent     bool // the adapter does not answer frames
	broken     int  // reports of frames that broke the bit rules
}

func newBus(port io.ReadWriteCloser) *Bus {
	b := &Bus{some: make(chan struct{}, 1), stop: func() {}}
	b.w = newWire(port, b.line)
	return b
}

// line takes a line that is no answer to a command.
func (b *Bus) line(text string, torn bool) {
	at := time.Now()
	b.mu.Lock()
	defer b.mu.Unlock()
	if torn {
		b.put(bus.Received{At: b.clock.not(at), Fault: bus.FaultOverrun})
		return
	}
	if s, ok := stateReport(text); ok {
		b.enter(s, at)
		return
	}
	if f, ok := errorReport(text); ok {
		b.report(f, at)
		return
	}
	if strings.IndexByte(frameLetters+hexDigits, text[0]) < 0 {
		return // a line of a firmware's own
	}
	lost := false
	for text != "" {
		f, stamp, rest, ok := decode(text)
		if ok && (rest == "" || strings.IndexByte(frameLetters, rest[0]) >= 0) {
			if lost {
				b.put(bus.Received{At: b.clock.not(at), Fault: bus.FaultOverrun})
				lost = false
			}
			b.put(bus.Received{Frame: f, At: b.clock.time(stamp, at)})
			text = rest
			continue
		}
		// Half a line stands before the next frame.
		lost = true
		next := strings.IndexAny(text[1:], frameLetters)
		if next < 0 {
			break
		}
		text = text[1+next:]
	}
	if lost {
		b.put(bus.Received{At: b.clock.not(at), Fault: bus.FaultOverrun})
	}
}

// report tells a fault. It is called with mu held.
func (b *Bus) report(f bus.Fault, at time.Time) {
	if f&(bus.FaultProtocol|bus.FaultNoAck) != 0 {
		b.broken++
	}
	b.put(bus.Received{At: b.clock.not(at), Fault: f})
}

// enter notes a state of the controller and tells a change. It is called with mu held.
func (b *Bus) enter(s bus.State, at time.Time) {
	was := b.state
	b.state = s
	if s == was {
		return
	}
	if f := faultOf(s); f != 0 {
		b.broken++
		b.put(bus.Received{At: b.clock.not(at), Fault: f})
	} else if was == bus.StateOff {
		b.put(bus.Received{At: b.clock.not(at), Fault: bus.FaultRestarted})
	}
}

// put is called with mu held. It never waits: the reading goroutine also brings the answers of commands.
func (b *Bus) put(r bus.Received) {
	if len(b.queue) >= depth {
		b.dropped = true
		return
	}
	if b.dropped {
		b.queue = append(b.queue, bus.Received{At: r.At, Fault: bus.FaultOverrun})
		b.dropped = false
	}
	b.queue = append(b.queue, r)
	select {
	case b.some <- struct{}{}:
	default:
	}
}

// Send writes a frame, once, and waits until the adapter has taken it. An adapter that gives no answer is not waited for
// again. The error wraps [ErrRefused] when the adapter did not take the frame, and [bus.ErrOff] when its controller takes
// no part in the bus, in which case nothing was written.
func (b *Bus) Send(ctx context.Context, f can.Frame) error {
	if err := f.Validate(); err != nil {
		return fmt.Errorf("slcan: sending: %w", err)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if b.closing.Load() {
		return bus.ErrClosed
	}
	if err := b.w.hold(ctx); err != nil {
		return b.told(err)
	}
	defer b.w.release()
	b.mu.Lock()
	off, listens, silent := b.state == bus.StateOff, b.listenOnly, b.silent
	b.mu.Unlock()
	switch {
	case off:
		return fmt.Errorf("%w: it is off the bus", bus.ErrOff)
	case listens:
		return fmt.Errorf("%w: it listens only", bus.ErrOff)
	case silent:
		return b.told(b.w.put(ctx, encode(f)))
	}
	line := encode(f)
	_, err := b.w.ask(ctx, line, 'z')
	switch {
	case errors.Is(err, errQuiet):
		b.mu.Lock()
		b.silent = true
		b.mu.Unlock()
		return nil
	case errors.Is(err, ErrRefused):
		return fmt.Errorf("slcan: sending %s: %w", strings.TrimSuffix(line, "\r"), err)
	}
	return b.told(err)
}

// told puts ErrClosed in the place of what else ends a Bus that is being closed.
func (b *Bus) told(err error) error {
	if err != nil && b.closing.Load() {
		return bus.ErrClosed
	}
	return err
}

// Receive returns the next frame or report. A line that arrived in part, and frames that nobody fetched in time, are
// reported as [bus.FaultOverrun].
func (b *Bus) Receive(ctx context.Context) (bus.Received, error) {
	for {
		switch {
		case ctx.Err() != nil:
			return bus.Received{}, ctx.Err()
		case b.closing.Load():
			return bus.Received{}, bus.ErrClosed
		}
		over := b.w.ended() // asked before the queue is: what came before the end is still handed out
		if r, ok := b.take(); ok {
			return r, nil
		}
		if over != nil {
			return bus.Received{}, b.told(over)
		}
		select {
		case <-b.some:
		case <-ctx.Done():
		case <-b.w.done:
		case <-b.w.gone:
		}
	}
}

func (b *Bus) take() (r bus.Received, ok bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.queue) == 0 {
		return r, false
	}
	r, b.queue = b.queue[0], b.queue[1:]
	return r, true
}

// State asks for the controller's status flags. An adapter that has none tells its state by itself, or never:
// [bus.StateUnknown]. The flags can't tell that a controller has left the bus; a report can.
func (b *Bus) State(ctx context.Context) (bus.State, error) {
	if b.closing.Load() {
		return bus.StateUnknown, bus.ErrClosed
	}
	_, err := b.readFlags(ctx)
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.state, b.told(err)
}

// readFlags reads the status flags and tells what they say. They may be missing, which is no error.
func (b *Bus) readFlags(ctx context.Context) (flags, error) {
	b.mu.Lock()
	none := b.noFlags
	b.mu.Unlock()
	if none {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		return 0, b.w.ended()
	}
	text, err := b.w.command(ctx, "F\r", 'F')
	var value uint32
	known := false
	if err == nil && len(text) == 3 {
		value, known = number(text[1:])
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case err == nil && known:
		f := flags(value)
		b.flags = true
		at := time.Now()
		if b.state != bus.StateOff { // which the flags can't tell
			b.enter(f.state(), at)
		}
		if e := f.events(); e != 0 {
			b.report(e, at)
		}
		return f, nil
	case err == nil, errors.Is(err, ErrRefused), errors.Is(err, errQuiet):
		b.noFlags = !b.flags // one that has answered before was only late
		return 0, nil
	}
	return 0, err
}

// guard reads the flags again and again until the Bus is closed or the adapter does not have any.
func (b *Bus) guard() {
	ctx, cancel := context.WithCancel(context.Background())
	b.stop = cancel
	b.watch.Go(func() {
		t := time.NewTicker(watchEvery)
		defer t.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-b.w.gone:
				return
			case <-t.C:
			}
			if _, err := b.readFlags(ctx); err != nil {
				return
			}
			b.mu.Lock()
			none := b.noFlags
			b.mu.Unlock()
			if none {
				return
			}
		}
	})
}

// Close takes the adapter off the bus and closes the port. It may be called more than once.
func (b *Bus) Close() error {
	b.closing.Store(true)
	b.stop()
	err := b.w.close()
	b.watch.Wait()
	return err
}
