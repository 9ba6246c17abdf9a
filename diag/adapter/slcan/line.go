package slcan

import (
	"strconv"
	"strings"

	"go.einride.tech/can"

	"readback/diag/bus"
)

// Digits of an identifier.
const (
	narrowDigits = 3
	wideDigits   = 8
	stampDigits  = 4
)

const hexDigits = "0123456789ABCDEF"

// encode writes a frame as the line that sends it.
func encode(f can.Frame) string {
	kind, digits := byte('t'), narrowDigits
	switch {
	case f.IsExtended && f.IsRemote:
		kind, digits = 'R', wideDigits
	case f.IsExtended:
		kind, digits = 'T', wideDigits
	case f.IsRemote:
		kind = 'r'
	}
	line := make([]byte, 0, 1+wideDigits+1+2*can.MaxDataLength+1)
	line = append(line, kind)
	for i := digits - 1; i >= 0; i-- {
		line = append(line, hexDigits[f.ID>>(4*i)&0xF])
	}
	line = append(line, '0'+f.Length)
	if !f.IsRemote {
		for _, b := range f.Data[:f.Length] {
			line = append(line, hexDigits[b>>4], hexDigits[b&0xF])
		}
	}
	return string(append(line, '\r'))
}

// noStamp stands for a frame without a time stamp.
const noStamp = -1

// decode reads the frame at the beginning of a line. rest is what follows it; stamp is in ms, 0 to 65535, or noStamp.
func decode(line string) (f can.Frame, stamp int, rest string, ok bool) {
	if line == "" {
		return f, noStamp, "", false
	}
	digits := narrowDigits
	switch line[0] {
	case 'T', 'R':
		f.IsExtended, digits = true, wideDigits
	case 't', 'r':
	default:
		return f, noStamp, "", false
	}
	f.IsRemote = line[0] == 'r' || line[0] == 'R'
	if len(line) < 1+digits+1 {
		return f, noStamp, "", false
	}
	id, ok := number(line[1 : 1+digits])
	n := line[1+digits] - '0'
	rest = line[1+digits+1:]
	f.ID, f.Length = id, n
	if !ok || n > can.MaxDataLength || f.Validate() != nil {
		return f, noStamp, "", false
	}
	if !f.IsRemote {
		if len(rest) < 2*int(n) {
			return f, noStamp, "", false
		}
		for i := range f.Data[:n] {
			b, ok := number(rest[2*i : 2*i+2])
			if !ok {
				return f, noStamp, "", false
			}
			f.Data[i] = byte(b)
		}
		rest = rest[2*n:]
	}
	stamp = noStamp
	if len(rest) == stampDigits {
		if ms, ok := number(rest); ok {
			return f, int(ms), "", true
		}
	}
	return f, stamp, rest, true
}

// number reads hex digits of either case, and nothing else.
func number(s string) (uint32, bool) {
	if strings.Trim(s, hexDigits+"abcdef") != "" {
		return 0, false
	}
	v, err := strconv.ParseUint(s, 16, 32)
	return uint32(v), err == nil
}

// frameLetters begin a frame. None of them is a hex digit, so that a frame can be found behind half a line.
const frameLetters = "tTrR"

// errorReport reads an error report of the kernel's form: e, how many letters, letters.
func errorReport(line string) (bus.Fault, bool) {
	if len(line) < 2 || line[0] != 'e' || line[1] < '1' || line[1] > '8' || len(line) != 2+int(line[1]-'0') {
		return 0, false
	}
	var f bus.Fault
	for _, c := range line[2:] {
		switch c {
		case 'a':
			f |= bus.FaultNoAck
		case 'b', 'B', 'c', 'f', 's': // bit 0, bit 1, CRC, form, stuff
			f |= bus.FaultProtocol
		case 'o', 'O': // overrun on receiving, on sending
			f |= bus.FaultOverrun
		default:
			return 0, false
		}
	}
	return f, true
}

// stateReport reads a state report of the kernel's form: s, a letter, both error counters in three decimal digits.
func stateReport(line string) (bus.State, bool) {
	if len(line) != 8 || line[0] != 's' || strings.Trim(line[2:], "0123456789") != "" {
		return bus.StateUnknown, false
	}
	switch line[1] {
	case 'a':
		return bus.StateActive, true
	case 'w':
		return bus.StateWarning, true
	case 'p':
		return bus.StatePassive, true
	case 'b':
		return bus.StateOff, true
	}
	return bus.StateUnknown, false
}

// faultOf is what a change to a state is reported as.
func faultOf(s bus.State) bus.Fault {
	switch s {
	case bus.StateWarning:
		return bus.FaultWarning
	case bus.StatePassive:
		return bus.FaultPassive
	case bus.StateOff:
		return bus.FaultBusOff
	}
	return 0
}

// Bits of the answer to F. Bit 4 is not used; bit 6 (arbitration lost) and bit 1 (the queue for sending is full) are no
// faults.
const (
	flagQueueFull = 1 << 0 // for receiving
	flagWarning   = 1 << 2
	flagOverrun   = 1 << 3
	flagPassive   = 1 << 5
	flagBusError  = 1 << 7
)

// flags are the status of a controller as F tells it. It can't tell that the controller is off the bus.
type flags byte

func (f flags) state() bus.State {
	switch {
	case f&flagPassive != 0:
		return bus.StatePassive
	case f&flagWarning != 0:
		return bus.StateWarning
	}
	return bus.StateActive
}

// events are the faults that happened since the flags were read before, because reading clears them.
func (f flags) events() (out bus.Fault) {
	if f&(flagQueueFull|flagOverrun) != 0 {
		out |= bus.FaultOverrun
	}
	if f&flagBusError != 0 {
		out |= bus.FaultProtocol
	}
	return out
}
