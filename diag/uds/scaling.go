package uds

import (
	"context"
	"fmt"
	"math"
)

// ScalingType is the upper half of a scaling byte, ISO 14229-1:2020 annex C.2.
type ScalingType byte

const (
	ScalingUnsigned    ScalingType = 0x0
	ScalingSigned      ScalingType = 0x1
	ScalingBits        ScalingType = 0x2 // the mask of valid bits follows here
	ScalingBitsAndMask ScalingType = 0x3 // the mask comes with the value
	ScalingBCD         ScalingType = 0x4 // packed decimal digits
	ScalingState       ScalingType = 0x5
	ScalingASCII       ScalingType = 0x6
	ScalingFloat       ScalingType = 0x7 // IEEE 754
	ScalingPacket      ScalingType = 0x8
	ScalingFormula     ScalingType = 0x9
	ScalingUnit        ScalingType = 0xA
	ScalingConnection  ScalingType = 0xB // state and connection type
)

var scalingTypes = [...]string{"unSignedNumeric", "signedNumeric", "bitMappedReportedWithOutMask", "bitMappedReportedWithMask",
	"BinaryCodedDecimal", "stateEncodedVariable", "ASCII", "signedFloatingPoint", "packet", "formula", "unit/format", "stateAndConnectionType"}

// Name is the standard's name; "" for the types that it reserves.
func (t ScalingType) Name() string {
	if int(t) < len(scalingTypes) {
		return scalingTypes[t]
	}
	return ""
}

// Scaling is one statement on a value: a scaling byte with its extension.
type Scaling struct {
	Type      ScalingType
	Bytes     int    // the lower half: how many bytes of the value it speaks of, or the length of the extension
	Extension []byte // mask of valid bits; formula identifier and constants; unit; state and connection type; nil elsewhere
}

// Scaling asks how a value is to be read (24, clause 11.4).
func (c *Client) Scaling(ctx context.Context, id uint16) ([]Scaling, error) {
	a, err := c.read(ctx, ScalingRequest(id)...)
	if err != nil {
		return nil, err
	}
	return DecodeScaling(a)
}

// ScalingRequest asks how a value is to be read.
func ScalingRequest(id uint16) []byte { return []byte{sidScaling, byte(id >> 8), byte(id)} }

// DecodeScaling reads 64: identifier, then scaling bytes with their extensions. How long the extension of a formula is
// follows from its identifier; for one that the standard does not have, from the scaling byte.
func DecodeScaling(a []byte) ([]Scaling, error) {
	const op = "scaling of a value"
	if len(a) < 4 {
		return nil, &ShapeError{op, a, "the answer holds no scaling byte"}
	}
	var out []Scaling
	for b := a[3:]; len(b) > 0; {
		s := Scaling{Type: ScalingType(b[0] >> 4), Bytes: int(b[0] & 0x0F)}
		b = b[1:]
		n := s.extension(b)
		if n > len(b) {
			return nil, &ShapeError{op, a, fmt.Sprintf("the extension of a scaling byte should have %d bytes", n)}
		}
		if n > 0 {
			s.Extension = b[:n]
		}
		out, b = append(out, s), b[n:]
	}
	return out, nil
}

func (s Scaling) extension(b []byte) int {
	switch s.Type {
	case ScalingBits:
		return s.Bytes
	case ScalingUnit, ScalingConnection:
		return 1
	case ScalingFormula:
		if len(b) > 0 && int(b[0]) < len(formulas) {
			return 1 + 2*formulas[b[0]].constants
		}
		return max(1, s.Bytes)
	}
	return 0
}

// formulas are the equations of annex C.4 by identifier.
var formulas = [...]struct {
	text      string
	constants int
	y         func(x float64, c []float64) float64
}{
	{"y = C0 * x + C1", 2, func(x float64, c []float64) float64 { return c[0]*x + c[1] }},
	{"y = C0 * (x + C1)", 2, func(x float64, c []float64) float64 { return c[0] * (x + c[1]) }},
	{"y = C0 / (x + C1) + C2", 3, func(x float64, c []float64) float64 { return c[0]/(x+c[1]) + c[2] }},
	{"y = x / C0 + C1", 2, func(x float64, c []float64) float64 { return x/c[0] + c[1] }},
	{"y = (x + C0) / C1", 2, func(x float64, c []float64) float64 { return (x + c[0]) / c[1] }},
	{"y = (x + C0) / C1 + C2", 3, func(x float64, c []float64) float64 { return (x+c[0])/c[1] + c[2] }},
	{"y = C0 * x", 1, func(x float64, c []float64) float64 { return c[0] * x }},
	{"y = x / C0", 1, func(x float64, c []float64) float64 { return x / c[0] }},
	{"y = x + C0", 1, func(x float64, c []float64) float64 { return x + c[0] }},
	{"y = x * C0 / C1", 2, func(x float64, c []float64) float64 { return x * c[0] / c[1] }},
}

// Formula is the equation of a formula that the standard has, with its constants; ok is false for everything else.
func (s Scaling) Formula() (text string, constants []float64, ok bool) {
	if s.Type != ScalingFormula || len(s.Extension) == 0 || int(s.Extension[0]) >= len(formulas) {
		return "", nil, false
	}
	for b := s.Extension[1:]; len(b) >= 2; b = b[2:] {
		constants = append(constants, constant(word(b)))
	}
	return formulas[s.Extension[0]].text, constants, true
}

// constant is a signed exponent of ten in the upper four bits and a signed mantissa in the lower twelve (annex C.5).
func constant(w uint16) float64 {
	exponent, mantissa := int(int16(w)>>12), float64(int16(w<<4)>>4)
	if exponent < 0 {
		return mantissa / math.Pow10(-exponent)
	}
	return mantissa * math.Pow10(exponent)
}

// Connection is what a scaling byte of type B says of a signal (annex C.2).
type Connection struct {
	Kind      byte // bits 7-6: 0 internal, 1 two states, low by default, 2 two states, high by default, 3 three states
	Direction byte // bit 5: 0 input, 1 output
	Level     byte // bits 4-3: 0 low (ground), 1 between, 2 high
	State     byte // bits 2-0: 0 not active, 1 active, 2 error, 3 not available, 4 active, second function
}

// Connection reads the extension of type B; ok is false for every other.
func (s Scaling) Connection() (c Connection, ok bool) {
	if s.Type != ScalingConnection || len(s.Extension) != 1 {
		return c, false
	}
	b := s.Extension[0]
	return Connection{b >> 6, b >> 5 & 1, b >> 3 & 3, b & 7}, true
}

// Number reads a value of one number by its scaling: unsigned, signed, packed decimal or floating point, put through the
// formula where there is one. The unit is its symbol with its prefix, "" where none is told. ok is false where the value
// has another length, several parts, a date or a time, or a formula that gives no number.
func Number(scaling []Scaling, value []byte) (y float64, unit string, ok bool) {
	parts := 0
	var prefix, symbol string
	for _, s := range scaling {
		switch s.Type {
		case ScalingFormula:
			text, constants, known := s.Formula()
			if !known || parts != 1 {
				return 0, "", false
			}
			for _, f := range formulas {
				if f.text == text {
					y = f.y(y, constants)
				}
			}
		case ScalingUnit:
			switch u, known := unitOf(s); {
			case !known || u.form:
				return 0, "", false
			case u.prefix:
				prefix += u.symbol
			default:
				symbol = u.symbol
			}
		case ScalingUnsigned, ScalingSigned, ScalingBCD, ScalingFloat:
			if parts++; s.Bytes != len(value) {
				return 0, "", false
			}
			if y, ok = s.number(value); !ok {
				return 0, "", false
			}
		default:
			return 0, "", false
		}
	}
	return y, prefix + symbol, parts == 1 && !math.IsNaN(y) && !math.IsInf(y, 0)
}

func (s Scaling) number(b []byte) (y float64, ok bool) {
	if len(b) == 0 || len(b) > 8 {
		return 0, false
	}
	var n uint64
	for _, x := range b {
		n = n<<8 | uint64(x)
	}
	switch s.Type {
	case ScalingUnsigned:
		return float64(n), true
	case ScalingSigned:
		shift := 64 - 8*len(b)
		return float64(int64(n<<shift) >> shift), true
	case ScalingBCD:
		for i := 2*len(b) - 1; i >= 0; i-- {
			digit := n >> (4 * i) & 0xF
			if digit > 9 {
				return 0, false
			}
			y = 10*y + float64(digit)
		}
		return y, true
	case ScalingFloat:
		switch len(b) {
		case 4:
			return float64(math.Float32frombits(uint32(n))), true
		case 8:
			return math.Float64frombits(n), true
		}
	}
	return 0, false
}
