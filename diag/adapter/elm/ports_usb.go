//go:build linux || windows || (darwin && cgo)

package elm

import "go.bug.st/serial/enumerator"

// listPorts asks the system for serial ports and their USB devices, without talking to those.
func listPorts() ([]port, error) {
	details, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, err
	}
	ports := make([]port, 0, len(details))
	for _, d := range details {
		p := port{name: d.Name, usb: d.IsUSB, product: d.Product}
		if d.IsUSB && d.VID != "" {
			p.ids = d.VID + ":" + d.PID
		}
		ports = append(ports, p)
	}
	return ports, nil
}
