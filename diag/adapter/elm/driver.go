package elm

import (
	"context"
	"fmt"
	"net"
	"path"
	"strings"
	"time"

	"readback/diag/adapter"
	"readback/diag/adapter/ports"
)

// Schemes of the places: "serial:/dev/ttyUSB0", "serial:COM3", "tcp:192.168.0.10:35000".
const (
	SchemeSerial = "serial"
	SchemeTCP    = "tcp"
)

// speeds of serial lines in bit/s, the likeliest first: 38400 is the data sheet's (p. 7), the others are common practice.
var speeds = []int{38400, 115200, 9600, 500000, 57600, 230400}

// faster are the speeds that a line is raised to. All are among speeds, so that an adapter that was left at one of them
// is found again.
var faster = []int{500000, 230400, 115200}

const (
	dialTime = 5 * time.Second
	// defaultPort is where network adapters listen (common practice).
	defaultPort = "35000"
)

// Driver is the driver of ELM-style adapters on a serial port or over TCP.
func Driver() adapter.Driver { return driver{} }

type driver struct{}

func (driver) Schemes() []string { return []string{SchemeSerial, SchemeTCP} }

// Find lists the serial ports but those that are USB modem class devices, which adapters of frames usually are: their rows
// name this driver's place beside the other. Network adapters can't be found: they don't announce themselves.
func (driver) Find(ctx context.Context) ([]adapter.Found, error) {
	return ports.Rows(ctx, ports.AnyOther, SchemeSerial, "slcan")
}

func (driver) Open(ctx context.Context, p adapter.Place, o adapter.Options) (adapter.Connection, error) {
	scheme, rest, err := p.Split()
	if err != nil {
		return nil, err
	}
	opt := Options{Place: p, Tap: o.Tap, Rung: o.Tell}
	var a *Adapter
	switch {
	case rest == "":
		return nil, &adapter.OpenError{Place: p, Step: adapter.StepPort, Cause: fmt.Errorf("%w: it names no port", adapter.ErrUnknownPlace)}
	case scheme == SchemeSerial:
		a, err = openSerial(ctx, rest, opt)
	case scheme == SchemeTCP:
		a, err = openTCP(ctx, rest, opt)
	default:
		return nil, fmt.Errorf("%w: %q", adapter.ErrUnknownPlace, scheme)
	}
	if err != nil {
		return nil, err
	}
	return a, nil
}

func openSerial(ctx context.Context, name string, o Options) (*Adapter, error) {
	if err := ctx.Err(); err != nil {
		return nil, &adapter.OpenError{Place: o.Place, Step: adapter.StepPort, Cause: err}
	}
	port, err := ports.Open(name, speeds[0])
	if err != nil {
		teller{o}.failed(adapter.StepPort, err)
		return nil, &adapter.OpenError{Place: o.Place, Step: adapter.StepPort, Cause: err}
	}
	o.Name = "USB serial adapter"
	o.Speeds = speeds
	o.SetSpeed = port.SetSpeed
	if !radio(name) {
		o.Faster = faster
	}
	return Open(ctx, port, o)
}

// radio: the port's name says that a radio link is behind it, whose own line has one speed.
func radio(name string) bool {
	short := path.Base(name)
	return strings.HasPrefix(short, "rfcomm") || strings.HasPrefix(short, "cu.") && !strings.Contains(short, "usb")
}

func openTCP(ctx context.Context, host string, o Options) (*Adapter, error) {
	if _, _, err := net.SplitHostPort(host); err != nil && !strings.Contains(host, ":") {
		host = net.JoinHostPort(host, defaultPort)
	}
	d := net.Dialer{Timeout: dialTime}
	port, err := d.DialContext(ctx, "tcp", host)
	if err != nil {
		teller{o}.failed(adapter.StepPort, err)
		return nil, &adapter.OpenError{Place: o.Place, Step: adapter.StepPort, Cause: err}
	}
	o.Name = "Network adapter"
	return Open(ctx, port, o)
}
