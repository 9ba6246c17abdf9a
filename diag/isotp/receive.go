package isotp

import (
	"context"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// reception is one sender's message in progress.
type reception struct {
	address link.Address
	r       *Reassembler
	frames  []can.Frame
	due     time.Time // N_Cr runs out, when a message is in progress
	block   int       // consecutive frames until the next flow control
}

// serve reassembles the messages of all senders. It alone owns the receptions.
func (l *Link) serve(ctx context.Context, frames <-chan bus.Received) {
	receptions := map[answerKey]*reception{}
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	for {
		next := nearest(receptions)
		if next.IsZero() {
			timer.Stop()
		} else {
			timer.Reset(time.Until(next))
		}
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
			l.expire(ctx, receptions)
		case f, ok := <-frames:
			if !ok {
				return
			}
			l.frame(ctx, receptions, f)
		}
	}
}

func nearest(receptions map[answerKey]*reception) (t time.Time) {
	for _, x := range receptions {
		if !x.due.IsZero() && (t.IsZero() || x.due.Before(t)) {
			t = x.due
		}
	}
	return t
}

func (l *Link) expire(ctx context.Context, receptions map[answerKey]*reception) {
	now := time.Now()
	for _, x := range receptions {
		if x.due.IsZero() || x.due.After(now) {
			continue
		}
		got, want, _ := x.r.Pending()
		x.r.Drop()
		x.reset()
		l.torn(ctx, x.address, got, want, ErrTimeoutCr)
	}
}

func (x *reception) reset() { x.frames, x.due, x.block = nil, time.Time{}, 0 }

func (l *Link) torn(ctx context.Context, a link.Address, got, want int, cause error) {
	l.deliver(ctx, result{err: &link.TornError{Address: a, Got: got, Want: want, Cause: cause}})
}

func (l *Link) frame(ctx context.Context, receptions map[answerKey]*reception, f bus.Received) {
	a := l.sender(f.Frame)
	k := keyOf(a)
	x := receptions[k]
	if x == nil {
		x = &reception{r: NewReassembler(headed(a), l.o.MaxLength)}
		receptions[k] = x
	}
	x.address = a
	s := x.r.Frame(f.Frame.Data[:f.Frame.Length])
	if s.Cause != nil {
		x.reset()
		l.torn(ctx, a, s.Got, s.Of, s.Cause)
	}
	switch s.Event {
	case Completed:
		m := link.Message{Address: a, Data: s.Message, At: f.At, Frames: append(x.frames, f.Frame)}
		x.reset()
		l.deliver(ctx, result{m: m})
	case Began:
		if a.Request.IsZero() {
			x.r.Drop()
			x.reset()
			l.torn(ctx, a, 0, s.Want, ErrNoPair)
			return
		}
		x.frames = append(x.frames[:0], f.Frame)
		l.await(ctx, x)
	case Continued:
		x.frames = append(x.frames, f.Frame)
		x.due = time.Now().Add(l.o.Timeout)
		if x.block--; x.block == 0 {
			l.await(ctx, x)
		}
	case TooLong:
		x.reset()
		if !a.Request.IsZero() {
			l.flow(ctx, a, FlowControl{Status: Overflow})
		}
		l.torn(ctx, a, 0, s.Want, ErrOverflow)
	case Flow:
		l.mu.Lock()
		t := l.sending[k]
		l.mu.Unlock()
		if t != nil {
			select {
			case t.flow <- s.Control:
			case <-t.ended:
			case <-ctx.Done():
			}
		}
	}
}

// await lets the sender go on with the next block and starts N_Cr.
func (l *Link) await(ctx context.Context, x *reception) {
	x.block = int(l.o.BlockSize)
	if x.block == 0 {
		x.block = -1
	}
	l.flow(ctx, x.address, FlowControl{Status: ContinueToSend, BlockSize: l.o.BlockSize, Separation: l.o.Separation})
	x.due = time.Now().Add(l.o.Timeout)
}

// flow sends a flow control to the request identifier of the answerer. That it can't be sent shows as N_Cr running out.
func (l *Link) flow(ctx context.Context, a link.Address, c FlowControl) {
	ctx, cancel := context.WithTimeout(ctx, l.o.Timeout)
	defer cancel()
	_ = l.bus.Send(ctx, frameTo(a, c.Encode(l.layout(a))))
}
