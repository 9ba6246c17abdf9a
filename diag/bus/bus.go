// Package bus is the frame seam: what an adapter that carries raw CAN frames must do.
//
// A frame is the value [can.Frame] (ISO 11898-1 classical frame, up to 8 data bytes). Every adapter that
// moves frames implements [Bus]; readback/diag/bus/bustest holds the kit that each of them must pass. What went wrong on the
// bus comes the same way as frames, as a [Fault] in a [Received]; a bus that knows its controller's state is a [Stater].
//
// [Pair] and [Wire] are buses in memory. [FrameBits] is how long a frame is on the wire, and [Budget] keeps a share of it.
package bus

import (
	"context"
	"errors"
	"time"

	"go.einride.tech/can"
)

// Bus sends and receives CAN frames on one channel.
//
// Send returns once the frame is handed to the adapter; it does not mean that anybody acknowledged it.
// Receive returns the next event in the order the adapter saw it, and must be called from one goroutine
// at a time; Send may be called from any number. Both return ctx.Err() when the context ends first,
// [ErrClosed] after Close, and an error wrapping [ErrGone] once the adapter has vanished. Close may be
// called more than once and unblocks both.
type Bus interface {
	Send(ctx context.Context, f can.Frame) error
	Receive(ctx context.Context) (Received, error)
	Close() error
}

// Received is one event on the bus: a frame, or a report of trouble by the controller.
type Received struct {
	Frame can.Frame // valid when Fault is zero
	At    time.Time // when the adapter or the kernel saw it
	Fault Fault     // zero for an ordinary frame
}

// Fault is a set of troubles that a CAN controller reports (ISO 11898-1 fault confinement).
type Fault uint16

const (
	FaultWarning   Fault = 1 << iota // an error counter passed 96
	FaultPassive                     // an error counter passed 127
	FaultBusOff                      // the transmit error counter passed 255: the controller left the bus
	FaultRestarted                   // the controller joined again
	FaultNoAck                       // nobody acknowledged a frame
	FaultProtocol                    // a frame broke the bit rules: often a wrong bit rate
	FaultOverrun                     // frames were lost between controller and program
	FaultDown                        // the interface was taken down
)

var (
	// ErrClosed is returned by every method after Close.
	ErrClosed = errors.New("bus: closed")
	// ErrGone means that the adapter itself has vanished (unplugged, connection lost, interface removed).
	ErrGone = errors.New("bus: the adapter has gone")
	// ErrOff means that the controller is bus-off, or listens only: a frame handed to it now would vanish.
	ErrOff = errors.New("bus: the controller does not take part")
)

// State is the controller's state after ISO 11898-1 fault confinement.
type State uint8

const (
	StateUnknown State = iota
	StateActive
	StateWarning
	StatePassive
	StateOff
	StateStopped
)

func (s State) String() string {
	switch s {
	case StateActive:
		return "error active"
	case StateWarning:
		return "error warning"
	case StatePassive:
		return "error passive"
	case StateOff:
		return "bus off"
	case StateStopped:
		return "stopped"
	}
	return "unknown"
}

// Stater is offered by a Bus that can tell the state of its controller.
type Stater interface {
	State(ctx context.Context) (State, error)
}

// Direction tells whether a frame left this computer or arrived.
type Direction uint8

const (
	Out Direction = iota // from this computer to the car
	In                   // from the car to this computer
)

// Tap is told of frames as they pass. It must return at once and must not keep the Bus waiting.
type Tap interface {
	Frame(d Direction, f can.Frame, at time.Time)
}
