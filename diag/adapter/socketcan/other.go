//go:build !linux

package socketcan

import (
	"context"

	"readback/diag/adapter"
)

// Find lists nothing: CAN interfaces of the operating system exist on Linux only.
func (driver) Find(ctx context.Context) ([]adapter.Found, error) { return nil, ctx.Err() }

// Listen hears nothing.
func (driver) Listen(_ context.Context, p adapter.Place, _ adapter.ListenOptions) (adapter.Heard, error) {
	return adapter.Heard{}, &adapter.OpenError{Place: p, Step: adapter.StepPort, Cause: ErrUnsupported}
}

func (driver) Open(_ context.Context, p adapter.Place, _ adapter.Options) (adapter.Connection, error) {
	return nil, &adapter.OpenError{Place: p, Step: adapter.StepPort, Cause: ErrUnsupported}
}
