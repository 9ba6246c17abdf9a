package bus

import (
	"encoding/binary"

	"go.einride.tech/can"
)

// tailBits follow the part of a frame that is stuffed (ISO 11898-1): CRC delimiter, acknowledge slot and delimiter,
// 7 bits end of frame, 3 bits intermission.
const tailBits = 1 + 2 + 7 + 3

// FrameBits is how many bit times f takes on the wire: from its start of frame to the end of the intermission after
// it, with the stuff bits that its identifier, data and CRC call for (ISO 11898-1). A classical frame takes 47 to 160
// bits; f has to be valid.
func FrameBits(f can.Frame) int {
	// The stuffed part is worked through byte by byte, the odd bits before that from a table of their own.
	remote := bit(f.IsRemote)
	var first beginning
	var bytes uint64 // the whole bytes of the header, left aligned
	n := 2
	if f.IsExtended { // identifier, substitute remote request, identifier extension, identifier, remote, two reserved, length
		v := uint64(f.ID>>18)&0x7FF<<27 | 0b11<<25 | uint64(f.ID)&0x3FFFF<<7 | remote<<6 | uint64(f.Length)&0xF
		first, bytes, n = begun[v>>32&0x3F], v<<32, 4
	} else { // identifier, remote, identifier extension, reserved, length
		v := uint64(f.ID)&0x7FF<<7 | remote<<6 | uint64(f.Length)&0xF
		first, bytes = begunShort[v>>16&3], v<<48
	}
	run, crc := first.run, first.crc
	sum := run
	for range n {
		run = stuffed[run&runMask|stuffing(bytes>>56)]
		sum += run
		crc = crc<<8&crcMask ^ crcTable[0][byte(crc>>7)^byte(bytes>>56)]
		bytes <<= 8
	}
	if !f.IsRemote {
		length := int(min(f.Length, can.MaxDataLength))
		bytes = binary.BigEndian.Uint64(f.Data[:])
		crc = crcOf(crc, bytes, length)
		for range length {
			run = stuffed[run&runMask|stuffing(bytes>>56)]
			sum += run
			bytes <<= 8
		}
	}
	run = stuffedSeven[run&runMask>>1|stuffing(crc>>8)]
	sum += run + stuffed[run&runMask|stuffing(crc&0xFF)]
	return int(sum&0xFF) + tailBits
}

func bit(set bool) uint64 {
	if set {
		return 1
	}
	return 0
}

// The checksum of a frame, CRC-15 (ISO 11898-1), without the highest bit of its polynomial.
const (
	crcPolynomial = 0x4599
	crcMask       = 0x7FFF
)

// crcOf goes on with the CRC over the first n of eight bytes.
func crcOf(crc uint16, bytes uint64, n int) uint16 {
	if n < 2 {
		if n == 1 {
			crc = crc<<8&crcMask ^ crcTable[0][byte(crc>>7)^byte(bytes>>56)]
		}
		return crc
	}
	// What has been worked out is as though it stood in the first 15 bits; each byte then counts for itself.
	bytes ^= uint64(crc) << 49
	crc = 0
	for i := n - 1; i >= 0; i-- {
		crc ^= crcTable[i&7][byte(bytes>>56)]
		bytes <<= 8
	}
	return crc
}

// crcTable is the CRC of a byte that so many bytes of zeros follow.
var crcTable = func() (out [8][256]uint16) {
	for b := range out[0] {
		crc := nextCRC(0, uint64(b), 8)
		for i := range out {
			out[i][b] = crc
			crc = nextCRC(crc, 0, 8)
		}
	}
	return out
}()

// nextCRC goes on with the CRC over the lowest n bits of v, the highest of them first.
func nextCRC(crc uint16, v uint64, n int) uint16 {
	for i := n - 1; i >= 0; i-- {
		top := uint16(v>>i&1) ^ crc>>14
		if crc = crc << 1 & crcMask; top != 0 {
			crc ^= crcPolynomial
		}
	}
	return crc
}

// stuffing is what some bits come to: their number with stuff bits in the lowest eight bits, and above that the run of equal
// bits that they end with: 0 to 3 for one to four bits of 0, 4 to 7 for bits of 1. Numbers may be added up without the runs
// getting in their way.
type stuffing uint16

const runMask stuffing = 0x700

// stuff appends the lowest n bits of v to bits that have ended with run, the highest of them first.
func stuff(run stuffing, v uint64, n int) stuffing {
	last, equal, bits := uint64(run>>8)>>2, int(run>>8)&3+1, 0
	for i := n - 1; i >= 0; i-- {
		bits++
		if b := v >> i & 1; b != last {
			last, equal = b, 1
		} else if equal++; equal == 5 { // five equal bits: one of the other kind goes in, and begins the next run
			bits++
			last, equal = 1-b, 1
		}
	}
	return stuffing(last<<10) | stuffing(equal-1)<<8 | stuffing(bits)
}

var (
	// stuffed is a byte, by the run before it and its value, stuffedSeven the same for seven bits.
	stuffed = func() (out [8 * 256]stuffing) {
		for i := range out {
			out[i] = stuff(stuffing(i)&runMask, uint64(i)&0xFF, 8)
		}
		return out
	}()
	stuffedSeven = func() (out [8 * 128]stuffing) {
		for i := range out {
			out[i] = stuff(stuffing(i)<<1&runMask, uint64(i)&0x7F, 7)
		}
		return out
	}()
	// A frame begins with a bit of 0. The next 6 bits, or 2 with a short identifier, make the rest whole bytes.
	begun = func() (out [1 << 6]beginning) {
		for i := range out {
			out[i] = beginning{1 + stuff(0, uint64(i), 6), nextCRC(0, uint64(i), 6)}
		}
		return out
	}()
	begunShort = func() (out [1 << 2]beginning) {
		for i := range out {
			out[i] = beginning{1 + stuff(0, uint64(i), 2), nextCRC(0, uint64(i), 2)}
		}
		return out
	}()
)

type beginning struct {
	run stuffing
	crc uint16
}
