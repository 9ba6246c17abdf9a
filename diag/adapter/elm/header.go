package elm

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"readback/diag/link"
)

// headerBus is one of the adapter's protocols whose messages begin with header bytes: three, and on ISO 14230 a fourth
// where the length does not fit into the first.
type headerBus struct {
	name    string
	all     [3]byte // header of a request to all modules (data sheet, AT SH)
	one     byte    // first header byte of a request to one module; 0: there is no such request
	counted bool    // ISO 14230-2: the first header byte tells how many bytes follow the header
	crc     bool    // SAE J1850: the last byte is a CRC, not a sum
	starts  string  // the command that opens the conversation with the module of the header; "": none is needed
	keeps   bool    // the adapter sends a message every 3 s so that the line stays open (data sheet, AT SW)
}

// headerBuses are protocols 1 to 5. The first bytes to one module on SAE J1850 are common practice, one for each form.
var headerBuses = [...]headerBus{
	{name: "SAE J1850 PWM", all: [3]byte{0x61, 0x6A, 0xF1}, one: 0xC4, crc: true},
	{name: "SAE J1850 VPW", all: [3]byte{0x68, 0x6A, 0xF1}, one: 0x6C, crc: true},
	{name: "ISO 9141-2", all: [3]byte{0x68, 0x6A, 0xF1}, starts: "ATSI", keeps: true},
	{name: "ISO 14230-4 (slow start)", all: [3]byte{0xC2, 0x33, 0xF1}, one: 0x82, counted: true, starts: "ATSI", keeps: true},
	{name: "ISO 14230-4 (fast start)", all: [3]byte{0xC2, 0x33, 0xF1}, one: 0x82, counted: true, starts: "ATFI", keeps: true},
}

// head is the header of a request. The adapter puts the length in by itself where the first byte has it.
func (b *headerBus) head(functional bool, target byte) [3]byte {
	if functional {
		return b.all
	}
	return [3]byte{b.one, target, link.Tester}
}

const (
	toTesters   = 0x6B // target of an answer on ISO 9141-2 and SAE J1850
	shortHeader = 3
	longHeader  = 4
	mostData    = 7 // bytes of a message on ISO 9141-2 and SAE J1850, and what the adapter takes in a line
)

var (
	errNotMessage = errors.New("elm: the line is no message with header bytes")
	errForeign    = errors.New("elm: the message is not for a tester")
)

// heard is one message from a bus with header bytes.
type heard struct {
	source byte
	data   []byte
}

// parse reads a line with header bytes, with or without spaces. sums tells that the adapter shows the last byte, the
// checksum, as the data sheet has it with H1; some copies leave it out. On ISO 14230 the length tells that.
func (b *headerBus) parse(line string, sums bool) (heard, error) {
	s := squeeze(withoutStart(line))
	raw, err := hex.DecodeString(s)
	if err != nil || len(raw) <= shortHeader {
		return heard{}, notMessage(line, "it is not made of bytes, or too short")
	}
	h := heard{source: raw[2], data: raw[shortHeader:]}
	if b.counted {
		n := int(raw[0] & 0x3F)
		if raw[0]&0x80 == 0 {
			return heard{}, notMessage(line, "its header has no addresses")
		}
		if n == 0 {
			n, h.data = int(raw[shortHeader]), raw[longHeader:]
		}
		switch len(h.data) {
		case n:
			sums = false
		case n + 1:
			sums = true
		default:
			return heard{}, notMessage(line, fmt.Sprintf("it announces %d bytes", n))
		}
	}
	if sums {
		last := len(raw) - 1
		if raw[last] != b.sum(raw[:last]) {
			return heard{}, notMessage(line, "its checksum does not fit")
		}
		h.data = h.data[:len(h.data)-1]
	}
	if len(h.data) == 0 || !b.counted && len(h.data) > mostData {
		return heard{}, notMessage(line, fmt.Sprintf("it has %d bytes of data", len(h.data)))
	}
	if to := raw[1]; to != link.Tester && (b.counted || to != toTesters) {
		return heard{}, fmt.Errorf("%w but for %02X", errForeign, to)
	}
	return h, nil
}

// recognise reports the answer to 01 00, which has six bytes, and whether its checksum is shown.
func (b *headerBus) recognise(line string) (known, sums bool) {
	for _, sums := range []bool{true, false} {
		if h, err := b.parse(line, sums); err == nil && len(h.data) == 6 && h.data[0] == 0x41 && h.data[1] == 0x00 {
			return true, sums
		}
	}
	return false, false
}

// sum is the checksum of a message: the sum of its bytes (ISO 9141-2, ISO 14230-2), or CRC-8 with the polynomial 1D,
// begun with FF and inverted (SAE J1850).
func (b *headerBus) sum(raw []byte) byte {
	if !b.crc {
		var sum byte
		for _, x := range raw {
			sum += x
		}
		return sum
	}
	crc := byte(0xFF)
	for _, x := range raw {
		crc ^= x
		for range 8 {
			high := crc & 0x80
			crc <<= 1
			if high != 0 {
				crc ^= 0x1D
			}
		}
	}
	return ^crc
}

func notMessage(line, why string) error {
	return fmt.Errorf("%w: %s: %q", errNotMessage, why, clip(line))
}

// withoutStart is what stands behind SEARCHING... and BUS INIT: ...OK on the same line.
func withoutStart(line string) string {
	line = withoutSearch(line)
	rest, ok := strings.CutPrefix(strings.TrimLeft(line, " "), "BUS INIT:")
	if !ok {
		return line
	}
	if rest, ok := strings.CutPrefix(strings.TrimLeft(rest, ". "), "OK"); ok {
		return rest
	}
	return line
}

// infoSizes are the bytes of one item of the information types of service 09 (SAE J1979).
var infoSizes = map[byte]int{0x02: 17, 0x04: 16, 0x06: 4, 0x08: 2, 0x0A: 20, 0x0B: 2, 0x0D: 17}

// several reports the answers that come as several messages of one module: lists of codes, test results, and vehicle
// information.
func several(answer byte) bool {
	switch answer {
	case 0x43, 0x46, 0x47, 0x49, 0x4A:
		return true
	}
	return false
}

var errNumbers = errors.New("elm: the numbers of the messages have a gap")

// joined puts the messages of one module together, see [readback/diag/link.AtHeader].
func joined(parts [][]byte) ([]byte, error) {
	switch first := parts[0]; {
	case first[0] == 0x49 && len(first) > 3:
		return joinedInfo(parts)
	case first[0] == 0x46 && len(first) > 1:
		out := append([]byte{}, first...)
		for _, p := range parts[1:] {
			if len(p) < 2 || p[1] != first[1] {
				return nil, errNumbers
			}
			out = append(out, p[2:]...)
		}
		return out, nil
	default:
		out := append([]byte{}, first...)
		for _, p := range parts[1:] {
			out = append(out, p[1:]...)
		}
		return out, nil
	}
}

// joinedInfo puts the messages of service 09 in the order of their numbers, from 1 on without a gap, and the number of
// items before their data. What fills a message up stands in front (data sheet p. 42).
func joinedInfo(parts [][]byte) ([]byte, error) {
	kind := parts[0][1]
	bodies := make([][]byte, len(parts))
	for _, p := range parts {
		if len(p) <= 3 || p[1] != kind || p[2] == 0 || int(p[2]) > len(parts) || bodies[p[2]-1] != nil {
			return nil, errNumbers
		}
		bodies[p[2]-1] = p[3:]
	}
	var data []byte
	for _, b := range bodies {
		data = append(data, b...)
	}
	out := []byte{0x49, kind}
	if kind%0x20 == 0 { // which types there are: no items
		return append(out, data...), nil
	}
	size, known := infoSizes[kind]
	if !known {
		return append(append(out, byte(len(parts))), data...), nil
	}
	for len(data)%size != 0 && data[0] == 0 {
		data = data[1:]
	}
	if len(data) == 0 || len(data)%size != 0 {
		return nil, fmt.Errorf("elm: items of information type %02X have %d bytes; there are %d", kind, size, len(data))
	}
	return append(append(out, byte(len(data)/size)), data...), nil
}
