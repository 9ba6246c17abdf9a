package simcar

import (
	"time"

	"readback/diag/link"
)

// Line is the serial line that a car without CAN at its socket has. Messages on it begin with header bytes and end with
// a checksum. The identifiers of a module are then 18DAttF1 and 18DAF1tt: its address tt on the line and the tester's F1
// as ISO 15765-4 writes them.
type Line string

const (
	OnCAN   Line = ""
	PWM     Line = "J1850 PWM"
	VPW     Line = "J1850 VPW"
	ISO9141 Line = "ISO 9141-2"
	KWPSlow Line = "KWP slow"
	KWPFast Line = "KWP fast"
)

// form is how a line works. Headers: ELM327 data sheet, AT SH, and public transcripts; those to one module on SAE J1850
// are common practice.
type form struct {
	protocol byte    // of the serial adapter
	all      [2]byte // header of a request to all modules, without the tester's address
	answer   [2]byte // header of an answer to it, without the module's address
	one      byte    // first header byte to and from one module; 0: there is no such thing
	counted  bool    // the length is in the first header byte, or in a fourth one (ISO 14230-2)
	crc      bool    // SAE J1850
	bits     int     // a byte on the line
	rate     int     // bit/s
	gap      time.Duration
	start    time.Duration // opening a conversation; 0: there is none
}

var forms = map[Line]form{
	PWM:     {protocol: 1, all: [2]byte{0x61, 0x6A}, answer: [2]byte{0x41, 0x6B}, one: 0xC4, crc: true, bits: 8, rate: 41600, gap: 2 * time.Millisecond},
	VPW:     {protocol: 2, all: [2]byte{0x68, 0x6A}, answer: [2]byte{0x48, 0x6B}, one: 0x6C, crc: true, bits: 8, rate: 10400, gap: 2 * time.Millisecond},
	ISO9141: {protocol: 3, all: [2]byte{0x68, 0x6A}, answer: [2]byte{0x48, 0x6B}, bits: 10, rate: 10400, gap: 25 * time.Millisecond, start: 2600 * time.Millisecond},
	KWPSlow: {protocol: 4, all: [2]byte{0xC0, 0x33}, answer: [2]byte{0x80, testerAddress}, one: 0x80, counted: true, bits: 10, rate: 10400, gap: 25 * time.Millisecond, start: 2600 * time.Millisecond},
	KWPFast: {protocol: 5, all: [2]byte{0xC0, 0x33}, answer: [2]byte{0x80, testerAddress}, one: 0x80, counted: true, bits: 10, rate: 10400, gap: 25 * time.Millisecond, start: 150 * time.Millisecond},
}

const (
	testerAddress = 0xF1
	mostOnLine    = 7 // bytes of data in a message on ISO 9141-2 and SAE J1850
	mostInFormat  = 63
	codesOnLine   = 3 // codes in a message (SAE J1979)
	bytesOfInfo   = 4 // bytes of vehicle information in a message (SAE J1979)
)

// takes is how long n bytes need.
func (f form) takes(n int) time.Duration {
	return time.Duration(n*f.bits) * time.Second / time.Duration(f.rate)
}

// message is a whole message of a module: header, data, checksum.
func (f form) message(source byte, functional bool, data []byte) []byte {
	head := []byte{f.answer[0], f.answer[1], source}
	if !functional {
		head = []byte{f.one, testerAddress, source}
	}
	switch {
	case f.counted && len(data) <= mostInFormat:
		head[0] |= byte(len(data))
	case f.counted:
		head = append(head, byte(len(data)))
	}
	m := append(head, data...)
	return append(m, f.sum(m))
}

// sum is the sum of all bytes (ISO 9141-2, ISO 14230-2) or the CRC of SAE J1850.
func (f form) sum(m []byte) byte {
	if f.crc {
		return crcJ1850(m)
	}
	sum := byte(0)
	for _, b := range m {
		sum += b
	}
	return sum
}

// crcJ1850 divides by x^8+x^4+x^3+x^2+1, bit by bit, from all ones, and inverts the rest.
func crcJ1850(m []byte) byte {
	rest := uint(0xFF)
	for _, b := range m {
		for i := 7; i >= 0; i-- {
			top := rest>>7&1 ^ uint(b)>>i&1
			rest = rest << 1 & 0xFF
			if top == 1 {
				rest ^= 0x1D
			}
		}
	}
	return byte(^rest)
}

// address is a module's address on a line.
func (m *module) address() byte { return byte(m.spec.Request.Value >> 8) }

// onLine is one message on the line, complete at a time.
type onLine struct {
	at    time.Time
	bytes []byte
	data  []byte // of bytes
}

// askOnLine carries out a request on the car's line and returns the messages that it brings, in their order.
func (c *Car) askOnLine(target byte, functional bool, req []byte, now time.Time) []onLine {
	f := forms[c.spec.Line]
	free := now.Add(f.takes(len(req) + 4))
	asked := free
	var out []onLine
	for _, m := range c.modules {
		_, obd := obdServices[req[0]]
		switch {
		case functional && !m.spec.Functional, !functional && m.address() != target:
			continue
		case !obd && (m.spec.KWP == nil || !f.counted):
			continue
		case obd && len(req) > 2 && req[0] == 0x01: // one parameter at a time (SAE J1979)
			continue
		}
		for _, r := range c.handle(m, req, functional) {
			for _, data := range f.split(r.data, obd) {
				begin := asked.Add(r.after)
				if earliest := free.Add(f.gap); begin.Before(earliest) {
					begin = earliest
				}
				bytes := f.message(m.address(), functional, data)
				free = begin.Add(f.takes(len(bytes)))
				out = append(out, onLine{free, bytes, data})
			}
		}
	}
	return out
}

// split makes messages for the line of an answer in the form that it has on CAN: three codes a message without their
// number, vehicle information in numbered messages of four bytes, filled up in front (SAE J1979). ISO 9141-2 and SAE
// J1850 know no refusal but to erase: there the first bytes of the request are repeated before the reason (from memory).
func (f form) split(answer []byte, obd bool) [][]byte {
	switch {
	case !obd, len(answer) < 2, len(answer) < 3 && (answer[0] == 0x7F || answer[0] == 0x49): // cut short: as it is
		return [][]byte{answer}
	case answer[0] == 0x7F && f.counted:
		return [][]byte{answer}
	case answer[0] == 0x7F && answer[1] == 0x04:
		return [][]byte{{0x7F, 0x04, 0, 0, 0, 0, answer[2]}}
	case answer[0] == 0x7F:
		return nil
	case answer[0] == 0x43, answer[0] == 0x47, answer[0] == 0x4A:
		return splitCodes(answer)
	case answer[0] == 0x49:
		return splitInfo(answer)
	case !f.counted && len(answer) > mostOnLine:
		return nil
	}
	return [][]byte{answer}
}

func splitCodes(answer []byte) [][]byte {
	codes := answer[2:]
	var out [][]byte
	for len(out) == 0 || len(codes) > 0 {
		n := min(len(codes), 2*codesOnLine)
		m := make([]byte, 1+2*codesOnLine)
		m[0] = answer[0]
		copy(m[1:], codes[:n])
		out, codes = append(out, m), codes[n:]
	}
	return out
}

func splitInfo(answer []byte) [][]byte {
	data := answer[2:]
	if answer[1]%0x20 != 0 {
		data = data[1:] // the number of items
	}
	if short := len(data) % bytesOfInfo; short != 0 {
		data = append(make([]byte, bytesOfInfo-short), data...)
	}
	var out [][]byte
	for n := byte(1); len(data) > 0; n, data = n+1, data[bytesOfInfo:] {
		out = append(out, append([]byte{answer[0], answer[1], n}, data[:bytesOfInfo]...))
	}
	return out
}

// validateLine checks what a car without CAN needs.
func (s *Scenario) validateLine() error {
	if s.Line == OnCAN {
		return nil
	}
	f, known := forms[s.Line]
	switch {
	case !known:
		return wrong("line", "%q is none of J1850 PWM, J1850 VPW, ISO 9141-2, KWP slow and KWP fast", s.Line)
	case len(s.Traffic) > 0:
		return wrong("traffic", "a car without CAN has none")
	}
	for name, m := range s.Modules {
		if m == nil {
			continue // told elsewhere
		}
		at := "modules." + name
		pair, ok := link.DefaultAnswer(m.Request)
		switch {
		case !m.Request.Extended || !ok || pair != m.Answer:
			return wrong(at+".request", "on a serial line the identifiers are 18DAttF1 and 18DAF1tt")
		case m.OBD == nil && !(f.counted && m.KWP != nil):
			return wrong(at, "speaks no service that %s carries", s.Line)
		}
	}
	return nil
}
