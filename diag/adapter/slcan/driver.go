package slcan

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strconv"
	"strings"
	"time"

	"readback/diag/adapter"
	"readback/diag/adapter/ports"
)

const dialTime = 5 * time.Second

// speeds of serial lines in bit/s, the likeliest first. An adapter that is a USB device itself takes any; 38400 is that of an ELM-style
// one, which is recognised (common practice).
var speeds = []int{115200, 38400, 1_000_000, 57600, 921600, 230400, 2_000_000, 500000, 9600}

// Driver is the driver of serial-line CAN adapters on a serial port or over TCP.
func Driver() adapter.Driver { return driver{} }

type driver struct{}

func (driver) Schemes() []string { return []string{Scheme} }

// Find lists the serial ports whose USB device is a modem class device: most adapters of this kind are (common practice).
// All the other ports are listed for ELM-style adapters, with the place of this driver as another possibility.
func (driver) Find(ctx context.Context) ([]adapter.Found, error) {
	return ports.Rows(ctx, ports.ModemClass, Scheme, otherScheme)
}

// otherScheme is that of ELM-style adapters on serial ports.
const otherScheme = "serial"

// Probe tells what kind of adapter is at the place of a serial port, by its answer to V (see the package's comment). It
// sends nothing to the car, and changes nothing.
func (driver) Probe(ctx context.Context, p adapter.Place) (adapter.Probed, error) {
	t, err := parsePlace(p)
	if err != nil {
		return adapter.Probed{}, err
	}
	port, o, err := dial(ctx, p, t)
	if err != nil {
		return adapter.Probed{}, err
	}
	s := &setup{b: newBus(port), o: o}
	err = s.greet(ctx)
	if e := s.b.w.drop(); e != nil && (err == nil || errors.Is(err, adapter.ErrOtherKind)) {
		err = e
	}
	other := "tcp:"
	if !t.network {
		other = otherScheme + ":"
	}
	switch {
	case ctx.Err() != nil:
		return adapter.Probed{}, ctx.Err()
	case errors.Is(err, adapter.ErrOtherKind):
		return adapter.Probed{Place: adapter.Place(other + t.port), LineSpeed: s.speed}, nil
	case err != nil:
		return adapter.Probed{}, &adapter.OpenError{Place: p, Step: adapter.StepAdapter, Cause: err}
	}
	return adapter.Probed{Place: p, Version: s.versionText(), LineSpeed: s.speed}, nil
}

// target is a place taken apart.
type target struct {
	port    string // of this computer, or host:port
	network bool
	rate    int // bit/s of the bus; 0: to be found
}

func parsePlace(p adapter.Place) (t target, err error) {
	scheme, rest, err := p.Split()
	switch {
	case err != nil:
		return t, err
	case scheme != Scheme:
		return t, fmt.Errorf("%w: %q", adapter.ErrUnknownPlace, scheme)
	}
	if name, rate, ok := strings.Cut(rest, ","); ok {
		rest = name
		if t.rate, err = strconv.Atoi(rate); err != nil || t.rate <= 0 {
			return t, &adapter.OpenError{Place: p, Step: adapter.StepPort, Cause: fmt.Errorf("%w: %q bit/s", adapter.ErrRate, rate)}
		}
	}
	t.port, t.network = strings.CutPrefix(rest, "tcp:")
	if t.port == "" {
		return t, &adapter.OpenError{Place: p, Step: adapter.StepPort, Cause: fmt.Errorf("%w: it names no port", adapter.ErrUnknownPlace)}
	}
	return t, nil
}

// dial opens the port. Its error is an [*adapter.OpenError].
func dial(ctx context.Context, p adapter.Place, t target) (io.ReadWriteCloser, Options, error) {
	o := Options{Place: p, BitRate: t.rate}
	fail := func(err error) (io.ReadWriteCloser, Options, error) {
		return nil, o, &adapter.OpenError{Place: p, Step: adapter.StepPort, Cause: err}
	}
	if err := ctx.Err(); err != nil {
		return fail(err)
	}
	if t.network {
		o.Name = "Network CAN adapter"
		d := net.Dialer{Timeout: dialTime}
		port, err := d.DialContext(ctx, "tcp", t.port)
		if err != nil {
			return fail(err)
		}
		return port, o, nil
	}
	port, err := ports.Open(t.port, speeds[0])
	if err != nil {
		return fail(err)
	}
	o.Name = "USB CAN adapter"
	o.Speeds, o.SetSpeed = speeds, port.SetSpeed
	return port, o, nil
}

func (driver) Open(ctx context.Context, p adapter.Place, _ adapter.Options) (adapter.Connection, error) {
	t, err := parsePlace(p)
	if err != nil {
		return nil, err
	}
	port, o, err := dial(ctx, p, t)
	if err != nil {
		return nil, err
	}
	c, err := Open(ctx, port, o)
	if err != nil {
		return nil, err
	}
	return c, nil
}
