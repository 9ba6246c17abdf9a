//go:build linux || windows || (darwin && cgo)

package ports

import (
	"slices"
	"testing"

	"go.bug.st/serial/enumerator"
)

// TestJoined: ports of which the library knows no device keep their names (its documentation calls all of this best
// effort; what it leaves out was seen on Linux).
func TestJoined(t *testing.T) {
	got := joined([]*enumerator.PortDetails{{Name: "/dev/ttyUSB0", IsUSB: true, VID: "1A86", PID: "7523", Product: "USB Serial"}, {}, {}},
		[]string{"/dev/rfcomm0", "/dev/ttyUSB0", "/dev/ttyS0"})
	want := []Port{{Name: "/dev/ttyUSB0", USB: true, IDs: "1A86:7523", Product: "USB Serial"}, {Name: "/dev/rfcomm0"}, {Name: "/dev/ttyS0"}}
	if !slices.Equal(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
}
