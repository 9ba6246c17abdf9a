//go:build !(linux || windows || (darwin && cgo))

package elm

import "go.bug.st/serial"

// listPorts knows names alone: the library's list of USB devices needs a C compiler here.
func listPorts() ([]port, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, err
	}
	ports := make([]port, 0, len(names))
	for _, n := range names {
		ports = append(ports, port{name: n})
	}
	return ports, nil
}
