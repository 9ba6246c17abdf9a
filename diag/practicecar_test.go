package diag_test

import (
	"context"
	"io"
	"net"
	"strings"
	"testing"

	"readback/diag/adapter"
	"readback/diag/adapter/slcan"
	"readback/diag/simcar"
)

// lineSpeed is that of the practice car's serial line, in bit/s; adapters that tell none are taken to have it.
const lineSpeed = 115200

// scenario reads a practice car from a .json file, or an embedded one.
func scenario(t *testing.T, name string) *simcar.Scenario {
	t.Helper()
	read := simcar.Load
	if strings.HasSuffix(name, ".json") {
		read = simcar.LoadFile
	}
	s, err := read(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// lineDriver opens a serial-line CAN adapter on a pipe with a practice car at its other end.
type lineDriver struct {
	adapter.Driver
	t      *testing.T
	device simcar.SLCANOptions
	pull   *func() // set to what pulls the adapter; may be nil
}

func (d lineDriver) Schemes() []string { return []string{slcan.Scheme} }

func (d lineDriver) Open(ctx context.Context, p adapter.Place, _ adapter.Options) (adapter.Connection, error) {
	mine, theirs := net.Pipe()
	pull := lineDevice(d.t, theirs, d.device)
	if d.pull != nil {
		*d.pull = pull
	}
	return slcan.Open(ctx, mine, slcan.Options{Place: p})
}

// lineDevice runs a practice car behind a serial-line CAN adapter until it is pulled or the test ends.
func lineDevice(t *testing.T, rw io.ReadWriteCloser, o simcar.SLCANOptions) (pull func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = simcar.New(scenario(t, "")).ServeSLCAN(ctx, rw, o) // it ends with the port or with the test
	}()
	pull = func() {
		cancel()
		<-done
	}
	t.Cleanup(pull)
	return pull
}
