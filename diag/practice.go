package diag

import (
	"context"
	"fmt"

	"readback/diag/adapter"
	"readback/diag/simcar"
)

// ServePractice lets a practice car answer on a CAN interface until ctx ends, as if it were plugged in there. It is
// the car's end of the wire, not the tester's: the one place beside [Visit.wire] that takes a bare Bus. ready is called
// once the car answers.
func ServePractice(ctx context.Context, drivers []adapter.Driver, place adapter.Place, car *simcar.Car, ready func() error) error {
	conn, err := adapter.Open(ctx, drivers, place, adapter.Options{})
	if err != nil {
		return err
	}
	defer conn.Close()
	frames, ok := conn.(adapter.Frames)
	if !ok {
		return fmt.Errorf("diag: %s carries no frames, so no practice car can live there", place)
	}
	if err := ready(); err != nil {
		return err
	}
	return car.Serve(ctx, frames.Bus())
}
