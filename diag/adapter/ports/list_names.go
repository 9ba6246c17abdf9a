//go:build !(linux || windows || (darwin && cgo))

package ports

import "go.bug.st/serial"

// list knows names alone: the library's list of USB devices needs a C compiler here.
func list() ([]Port, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, err
	}
	ports := make([]Port, 0, len(names))
	for _, n := range names {
		ports = append(ports, Port{Name: n})
	}
	return ports, nil
}
