package simcar

import (
	"context"
	"sync"
	"time"

	"readback/diag/bus"

	"go.einride.tech/can"
)

// pair is a bus of two ends in memory, between a serial device and its car.
func pair() (a, b bus.Bus) {
	left, right := make(chan bus.Received, wireDepth), make(chan bus.Received, wireDepth)
	closed := make(chan struct{})
	var once sync.Once
	shut := func() { once.Do(func() { close(closed) }) }
	return &end{out: left, in: right, closed: closed, shut: shut}, &end{out: right, in: left, closed: closed, shut: shut}
}

// wireDepth is how many frames wait for a slow end before the sender does.
const wireDepth = 256

type end struct {
	out, in chan bus.Received
	closed  chan struct{}
	shut    func()
}

func (e *end) Send(ctx context.Context, f can.Frame) error {
	if err := f.Validate(); err != nil {
		return err
	}
	select {
	case <-e.closed:
		return bus.ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	case e.out <- bus.Received{Frame: f, At: time.Now()}:
		return nil
	}
}

func (e *end) Receive(ctx context.Context) (bus.Received, error) {
	select {
	case <-e.closed:
		return bus.Received{}, bus.ErrClosed
	case <-ctx.Done():
		return bus.Received{}, ctx.Err()
	case r := <-e.in:
		return r, nil
	}
}

func (e *end) Close() error {
	e.shut()
	return nil
}
