// Package adapter is what every adapter driver looks like: it finds what is plugged in and opens it.
//
//	[Place] -> [Driver] -> [Connection]: [Frames] (a bus.Bus) or [Messages] (a link.Link)
//
// What an adapter can do is data, [Abilities]; what only some can do is an interface of one method that is asked for:
// [Listener] hears a bus without taking part, [Prober] tells what answers at a place, [Supply] and [SupplyWatch] measure the
// 12 V supply, [Recoverer] restarts a controller. Opening tells its steps as [Rung]s through [Options]; where it fails, an
// [OpenError] names the step. An adapter never sends anything by itself, and never twice.
package adapter

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"readback/diag/bus"
	"readback/diag/link"
)

// Place is an adapter's address as text: "serial:/dev/ttyUSB0", "serial:COM3", "tcp:192.168.0.10:35000",
// "can:can0", "slcan:/dev/ttyACM0", "practice:". The part before the first colon names the scheme.
type Place string

// Split parts a Place into its scheme and the rest.
func (p Place) Split() (scheme, rest string, err error) {
	scheme, rest, ok := strings.Cut(string(p), ":")
	if !ok || scheme == "" {
		return "", "", fmt.Errorf("%w: %q names no kind, as serial:/dev/ttyUSB0 or practice: do", ErrUnknownPlace, string(p))
	}
	return scheme, rest, nil
}

// Found is an adapter that might be used, as one row of a list.
type Found struct {
	Place Place   `json:"place"`
	Also  []Place `json:"also,omitempty"` // other places of the same device: which one is right, only asking it tells
	Name  string  `json:"name"`           // in words: "USB serial adapter", "CAN interface can0"
	Note  string  `json:"note"`           // what is known of it, or why it can't be used now
	Fix   string  `json:"fix,omitempty"`  // the command that makes it ready, as typed into a terminal
	Ready bool    `json:"ready"`
	Rank  int     `json:"-"` // the likeliest has the lowest
}

// Driver is one kind of adapter.
type Driver interface {
	Schemes() []string                         // the schemes of its places
	Find(ctx context.Context) ([]Found, error) // what is plugged in now
	Open(ctx context.Context, p Place, o Options) (Connection, error)
}

// Options are the same for every driver.
type Options struct {
	// Tap, when not nil, is told of every frame that an adapter of messages sends and receives. An adapter of
	// frames leaves it alone: its Bus is wrapped instead.
	Tap bus.Tap
	// Tell, when not nil, is told the steps of the link test while the adapter is opened, on the goroutine of Open. Drivers
	// that have nothing to tell leave it alone.
	Tell func(Rung)
}

// Connection is an open adapter. It is also a [Frames] or a [Messages], never both.
type Connection interface {
	Abilities() Abilities
	Close() error
}

// Frames is a Connection that carries raw CAN frames.
type Frames interface {
	Connection
	Bus() bus.Bus
}

// Messages is a Connection that carries whole messages, because the adapter does the transport itself.
type Messages interface {
	Connection
	Link() link.Link
}

// Supply is offered by a Connection that can measure the car's 12 V supply.
type Supply interface {
	// SupplyVolts is the voltage at pin 16 in volts as the adapter measures it; it may be off by 0.5 V.
	SupplyVolts(ctx context.Context) (float64, error)
}

// SupplyWatch is offered by a [Supply] that measures by itself while nothing else is said, at most every 5 s.
type SupplyWatch interface {
	Supply
	// SupplyReadings are the newest readings, the oldest first.
	SupplyReadings() []SupplyReading
	// SetSupplyOffset sets the volts that are added to what the adapter shows, from now on and to the readings kept.
	SetSupplyOffset(volts float64)
}

// SupplyReading is the supply at one moment, in volts, with the offset added.
type SupplyReading struct {
	At    time.Time `json:"at"`
	Volts float64   `json:"volts"`
}

// Abilities are what this adapter can do, as data.
type Abilities struct {
	Name      string   // for people: "Practice car", "USB serial adapter"
	Practice  bool     // not a real car: everything is marked PRACTICE
	Recording bool     // plays a recording; Practice is set, too
	Raw       bool     // carries raw frames
	Parallel  int      // how many requests may be in the air at once
	Exact     bool     // a frame can be sent exactly as shown
	Wide      bool     // 29-bit identifiers
	Supply    bool     // measures the supply
	Listens   bool     // can listen without taking part
	BitRate   int      // bit/s, 0 when not known
	Protocol  string   // "11-bit, 500 kbit/s"
	Version   string   // what the adapter says of itself
	Limits    []string // what can't be done with it, one sentence each
	LineSpeed int      // bit/s of the serial line, 0 when there is none
	Grade     Grade    // in words; empty where it was not tried
	ReadOnly  string   // why no change may be sent through it, a sentence; empty: it may
}

// Recoverer is offered by a [Frames] whose controller stays off the bus once it has left it.
type Recoverer interface {
	// Recover is the command that brings it back, as typed into a terminal.
	Recover() string
}

var (
	// ErrUnknownPlace is returned for a scheme that no driver has.
	ErrUnknownPlace = errors.New("adapter: no driver for this kind of place")
	// ErrOtherKind means that an adapter answers at the place, but one for another driver (see Found.Also).
	ErrOtherKind = errors.New("adapter: another kind of adapter answers there")
	// ErrRate means that the adapter can't be set to a bit rate.
	ErrRate = errors.New("adapter: it does not have this bit rate")
)

// ErrTaken is wrapped where another program has the port.
var ErrTaken = errors.New("adapter: another program has the port")

// ErrNotSerial means that what is there is no serial port.
var ErrNotSerial = errors.New("adapter: it is no serial port")

// The errors of a CAN interface of the operating system.
var (
	// ErrNoSockets means that this system, or this kernel, has no CAN sockets.
	ErrNoSockets = errors.New("adapter: this system has no CAN sockets")
	// ErrNoInterface means that there is no interface of that name.
	ErrNoInterface = errors.New("adapter: no such interface")
	// ErrNotCAN means that the interface is of another kind, such as Ethernet.
	ErrNotCAN = errors.New("adapter: not a CAN interface")
	// ErrDown means that the interface has not been brought up.
	ErrDown = errors.New("adapter: the interface is down")
)

// DownError is [ErrDown] with the command that brings the interface up.
type DownError struct {
	Name, Command string
}

func (e *DownError) Error() string {
	return fmt.Sprintf("%v: %s; this brings it up: %s", ErrDown, e.Name, e.Command)
}

func (e *DownError) Unwrap() error { return ErrDown }

// ErrNoSupply is wrapped where no bus was found and the adapter sees no battery at pin 16.
var ErrNoSupply = errors.New("adapter: no supply at pin 16")

// ErrUnfit is wrapped by the error of opening an adapter that answers and can't be used.
var ErrUnfit = errors.New("adapter: it can't be used")

// OpenError tells at which step opening failed; the step is the rung of the link test.
type OpenError struct {
	Place Place
	Step  Step
	Cause error
}

// Step is a rung of opening an adapter.
type Step string

const (
	StepPort    Step = "port"    // the port or socket opens
	StepAdapter Step = "adapter" // the adapter answers
	StepBus     Step = "bus"     // the car's bus is alive
)

func (e *OpenError) Error() string {
	return fmt.Sprintf("adapter: opening %s: %s: %v", e.Place, e.Step, e.Cause)
}

func (e *OpenError) Unwrap() error { return e.Cause }

// Open finds the driver of a place among drivers and opens it.
func Open(ctx context.Context, drivers []Driver, p Place, o Options) (Connection, error) {
	scheme, _, err := p.Split()
	if err != nil {
		return nil, err
	}
	for _, d := range drivers {
		for _, s := range d.Schemes() {
			if s == scheme {
				return d.Open(ctx, p, o)
			}
		}
	}
	return nil, fmt.Errorf("%w: %q", ErrUnknownPlace, scheme)
}
