// Package ports is what drivers of adapters on serial lines share: the list of this computer's serial ports, and opening
// one. Listing talks to no device.
package ports

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"go.bug.st/serial"

	"readback/diag/adapter"
)

// Port is a serial port of this computer.
type Port struct {
	Name    string // as the system calls it: /dev/ttyUSB0, COM3
	USB     bool
	Product string // what the USB device says of itself, when it says anything
	IDs     string // its USB vendor and product, as in 1A86:7523
}

// Ranks of a row; the likeliest has the lowest.
const (
	rankUSB       = 10
	rankRadio     = 20 // a paired radio adapter's port
	rankUnknown   = 50 // a name alone
	rankOnBoard   = 90 // built into the computer: hardly ever an adapter
	onBoardPrefix = "ttyS"
)

// Class tells ports apart by what stands behind them.
type Class bool

const (
	// AnyOther is every port that is not of ModemClass: a bridge chip, a radio link, a port of the computer.
	AnyOther Class = false
	// ModemClass is a USB device that is a serial port itself (USB CDC, abstract control model), as far as its name tells:
	// Linux and macOS name such ports by their class, Windows does not.
	ModemClass Class = true
)

func (p Port) class() Class {
	short := path.Base(p.Name)
	return Class(strings.HasPrefix(short, "ttyACM") || strings.HasPrefix(short, "cu.usbmodem"))
}

// Rows are the ports of a class as rows of a list, the likeliest first, with places of a scheme. other is the scheme of
// another driver that may be right as well: which one, only asking the device tells.
func Rows(ctx context.Context, c Class, scheme, other string) ([]adapter.Found, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	all, err := list()
	if err != nil {
		return nil, fmt.Errorf("ports: listing serial ports: %w", err)
	}
	return rows(slices.DeleteFunc(all, func(p Port) bool { return p.class() != c || skipped(p) }), scheme, other), nil
}

// skipped are the ports of macOS that wait for a carrier: each has a twin that does not.
func skipped(p Port) bool { return strings.HasPrefix(p.Name, "/dev/tty.") }

func rows(ports []Port, scheme, other string) []adapter.Found {
	found := make([]adapter.Found, 0, len(ports))
	for _, p := range ports {
		f := p.row()
		f.Place = adapter.Place(scheme + ":" + p.Name)
		f.Also = []adapter.Place{adapter.Place(other + ":" + p.Name)}
		found = append(found, f)
	}
	slices.SortStableFunc(found, func(a, b adapter.Found) int {
		return cmp.Or(cmp.Compare(a.Rank, b.Rank), cmp.Compare(a.Place, b.Place))
	})
	return found
}

func (p Port) row() adapter.Found {
	f := adapter.Found{Ready: true}
	short := path.Base(p.Name)
	switch {
	case p.class() == ModemClass:
		f.Name, f.Rank = strings.TrimSpace("USB adapter "+p.Product), rankUSB
	case p.USB && p.Product != "":
		f.Name, f.Rank = "USB serial adapter "+p.Product, rankUSB
	case p.USB || strings.HasPrefix(short, "ttyUSB") || strings.Contains(short, "usb"):
		f.Name, f.Rank = "USB serial adapter", rankUSB
	case strings.HasPrefix(short, "rfcomm") || strings.HasPrefix(short, "cu."):
		f.Name, f.Rank = "Serial port of a paired device", rankRadio
	case strings.HasPrefix(short, onBoardPrefix):
		f.Name, f.Rank = "Serial port of this computer", rankOnBoard
	default:
		f.Name, f.Rank = "Serial port", rankUnknown
	}
	f.Note = p.Name
	if p.IDs != "" {
		f.Note += ", USB " + p.IDs
	}
	if refused(p.Name) {
		f.Note += "; you have no right to use it"
		f.Fix, f.Ready = giveRights(p.Name), false
	}
	return f
}

// Line is an open serial port.
type Line struct{ serial.Port }

// Open opens a port at a speed in bit/s, with 8 data bits, no parity and one stop bit. The error wraps [fs.ErrPermission]
// or [fs.ErrNotExist] where one of these is the cause; without the right to open it, it is an [*adapter.RightsError] with
// the command that gives it.
func Open(name string, speed int) (*Line, error) {
	p, err := serial.Open(name, mode(speed))
	if err != nil {
		return nil, cause(name, err)
	}
	return &Line{p}, nil
}

// SetSpeed changes the speed of the line, in bit/s.
func (l *Line) SetSpeed(speed int) error { return l.SetMode(mode(speed)) }

func mode(speed int) *serial.Mode {
	return &serial.Mode{BaudRate: speed, DataBits: 8, Parity: serial.NoParity, StopBits: serial.OneStopBit}
}

// cause puts the library's codes beside the standard library's errors, by which a caller can decide.
func cause(name string, err error) error {
	var p *serial.PortError
	if !errors.As(err, &p) {
		return err
	}
	switch p.Code() {
	case serial.PermissionDenied:
		err = fmt.Errorf("%w: %w", err, fs.ErrPermission)
		if command := giveRights(name); command != "" {
			return &adapter.RightsError{Command: command, Then: "Then log out and in again.", Cause: err}
		}
	case serial.PortBusy:
		err = fmt.Errorf("%w: %w", err, adapter.ErrTaken)
	case serial.InvalidSerialPort:
		err = fmt.Errorf("%w: %w", err, adapter.ErrNotSerial)
	case serial.PortNotFound:
		err = fmt.Errorf("%w: %w", err, fs.ErrNotExist)
	}
	return err
}
