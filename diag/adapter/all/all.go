// Package all lists the adapter drivers of this program.
package all

import (
	"context"
	"io"

	"readback/diag/adapter"
	"readback/diag/adapter/elm"
	"readback/diag/adapter/practice"
	"readback/diag/adapter/replay"
	"readback/diag/adapter/slcan"
	"readback/diag/adapter/socketcan"
)

// Drivers are all drivers, the practice car first.
func Drivers() []adapter.Driver {
	return []adapter.Driver{practice.WithSerial(practiceSerial), elm.Driver(), slcan.Driver(), socketcan.Driver(), replay.Driver()}
}

// practiceSerial speaks to the serial adapter of a practice car.
func practiceSerial(ctx context.Context, port io.ReadWriteCloser, p adapter.Place, o adapter.Options) (practice.Serial, error) {
	a, err := elm.Open(ctx, port, elm.Options{Place: p, Name: "Practice car, serial adapter", Tap: o.Tap, Rung: o.Tell})
	if err != nil {
		return nil, err
	}
	return a, nil
}
