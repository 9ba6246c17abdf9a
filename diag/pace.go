package diag

import (
	"context"
	"time"

	"go.einride.tech/can"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/pause"
)

const (
	// share is how much of a bus's time a visit may take: a tenth, for requests and answers together.
	share = 0.1
	// assumedBitRate is the bit rate in bit/s of nearly all cars at the socket (ISO 15765-4 has 500 and 250 kbit/s), taken
	// where the adapter doesn't know it.
	assumedBitRate = 500_000
	// early is how much sooner than its turn a request may leave. Timers are late by a millisecond or two; what one frame
	// leaves late the next makes good, so that the share is kept over any 10 ms and not lost on a slow clock.
	early = 3 * time.Millisecond
)

// bitRate is the bit rate of the car's bus in bit/s; assumed where the adapter doesn't know it.
func bitRate(a adapter.Abilities) (rate int, assumed bool) {
	if a.BitRate > 0 {
		return a.BitRate, false
	}
	return assumedBitRate, true
}

// countedBus counts into budget what is sent, and what is heard of answers, by their exact lengths.
type countedBus struct {
	inner  bus.Bus
	budget *bus.Budget
}

func (c *countedBus) Send(ctx context.Context, f can.Frame) error {
	err := c.inner.Send(ctx, f)
	if err == nil {
		c.budget.Count(f, time.Now())
	}
	return err
}

func (c *countedBus) Receive(ctx context.Context) (bus.Received, error) {
	r, err := c.inner.Receive(ctx)
	if err == nil && r.Fault == 0 && link.IDOf(r.Frame).Diagnostic() {
		c.budget.Count(r.Frame, r.At)
	}
	return r, err
}

func (c *countedBus) Close() error { return c.inner.Close() }

// pacedLink holds a request back until the frames before it are paid for. What belongs to an answer, flow control, is
// never held back. It stands above the transport, whose timers must not run while a request waits for its turn.
type pacedLink struct {
	inner  link.Link
	budget *bus.Budget
	turn   chan struct{} // one request leaves at a time
}

func newPacedLink(inner link.Link, b *bus.Budget) *pacedLink {
	return &pacedLink{inner: inner, budget: b, turn: make(chan struct{}, 1)}
}

func (p *pacedLink) Send(ctx context.Context, m link.Message) error {
	select {
	case p.turn <- struct{}{}:
		defer func() { <-p.turn }()
	case <-ctx.Done():
		return ctx.Err()
	}
	for {
		d := p.budget.Delay(time.Now()) - early
		if d <= 0 {
			return p.inner.Send(ctx, m)
		}
		if err := pause.For(ctx, d); err != nil {
			return err
		}
	}
}

func (p *pacedLink) Receive(ctx context.Context) (link.Message, error) { return p.inner.Receive(ctx) }

func (p *pacedLink) Close() error { return p.inner.Close() }
