//go:build linux || windows || (darwin && cgo)

package ports

import "go.bug.st/serial/enumerator"

// list asks the system for serial ports and their USB devices, without talking to those.
func list() ([]Port, error) {
	details, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, err
	}
	ports := make([]Port, 0, len(details))
	for _, d := range details {
		p := Port{Name: d.Name, USB: d.IsUSB, Product: d.Product}
		if d.IsUSB && d.VID != "" {
			p.IDs = d.VID + ":" + d.PID
		}
		ports = append(ports, p)
	}
	return ports, nil
}
