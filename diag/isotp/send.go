package isotp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// transfer is one segmented request on its way.
type transfer struct {
	flow  chan FlowControl
	ended chan struct{}
}

// layout is how requests to a are laid out.
func (l *Link) layout(a link.Address) Layout {
	return Layout{Extended: headed(a), Address: a.Target, Pad: l.o.Pad, Short: l.o.Short}
}

// frameTo puts a data field on the request identifier of a.
func frameTo(a link.Address, data []byte) can.Frame {
	f := can.Frame{ID: a.Request.Value, IsExtended: a.Request.Extended, Length: uint8(len(data))}
	copy(f.Data[:], data)
	return f
}

// Send sends one message and returns when its last frame has been handed to the bus. A functional request must fit
// into a single frame (clause 8.1). Requests to different addresses do not wait for each other.
func (l *Link) Send(ctx context.Context, m link.Message) error {
	if err := l.usable(ctx); err != nil {
		return err
	}
	a := m.Address
	layout := l.layout(a)
	if m.Exact != nil {
		payload, ok := SinglePayload(m.Exact, headed(a))
		if !ok || !bytes.Equal(payload, m.Data) || headed(a) && m.Exact[0] != a.Target {
			return fmt.Errorf("%w: % X is not a single frame with the payload % X", link.ErrNotExact, m.Exact, m.Data)
		}
		l.Pair(a)
		return l.put(ctx, frameTo(a, m.Exact))
	}
	long := len(m.Data) > layout.SingleLength()
	switch {
	case long && a.Functional:
		return fmt.Errorf("%w: %d bytes to all modules at once; a single frame carries %d", link.ErrTooLong, len(m.Data), layout.SingleLength())
	case long && a.Answer.IsZero():
		return fmt.Errorf("%w: %d bytes, and the answer identifier of %s is not known", link.ErrTooLong, len(m.Data), a.Request)
	}
	frames, err := Segment(m.Data, layout)
	if err != nil {
		return err
	}
	l.Pair(a)
	if !long {
		return l.put(ctx, frameTo(a, frames[0]))
	}
	return l.segmented(ctx, a, frames, len(m.Data))
}

func (l *Link) usable(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return link.ErrClosed
	}
	return l.err
}

// put hands one frame to the bus within N_As.
func (l *Link) put(ctx context.Context, f can.Frame) error {
	within, cancel := context.WithTimeout(ctx, l.o.Timeout)
	defer cancel()
	err := l.bus.Send(within, f)
	switch {
	case err == nil:
		return nil
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(err, bus.ErrClosed):
		return link.ErrClosed
	case errors.Is(err, bus.ErrGone):
		return errors.Join(link.ErrGone, err)
	}
	return fmt.Errorf("isotp: sending to %s: %w", link.IDOf(f), err)
}

// segmented sends a first frame, and consecutive frames as the receiver's flow control allows.
func (l *Link) segmented(ctx context.Context, a link.Address, frames [][]byte, length int) error {
	k := keyOf(a)
	turn := l.turn(k)
	turn.Lock()
	defer turn.Unlock()
	t := &transfer{flow: make(chan FlowControl, 1), ended: make(chan struct{})}
	l.mu.Lock()
	l.sending[k] = t
	l.mu.Unlock()
	defer func() {
		l.mu.Lock()
		delete(l.sending, k)
		l.mu.Unlock()
		close(t.ended)
	}()

	sent := 0
	torn := func(cause error) error {
		return &link.TornError{Address: a, Got: min(length, sent), Want: length, Cause: cause}
	}
	if err := l.put(ctx, frameTo(a, frames[0])); err != nil {
		return err
	}
	per := frameSize - 1 - l.layout(a).head()
	sent = per - 1
	rest := frames[1:]
	for len(rest) > 0 {
		c, err := l.clear(ctx, t)
		if err != nil {
			if ctx.Err() != nil || errors.Is(err, link.ErrClosed) {
				return err
			}
			return torn(err)
		}
		block := len(rest)
		if c.BlockSize > 0 {
			block = min(block, int(c.BlockSize))
		}
		gap := SeparationTime(c.Separation)
		for i, f := range rest[:block] {
			if i > 0 && gap > 0 {
				if err := pause(ctx, gap); err != nil {
					return err
				}
			}
			if err := l.put(ctx, frameTo(a, f)); err != nil {
				return err
			}
			sent += per
		}
		rest = rest[block:]
	}
	return nil
}

func (l *Link) turn(k answerKey) *sync.Mutex {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.talking[k] == nil {
		l.talking[k] = &sync.Mutex{}
	}
	return l.talking[k]
}

// clear waits for "continue to send", through wait frames, each within N_Bs.
func (l *Link) clear(ctx context.Context, t *transfer) (FlowControl, error) {
	timer := time.NewTimer(l.o.Timeout)
	defer timer.Stop()
	for waits := 0; ; {
		select {
		case <-ctx.Done():
			return FlowControl{}, ctx.Err()
		case <-l.done:
			return FlowControl{}, l.reason()
		case <-timer.C:
			return FlowControl{}, ErrTimeoutBs
		case c := <-t.flow:
			switch c.Status {
			case ContinueToSend:
				return c, nil
			case Overflow:
				return FlowControl{}, ErrOverflow
			case Wait:
				if waits++; waits > l.o.MaxWaits {
					return FlowControl{}, ErrTooManyWaits
				}
				timer.Reset(l.o.Timeout)
			default:
				return FlowControl{}, ErrInvalidFlow
			}
		}
	}
}

func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
