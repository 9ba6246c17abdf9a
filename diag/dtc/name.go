package dtc

import (
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"
)

// System is the area that the letter of a code names.
type System string

const (
	Powertrain System = "powertrain"
	Chassis    System = "chassis"
	Body       System = "body"
	Network    System = "network"
)

// Text is the area in words, "the drive and charging side".
func (s System) Text() string {
	switch s {
	case Powertrain:
		return "the drive and charging side"
	case Chassis:
		return "brakes, steering and suspension"
	case Body:
		return "body, comfort and airbags"
	case Network:
		return "the data wires between modules"
	}
	return ""
}

var letters = [4]struct {
	letter byte
	system System
}{{'P', Powertrain}, {'C', Chassis}, {'B', Body}, {'U', Network}}

// Origin tells who decides what a code means.
type Origin string

const (
	Standard Origin = "standard" // ISO 15031-6 / SAE J2012
	Maker    Origin = "maker"    // the car's maker
	Reserved Origin = "reserved" // nobody yet
)

// number is the code without its failure type, as a number.
func (c Code) number() uint16 { return uint16(c.b[0])<<8 | uint16(c.b[1]) }

// IsZero reports "no code".
func (c Code) IsZero() bool { return c.n == 0 }

// Bytes are the bytes of the code as they are on the wire: two or three.
func (c Code) Bytes() []byte { return append([]byte(nil), c.b[:c.n]...) }

// System is the area of the code (bits 15-14: 00 P, 01 C, 10 B, 11 U).
func (c Code) System() System { return letters[c.b[0]>>6].system }

// Name is the code as people write it, letter and four digits: "P0A08".
func (c Code) Name() string {
	if c.n == 0 {
		return ""
	}
	return fmt.Sprintf("%c%d%X%02X", letters[c.b[0]>>6].letter, c.b[0]>>4&3, c.b[0]&0xF, c.b[1])
}

// FailureType is the third byte of a UDS code; ok is false for a code of two bytes.
func (c Code) FailureType() (failure byte, ok bool) { return c.b[2], c.n == 3 }

// String is the name with the failure type, where there is one: "P0A08-13".
func (c Code) String() string {
	if c.n < 3 {
		return c.Name()
	}
	return fmt.Sprintf("%s-%02X", c.Name(), c.b[2])
}

// Origin reads the digits: 0 is the standard's, 1 the maker's; 2 is the standard's for P and the maker's elsewhere; 3 is
// split for P (P30-P33 maker, P34-P39 standard), reserved for B and C, and the standard's for U30. The rest of P3 and U3
// counts as reserved; newer editions of SAE J2012 give it to the standard (from memory).
func (c Code) Origin() Origin {
	system, second := c.System(), c.b[0]&0xF
	switch digit := c.b[0] >> 4 & 3; {
	case digit == 0:
		return Standard
	case digit == 1:
		return Maker
	case digit == 2 && system == Powertrain:
		return Standard
	case digit == 2:
		return Maker
	case system == Powertrain && second <= 3:
		return Maker
	case system == Powertrain && second <= 9, system == Network && second == 0:
		return Standard
	}
	return Reserved
}

// ParseError tells why a text is no trouble code.
type ParseError struct {
	Text string
	Why  string
}

func (e *ParseError) Error() string {
	return fmt.Sprintf("dtc: %q is not a trouble code: %s", e.Text, e.Why)
}

// separators are what people write between the parts of a code.
var separators = strings.NewReplacer("-", "", " ", "", ":", "", ".", "")

// Parse reads a code as people write it ("P0A08", "p0a08-13", "P0A08 13") or as bytes ("0A08", "0A0813").
func Parse(s string) (Code, error) {
	text := strings.ToUpper(separators.Replace(s))
	if text == "" {
		return Code{}, &ParseError{s, "there is nothing"}
	}
	for i, l := range letters {
		// A code in letters has five characters, with a failure type seven; bytes have four or six digits.
		if text[0] != l.letter || len(text)%2 == 0 {
			continue
		}
		if len(text) != 5 && len(text) != 7 {
			return Code{}, &ParseError{s, "a letter needs four digits after it, or six with the failure type"}
		}
		if text[1] > '3' || text[1] < '0' {
			return Code{}, &ParseError{s, "the first digit can only be 0, 1, 2 or 3"}
		}
		v, err := strconv.ParseUint(text[1:5], 16, 16)
		if err != nil {
			return Code{}, &ParseError{s, "after the letter come digits 0-9 and A-F"}
		}
		v |= uint64(i) << 14
		if len(text) == 5 {
			return From2(byte(v>>8), byte(v)), nil
		}
		f, err := strconv.ParseUint(text[5:], 16, 8)
		if err != nil {
			return Code{}, &ParseError{s, "the failure type has two digits 0-9 and A-F"}
		}
		return From3(byte(v>>8), byte(v), byte(f)), nil
	}
	b, err := hex.DecodeString(text)
	switch {
	case err == nil && len(b) == 2:
		return From2(b[0], b[1]), nil
	case err == nil && len(b) == 3:
		return From3(b[0], b[1], b[2]), nil
	}
	return Code{}, &ParseError{s, "write it as P0A08, P0A08-13, or as its bytes, 0A0813"}
}

func (c Code) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

func (c *Code) UnmarshalText(b []byte) error {
	v, err := Parse(string(b))
	if err == nil {
		*c = v
	}
	return err
}
