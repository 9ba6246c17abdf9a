package ports

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"testing"

	"readback/diag/adapter"
)

func TestRows(t *testing.T) {
	found := rows([]Port{
		{Name: "/dev/ttyS0"}, {Name: "COM7"}, {Name: "/dev/rfcomm0"}, {Name: "/dev/ttyUSB1"},
		{Name: "/dev/ttyUSB0", USB: true, Product: "Serial bridge", IDs: "1A86:7523"},
		{Name: "/dev/ttyACM0", USB: true, Product: "Frames", IDs: "16D0:117E"},
	}, "serial", "slcan")
	want := []adapter.Found{
		{Place: "serial:/dev/ttyACM0", Name: "USB adapter Frames", Note: "/dev/ttyACM0, USB 16D0:117E", Ready: true, Rank: rankUSB},
		{Place: "serial:/dev/ttyUSB0", Name: "USB serial adapter Serial bridge", Note: "/dev/ttyUSB0, USB 1A86:7523", Ready: true, Rank: rankUSB},
		{Place: "serial:/dev/ttyUSB1", Name: "USB serial adapter", Note: "/dev/ttyUSB1", Ready: true, Rank: rankUSB},
		{Place: "serial:/dev/rfcomm0", Name: "Serial port of a paired device", Note: "/dev/rfcomm0", Ready: true, Rank: rankRadio},
		{Place: "serial:COM7", Name: "Serial port", Note: "COM7", Ready: true, Rank: rankUnknown},
		{Place: "serial:/dev/ttyS0", Name: "Serial port of this computer", Note: "/dev/ttyS0", Ready: true, Rank: rankOnBoard},
	}
	for i := range want {
		_, rest, err := want[i].Place.Split()
		if err != nil {
			t.Fatal(err)
		}
		want[i].Also = []adapter.Place{adapter.Place("slcan:" + rest)}
	}
	if fmt.Sprint(found) != fmt.Sprint(want) {
		t.Errorf("got  %+v\nwant %+v", found, want)
	}
}

// Which driver lists a port: a USB modem class device by its name on Linux and macOS (common practice), all else the other.
func TestClass(t *testing.T) {
	for name, want := range map[string]Class{
		"/dev/ttyACM3": ModemClass, "/dev/cu.usbmodem1101": ModemClass,
		"/dev/ttyUSB0": AnyOther, "/dev/cu.usbserial-10": AnyOther, "COM3": AnyOther, "/dev/ttyS0": AnyOther,
	} {
		if got := (Port{Name: name}).class(); got != want {
			t.Errorf("%s: %v, want %v", name, got, want)
		}
	}
	if !skipped(Port{Name: "/dev/tty.usbmodem1101"}) || skipped(Port{Name: "/dev/ttyACM0"}) {
		t.Error("the twins of macOS")
	}
}

func TestOpenNothingThere(t *testing.T) {
	_, err := Open(filepath.Join(t.TempDir(), "none"), 115200)
	if !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%v", err)
	}
}
