// Package socketcan carries frames over the CAN interfaces of Linux (raw CAN sockets, Documentation/networking/can.rst
// of the kernel). On other systems it finds nothing and opens nothing.
//
// The kernel takes a frame for an interface that is bus-off or listens only and drops it without an error; a socket whose
// interface has been removed says so once and is then silent for ever; and a full receive buffer drops frames without a
// word. So [Bus] asks the controller's state before each frame, looks after its interface while it waits, and asks the
// kernel to count what it drops.
package socketcan

import (
	"errors"

	"readback/diag/adapter"
)

// Scheme of the places: "can:can0".
const Scheme = "can"

// Driver is the driver of CAN interfaces.
func Driver() adapter.Driver { return driver{} }

type driver struct{}

func (driver) Schemes() []string { return []string{Scheme} }

var (
	// ErrUnsupported means that this system, or this kernel, has no CAN sockets.
	ErrUnsupported = errors.New("socketcan: this system has no CAN sockets")
	// ErrNoInterface means that there is no interface of that name.
	ErrNoInterface = errors.New("socketcan: no such interface")
	// ErrNotCAN means that the interface is of another kind, such as Ethernet.
	ErrNotCAN = errors.New("socketcan: not a CAN interface")
	// ErrDown means that the interface has not been brought up.
	ErrDown = errors.New("socketcan: the interface is down")
)
