package bus

import (
	"context"
	"sync"
	"time"

	"go.einride.tech/can"
)

// pairDepth is how many frames wait for a slow end before the sender does.
const pairDepth = 256

// Pair is a bus of two ends in memory: what one sends the other receives. Closing either end closes both, as pulling
// a cable does. It joins the practice car to a visit, and takes its place in tests.
func Pair() (a, b Bus) {
	left, right := make(chan Received, pairDepth), make(chan Received, pairDepth)
	closed := make(chan struct{})
	shut := sync.OnceFunc(func() { close(closed) })
	return &end{out: left, in: right, closed: closed, shut: shut}, &end{out: right, in: left, closed: closed, shut: shut}
}

type end struct {
	out, in chan Received
	closed  chan struct{}
	shut    func()
}

func (e *end) Send(ctx context.Context, f can.Frame) error {
	if err := f.Validate(); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case <-e.closed:
		return ErrClosed
	default:
	}
	select {
	case <-e.closed:
		return ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	case e.out <- Received{Frame: f, At: time.Now()}:
		return nil
	}
}

func (e *end) Receive(ctx context.Context) (Received, error) {
	select {
	case <-e.closed:
		return Received{}, ErrClosed
	default:
	}
	select {
	case <-e.closed:
		return Received{}, ErrClosed
	case <-ctx.Done():
		return Received{}, ctx.Err()
	case r := <-e.in:
		return r, nil
	}
}

func (e *end) Close() error {
	e.shut()
	return nil
}
