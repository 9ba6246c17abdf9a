package dtc

// Code is one trouble code: the two bytes of SAE J2012 / ISO 15031-6 and, with UDS, the failure type byte.
// The zero Code is "no code". Codes are comparable.
type Code struct {
	b [3]byte
	n uint8 // bytes that count: 0, 2 or 3
}

// From2 makes a code of two bytes (OBD, KWP); From3 one of three (UDS).
func From2(hi, lo byte) Code          { return Code{b: [3]byte{hi, lo}, n: 2} }
func From3(hi, lo, failure byte) Code { return Code{b: [3]byte{hi, lo, failure}, n: 3} }

// Status is the status byte of a code, ISO 14229-1 annex D.2.
type Status byte
