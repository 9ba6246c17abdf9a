package bus

import "go.einride.tech/can"

// tailBits follow the part of a frame that is stuffed (ISO 11898-1): CRC delimiter, acknowledge slot and delimiter,
// 7 bits end of frame, 3 bits intermission.
const tailBits = 1 + 2 + 7 + 3

// FrameBits is how many bit times f takes on the wire: from its start of frame to the end of the intermission after
// it, with the stuff bits that its identifier, data and CRC call for (ISO 11898-1). A classical frame takes 47 to 160
// bits; f has to be valid.
func FrameBits(f can.Frame) int {
	s := stuffer{bits: 1, run: 1} // the start of frame, a 0, which leaves the CRC at 0
	remote := bit(f.IsRemote)
	if f.IsExtended { // identifier, substitute remote request, identifier extension, identifier, remote, two reserved, length
		s.addAll(uint64(f.ID>>18)&0x7FF<<27|0b11<<25|uint64(f.ID)&0x3FFFF<<7|remote<<6|uint64(f.Length)&0xF, 38)
	} else { // identifier, remote, identifier extension, reserved, length
		s.addAll(uint64(f.ID)&0x7FF<<7|remote<<6|uint64(f.Length)&0xF, 18)
	}
	if !f.IsRemote {
		for _, b := range f.Data[:min(f.Length, can.MaxDataLength)] {
			s.whole(b)
		}
	}
	s.addAll(uint64(s.crc), 15)
	return s.bits + tailBits
}

func bit(set bool) uint64 {
	if set {
		return 1
	}
	return 0
}

// crcPolynomial is that of CRC-15, without its highest bit (ISO 11898-1).
const crcPolynomial = 0x4599

// stuffer counts the bits of the stuffed part of a frame and works out its CRC.
type stuffer struct {
	bits int    // with stuff bits
	crc  uint16 // of the bits without them
	last uint64
	run  int // how many bits in a row equal last, stuff bits included
}

// add appends the lowest n bits of v, the highest of them first.
func (s *stuffer) add(v uint64, n int) {
	for i := n - 1; i >= 0; i-- {
		b := v >> i & 1
		top := uint16(b) ^ s.crc>>14
		s.crc = s.crc << 1 & 0x7FFF
		if top != 0 {
			s.crc ^= crcPolynomial
		}
		if s.bits++; b != s.last || s.run == 0 {
			s.last, s.run = b, 1
			continue
		}
		if s.run++; s.run == 5 { // five equal bits: one of the other kind goes in, and begins the next run
			s.bits++
			s.last, s.run = 1-b, 1
		}
	}
}

// addAll is [stuffer.add] for many bits.
func (s *stuffer) addAll(v uint64, n int) {
	s.add(v>>(n&^7), n&7)
	for n &^= 7; n > 0; n -= 8 {
		s.whole(byte(v >> (n - 8)))
	}
}

// whole appends a byte. It is [stuffer.add] for eight bits, from tables.
func (s *stuffer) whole(b byte) {
	s.crc = s.crc<<8&0x7FFF ^ crcTable[byte(s.crc>>7)^b]
	after := &stuffed[s.state()][b]
	s.bits += int(after.bits)
	s.last, s.run = uint64(after.last), int(after.run)
}

// state numbers the value and the length of the run of equal bits that is going on: 0 to 3 for one to four bits of 0, 4 to
// 7 for bits of 1.
func (s *stuffer) state() int { return int(s.last)<<2 | (s.run - 1) }

// stuffing is what eight bits come to.
type stuffing struct {
	bits      uint8 // with stuff bits
	last, run uint8
}

// stuffed is indexed by the state before the byte, and by the byte.
var stuffed = func() (out [8][256]stuffing) {
	for state := range out {
		for b := range out[state] {
			s := stuffer{last: uint64(state >> 2), run: state&3 + 1}
			s.add(uint64(b), 8)
			out[state][b] = stuffing{uint8(s.bits), uint8(s.last), uint8(s.run)}
		}
	}
	return out
}()

// crcTable is CRC-15 of one byte.
var crcTable = func() (out [256]uint16) {
	for b := range out {
		var s stuffer
		s.add(uint64(b), 8)
		out[b] = s.crc
	}
	return out
}()
