package isotp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// layout is how requests to a are laid out.
func (l *Link) layout(a link.Address) Layout {
	return Layout{Extended: a.Headed(), Address: a.Target, Pad: l.Pad(a), Short: l.o.Short}
}

// frameTo puts a data field on the request identifier of a.
func frameTo(a link.Address, data []byte) can.Frame {
	f := can.Frame{ID: a.Request.Value, IsExtended: a.Request.Extended, Length: uint8(len(data))}
	copy(f.Data[:], data)
	return f
}

// Send sends one message and returns when its last frame has been handed to the bus. Requests to different addresses
// do not wait for each other; requests to one address take turns.
//
// A functional request must fit into a single frame, since nobody could answer it with one flow control; a longer
// physical one needs a known Answer, whose flow control it obeys. Else the error is [link.ErrTooLong]. A long message that
// the module did not let finish is a [*link.TornError] with what went wrong as its cause. When ctx ends in the middle of a
// long message, the module is left with an unfinished one, which its own timer ends.
func (l *Link) Send(ctx context.Context, m link.Message) error {
	if err := l.reason(); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	frames, err := l.lay(m)
	if err != nil {
		return err
	}
	l.Pair(m.Address)
	turn, err := l.turn(ctx, turnKey{request: requestKeyOf(m.Address)})
	if err != nil {
		return err
	}
	defer func() { <-turn }()
	if len(frames) == 1 {
		return l.put(ctx, frameTo(m.Address, frames[0]))
	}
	long, err := l.turn(ctx, turnKey{answer: answerKeyOf(m.Address)}) // two of them could not tell whose flow control it is
	if err != nil {
		return err
	}
	defer func() { <-long }()
	return l.segmented(ctx, m.Address, frames, len(m.Data))
}

// lay turns a message into the data fields of its frames.
func (l *Link) lay(m link.Message) ([][]byte, error) {
	a, layout := m.Address, l.layout(m.Address)
	if a.Request.IsZero() {
		return nil, fmt.Errorf("isotp: a message of %d bytes to no request identifier", len(m.Data))
	}
	if m.Exact != nil {
		payload, ok := SinglePayload(m.Exact, layout.Extended)
		if !ok || !bytes.Equal(payload, m.Data) || layout.Extended && m.Exact[0] != a.Target {
			return nil, fmt.Errorf("%w: % X is not a single frame with the payload % X", link.ErrNotExact, m.Exact, m.Data)
		}
		return [][]byte{m.Exact}, nil
	}
	if n := len(m.Data); n > layout.SingleLength() {
		switch {
		case a.Functional:
			return nil, fmt.Errorf("%w: %d bytes to all modules at once; a single frame carries %d", link.ErrTooLong, n, layout.SingleLength())
		case a.Answer.IsZero():
			return nil, fmt.Errorf("%w: %d bytes, and the answer identifier of %s is not known", link.ErrTooLong, n, a.Request)
		}
	}
	return Segment(m.Data, layout)
}

// turn waits until nobody else sends to k, so that no request breaks into a longer one. It is over when something is taken
// from the channel. The end of the Link ends the others' turns, and so this wait.
func (l *Link) turn(ctx context.Context, k turnKey) (chan struct{}, error) {
	l.mu.Lock()
	turn := l.turns[k]
	if turn == nil {
		turn = make(chan struct{}, 1)
		l.turns[k] = turn
	}
	l.mu.Unlock()
	select {
	case turn <- struct{}{}:
		return turn, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// put hands one frame of a message to the bus within N_As.
func (l *Link) put(ctx context.Context, f can.Frame) error { return l.hand(ctx, f, ErrTimeoutAs) }

// hand hands one frame to the bus; late is the error when the bus takes too long.
func (l *Link) hand(ctx context.Context, f can.Frame, late error) error {
	within := &within{Context: ctx, until: time.Now().Add(l.o.Timeout)}
	defer within.release()
	err := l.bus.Send(within, f)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, bus.ErrClosed):
		return link.ErrClosed
	case errors.Is(err, bus.ErrGone):
		return fmt.Errorf("%w: %w", link.ErrGone, err)
	case ctx.Err() != nil:
		return ctx.Err()
	case within.Err() != nil:
		return fmt.Errorf("isotp: sending to %s: %w", link.IDOf(f), late)
	}
	return fmt.Errorf("isotp: sending to %s: %w", link.IDOf(f), err)
}

// transfer is one segmented request on its way: the flow control that has come for it.
type transfer chan FlowControl

// offer hands flow control over without waiting. When there is no room, so many wait frames have come that they end
// the transfer anyway.
func (t transfer) offer(c FlowControl) {
	select {
	case t <- c:
	default:
	}
}

// forget drops what came while no flow control was expected (clause 9.8.3).
func (t transfer) forget() {
	for len(t) > 0 {
		<-t
	}
}

// segmented sends a first frame, and consecutive frames as the receiver's flow control allows.
func (l *Link) segmented(ctx context.Context, a link.Address, frames [][]byte, length int) error {
	k := answerKeyOf(a)
	t := make(transfer, min(l.o.MaxWaits, 1000)+2)
	l.mu.Lock()
	l.sending[k] = t
	l.mu.Unlock()
	defer func() {
		l.mu.Lock()
		delete(l.sending, k)
		l.mu.Unlock()
	}()

	if err := l.put(ctx, frameTo(a, frames[0])); err != nil {
		return err
	}
	per := l.layout(a).SingleLength()
	sent := l.layout(a).firstLength(length)
	for rest := frames[1:]; len(rest) > 0; {
		c, err := l.clear(ctx, t)
		if err != nil {
			return tear(ctx, a, sent, length, err)
		}
		block := len(rest)
		if c.BlockSize > 0 {
			block = min(block, int(c.BlockSize))
		}
		gap := SeparationTime(c.Separation)
		for i, f := range rest[:block] {
			if i > 0 && gap > 0 {
				if err := l.pause(ctx, gap); err != nil {
					return err
				}
			}
			if i == block-1 && block < len(rest) {
				t.forget() // before put, which the answer may outrun
			}
			if err := l.put(ctx, frameTo(a, f)); err != nil {
				return tear(ctx, a, sent, length, err)
			}
			sent += per
		}
		rest = rest[block:]
	}
	return nil
}

// tear is what becomes of a long message that stopped with cause: the end of the Link or of ctx as it is, everything
// else a TornError.
func tear(ctx context.Context, a link.Address, sent, length int, cause error) error {
	if ctx.Err() != nil || errors.Is(cause, link.ErrClosed) || errors.Is(cause, link.ErrGone) {
		return cause
	}
	return &link.TornError{Address: a, Got: sent, Want: length, Cause: cause}
}

// clear waits for "continue to send", through wait frames, each within N_Bs.
func (l *Link) clear(ctx context.Context, t transfer) (FlowControl, error) {
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
		case c := <-t:
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

// pause lets the separation time pass. It ends with the Link, too.
func (l *Link) pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	case <-l.done:
		return l.reason()
	}
}
