//go:build linux || windows || (darwin && cgo)

package ports

import (
	"slices"

	"go.bug.st/serial"
	"go.bug.st/serial/enumerator"
)

// list asks the system for serial ports and their USB devices, without talking to those.
func list() ([]Port, error) {
	details, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, err
	}
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, err
	}
	return joined(details, names), nil
}

// joined are the ports with what is known of their devices. The library gives those without a device, such as the port of
// a radio adapter that is not connected, no name; their names come from its plain list.
func joined(details []*enumerator.PortDetails, names []string) []Port {
	ports := make([]Port, 0, len(details))
	for _, d := range details {
		if d.Name == "" {
			continue
		}
		p := Port{Name: d.Name, USB: d.IsUSB, Product: d.Product}
		if d.IsUSB && d.VID != "" {
			p.IDs = d.VID + ":" + d.PID
		}
		ports = append(ports, p)
	}
	for _, n := range names {
		if !slices.ContainsFunc(ports, func(p Port) bool { return p.Name == n }) {
			ports = append(ports, Port{Name: n})
		}
	}
	return ports
}
