package practice

import (
	"context"

	"readback/diag/bus"

	"go.einride.tech/can"
)

// misset is the place on the bus of an adapter with another bit rate. To it every frame breaks the bit rules, and what it
// sends is no frame to anybody.
type misset struct{ bus.Bus }

func (m misset) Send(ctx context.Context, f can.Frame) error {
	if err := f.Validate(); err != nil {
		return err
	}
	return ctx.Err()
}

func (m misset) Receive(ctx context.Context) (bus.Received, error) {
	r, err := m.Bus.Receive(ctx)
	if err == nil && r.Fault == 0 {
		r = bus.Received{At: r.At, Fault: bus.FaultProtocol}
	}
	return r, err
}
