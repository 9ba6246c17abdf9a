package gate

import (
	"slices"

	"readback/diag/link"
)

// The tables of this file are the gate's own. They are written apart from those that explain requests, and kept
// small: what is not in them does not pass.

// mayAsk reports an identifier that requests may go to: 700 to 7FF but for the answers 7E8 to 7EF, 18DAttF1 but for
// the tester itself, 18DBttF1 (ISO 15765-4), and those of this car.
func mayAsk(id link.ID, o Options) bool {
	v := id.Value
	if !id.Extended {
		return v >= 0x700 && v <= 0x7FF && (v < 0x7E8 || v > 0x7EF)
	}
	switch v &^ 0xFF00 {
	case 0x18DA00F1:
		return v>>8&0xFF != 0xF1
	case 0x18DB00F1:
		return true
	}
	return slices.Contains(o.Requests, id) && v>>8 != 0x18DAF1
}

// toAll reports an address that reaches every module.
func toAll(a link.Address) bool { return a.Functional || everyone(a.Request) }

func everyone(id link.ID) bool {
	return id == link.ID11(0x7DF) || id.Extended && id.Value&^0xFF00 == 0x18DB00F1
}

// looks reports a request that only looks: it may go out without a permit. The address was checked before.
func looks(a link.Address, p []byte, o Options) bool {
	if len(p) == 0 || len(p) > room(a) {
		return false
	}
	n := len(p)
	switch p[0] {
	case 0x01: // present values, up to six
		return n >= 2
	case 0x02: // kept values: pairs of value and frame
		return n == 3 || n == 5 || n == 7
	case 0x03, 0x07, 0x0A: // codes
		return n == 1
	case 0x05: // oxygen sensor tests
		return n == 3
	case 0x06, 0x09: // test results, vehicle information: one, or several lists of what there is
		return n == 2 || n > 2 && onlyLists(p[1:])
	case 0x10, 0x3E: // back to normal; still here
		return n == 2 && p[1]&0x7F == map[byte]byte{0x10: 1, 0x3E: 0}[p[0]]
	case 0x12: // kept values, older form
		return n >= 3 && n <= 5
	case 0x13:
		return n == 1 || n == 3
	case 0x17:
		return n == 3
	case 0x18:
		return n == 4
	case 0x19:
		return n >= 2 && n == reportLength[p[1]&0x7F]
	case 0x1A:
		return n == 2
	case 0x20:
		return n == 1
	case 0x22:
		return values(p[1:], o)
	case 0x24:
		return n == 3
	}
	return false
}

func onlyLists(b []byte) bool {
	for _, x := range b {
		if x%0x20 != 0 {
			return false
		}
	}
	return true
}

// values: one to three identifiers, each from a list of those that only read.
func values(b []byte, o Options) bool {
	if len(b) == 0 || len(b)%2 != 0 {
		return false
	}
	for ; len(b) > 0; b = b[2:] {
		id := uint16(b[0])<<8 | uint16(b[1])
		plate := id >= 0xF180 && id <= 0xF19F
		parameter := b[0] == 0xF4 || b[0] == 0xF6 || b[0] == 0xF8
		if !plate && !parameter && !slices.Contains(o.Identifiers, id) {
			return false
		}
	}
	return true
}

// reportLength is how long a request of service 19 is for each report type (ISO 14229-1:2020 clause 12.3).
var reportLength = map[byte]int{
	0x01: 3, 0x02: 3, 0x03: 2, 0x04: 6, 0x05: 3, 0x06: 6, 0x07: 4, 0x08: 4, 0x09: 5, 0x0A: 2, 0x0B: 2, 0x0C: 2, 0x0D: 2, 0x0E: 2,
	0x0F: 3, 0x10: 6, 0x11: 3, 0x12: 3, 0x13: 3, 0x14: 2, 0x15: 2, 0x16: 3, 0x17: 4, 0x18: 7, 0x19: 7, 0x1A: 3,
	0x42: 5, 0x55: 3, 0x56: 4,
}

// changes reports the few changes that may get a permit at all: erasing, the workshop mode, a value from no list, and
// undoing what silenced a module or its storing of codes.
func changes(p []byte) bool {
	n := len(p)
	switch p[0] {
	case 0x04:
		return n == 1
	case 0x10:
		return n == 2 && p[1] == 0x03
	case 0x14:
		return n >= 3 && n <= 5
	case 0x21:
		return n == 2
	case 0x22:
		return n == 3 || n == 5 || n == 7
	case 0x28:
		return n == 3 && p[1] == 0x00
	case 0x85:
		return (n == 2 || n == 5) && p[1] == 0x01
	}
	return false
}

// asksSilence reports the bit 0x80 of a sub-function, with which a module does not answer.
func asksSilence(p []byte) bool {
	switch p[0] {
	case 0x10, 0x11, 0x19, 0x27, 0x28, 0x29, 0x2C, 0x31, 0x3E, 0x83, 0x85, 0x86, 0x87:
		return len(p) > 1 && p[1]&0x80 != 0
	}
	return false
}
