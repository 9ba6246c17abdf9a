// Package socketcan carries frames over the CAN interfaces of Linux (raw CAN sockets, Documentation/networking/can.rst
// of the kernel). On other systems it finds nothing and opens nothing.
//
// The kernel takes a frame for an interface that is bus-off or listens only and drops it without an error; a socket whose
// interface has been removed says so once and is then silent for ever; and a full receive buffer drops frames without a
// word. So [Bus] asks the controller's state before each frame, looks after its interface while it waits, and asks the
// kernel to count what it drops.
package socketcan

import (
	"readback/diag/adapter"
)

// Scheme of the places: "can:can0".
const Scheme = "can"

// Driver is the driver of CAN interfaces.
func Driver() adapter.Driver { return driver{} }

type driver struct{}

func (driver) Schemes() []string { return []string{Scheme} }

// The errors of an interface.
var (
	ErrUnsupported = adapter.ErrNoSockets
	ErrNoInterface = adapter.ErrNoInterface
	ErrNotCAN      = adapter.ErrNotCAN
	ErrDown        = adapter.ErrDown
)
