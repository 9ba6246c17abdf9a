package bus

import "go.einride.tech/can"

// tailBits follow the part of a frame that is stuffed (ISO 11898-1): CRC delimiter, acknowledge slot and delimiter,
// 7 bits end of frame, 3 bits intermission.
const tailBits = 1 + 2 + 7 + 3

// FrameBits is how many bit times f takes on the wire: from its start of frame to the end of the intermission after
// it, with the stuff bits that its identifier, data and CRC call for (ISO 11898-1). A classical frame takes 47 to 160
// bits; f has to be valid.
func FrameBits(f can.Frame) int {
	var s stuffer
	s.add(0, 1) // start of frame
	remote := bit(f.IsRemote)
	if f.IsExtended {
		s.add(uint64(f.ID>>18), 11)
		s.add(0b11, 2) // substitute remote request, identifier extension
		s.add(uint64(f.ID), 18)
		s.add(remote, 1)
		s.add(0, 2) // reserved
	} else {
		s.add(uint64(f.ID), 11)
		s.add(remote, 1)
		s.add(0, 2) // identifier extension, reserved
	}
	s.add(uint64(f.Length), 4)
	if !f.IsRemote {
		for _, b := range f.Data[:min(f.Length, can.MaxDataLength)] {
			s.add(uint64(b), 8)
		}
	}
	s.add(uint64(s.crc), 15)
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
