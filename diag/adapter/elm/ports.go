package elm

import (
	"cmp"
	"path"
	"slices"
	"strings"

	"readback/diag/adapter"
)

// port is a serial port of this computer.
type port struct {
	name    string
	usb     bool
	product string // what the USB device says of itself, when it says anything
	ids     string // its USB vendor and product, as in 1A86:7523
}

// Ranks of a row; the likeliest has the lowest.
const (
	rankUSB       = 10
	rankRadio     = 20 // a paired radio adapter's port
	rankUnknown   = 50 // a name alone
	rankOnBoard   = 90 // built into the computer: hardly ever an adapter
	onBoardPrefix = "ttyS"
)

// rows are the ports as rows of a list, the likeliest first.
func rows(ports []port) []adapter.Found {
	found := make([]adapter.Found, 0, len(ports))
	for _, p := range ports {
		found = append(found, p.row())
	}
	slices.SortStableFunc(found, func(a, b adapter.Found) int {
		return cmp.Or(cmp.Compare(a.Rank, b.Rank), cmp.Compare(a.Place, b.Place))
	})
	return found
}

func (p port) row() adapter.Found {
	f := adapter.Found{Place: adapter.Place(SchemeSerial + ":" + p.name), Ready: true}
	short := path.Base(p.name)
	switch {
	case p.usb && p.product != "":
		f.Name, f.Rank = "USB serial adapter "+p.product, rankUSB
	case p.usb || strings.HasPrefix(short, "ttyUSB") || strings.HasPrefix(short, "ttyACM") || strings.Contains(short, "usb"):
		f.Name, f.Rank = "USB serial adapter", rankUSB
	case strings.HasPrefix(short, "rfcomm") || strings.HasPrefix(short, "cu."):
		f.Name, f.Rank = "Serial port of a paired device", rankRadio
	case strings.HasPrefix(short, onBoardPrefix):
		f.Name, f.Rank = "Serial port of this computer", rankOnBoard
	default:
		f.Name, f.Rank = "Serial port", rankUnknown
	}
	f.Note = p.name
	if p.ids != "" {
		f.Note += ", USB " + p.ids
	}
	return f
}
