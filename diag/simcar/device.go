package simcar

import (
	"context"
	"io"

	"go.einride.tech/can"

	"readback/diag/bus"
)

// fromBus brings the frames on a bus to a device, until one of them ends.
func fromBus(ctx context.Context, b bus.Bus, to chan<- can.Frame) {
	for {
		r, err := b.Receive(ctx)
		if err != nil {
			return
		}
		if r.Fault != 0 {
			continue
		}
		select {
		case <-ctx.Done():
			return
		case to <- r.Frame:
		}
	}
}

// fromLine brings what is typed to a device that answers by out, as the speeds of both ends let it arrive.
func fromLine(ctx context.Context, r io.Reader, out *output, to chan<- byte) {
	var buf [256]byte
	for {
		n, err := r.Read(buf[:])
		if !out.pass(ctx, n) {
			return
		}
		for _, b := range buf[:n] {
			if out.wrongSpeed() {
				b ^= spoilsIn
			}
			select {
			case <-ctx.Done():
				return
			case to <- b:
			}
		}
		if err != nil {
			return
		}
	}
}
