package signal

import (
	"encoding/binary"
	"math"
	"math/big"
	"strconv"
)

// Value is a signal as one frame carries it.
type Value struct {
	Signal  *Signal
	Missing bool    // the data field ends before it; nothing else is known then
	Raw     uint64  // its bits, the lowest Signal.Bits of them
	Number  float64 // raw value times factor plus offset, as exactly as a float64 can hold it; see [Value.Digits]
	Text    string  // name of the raw value, "" when it has none
}

// Outside reports a value that is not within the range that the file gives.
func (v Value) Outside() bool {
	s := v.Signal
	return !v.Missing && (s.Min != 0 || s.Max != 0) && (v.Number < s.Min || v.Number > s.Max || math.IsNaN(v.Number))
}

// Digits is the number as it is shown: whole numbers exactly, others with the decimals that factor and offset have.
func (v Value) Digits() string {
	s := v.Signal
	switch {
	case v.Missing:
		return ""
	case !s.Float && s.whole && math.Abs(v.Number) < 1<<53:
		return strconv.FormatInt(int64(v.Number), 10)
	case !s.Float && s.whole:
		return v.exact().String()
	case !s.Float && s.decimals >= 0:
		return strconv.FormatFloat(v.Number, 'f', s.decimals, 64)
	case s.Float && s.Bits <= 32:
		return strconv.FormatFloat(v.Number, 'g', 7, 64)
	}
	return strconv.FormatFloat(v.Number, 'g', 12, 64)
}

// exact works a whole number out that a float64 can't hold.
func (v Value) exact() *big.Int {
	n := new(big.Int).SetUint64(v.Raw)
	if v.Signal.Signed {
		n.SetInt64(v.Signal.signed(v.Raw))
	}
	factor, _ := big.NewFloat(v.Signal.Factor).Int(nil)
	offset, _ := big.NewFloat(v.Signal.Offset).Int(nil)
	return n.Mul(n, factor).Add(n, offset)
}

// String is the number with its unit, and the name of the raw value where it has one.
func (v Value) String() string {
	if v.Missing {
		return "not in this frame"
	}
	out := v.Digits()
	if v.Signal.Unit != "" {
		out += " " + v.Signal.Unit
	}
	if v.Text != "" {
		out += " (" + v.Text + ")"
	}
	return out
}

// Append decodes a data field and appends the values of the signals that are there, in the order of the file: those
// that a switch selects are left out while it selects others.
func (m *Message) Append(out []Value, data []byte) []Value {
	data = data[:min(len(data), maxLength)]
	var (
		room [64]selection
		here = room[:0]
	)
	if len(m.Signals) > len(room) {
		here = make([]selection, 0, len(m.Signals))
	}
	here = here[:len(m.Signals)]
	for _, i := range m.order {
		s := &m.Signals[i]
		raw, fits := s.raw(data)
		here[i] = selection{there: true, fits: fits, raw: raw}
		if sel := s.Selected; sel != nil {
			by := here[sel.by]
			here[i].there = by.there && by.fits && sel.holds(m.Signals[sel.by].signed(by.raw))
		}
	}
	for i := range m.Signals {
		if here[i].there {
			out = append(out, m.Signals[i].value(here[i].raw, here[i].fits))
		}
	}
	return out
}

type selection struct {
	there, fits bool
	raw         uint64
}

func (s *Selected) holds(raw int64) bool {
	for _, r := range s.Ranges {
		if raw >= r.From && raw <= r.To {
			return true
		}
	}
	return false
}

func (s *Signal) value(raw uint64, fits bool) Value {
	v := Value{Signal: s, Raw: raw}
	switch {
	case !fits:
		return Value{Signal: s, Missing: true}
	case s.Float:
		v.Number = s.float(raw)*s.Factor + s.Offset
		return v
	case s.Signed:
		v.Number = float64(s.signed(raw))
	default:
		v.Number = float64(raw)
	}
	v.Number = v.Number*s.Factor + s.Offset
	v.Text = s.text(s.signed(raw))
	return v
}

// raw takes the bits of a signal out of a data field; fits is false when it ends before them.
func (s *Signal) raw(data []byte) (raw uint64, fits bool) {
	if s.BigEndian {
		first := s.Start/8*8 + 7 - s.Start%8 // counted from the most significant bit of byte 0
		end := first + s.Bits
		if end > 8*len(data) {
			return 0, false
		}
		for b := first / 8; b <= (end-1)/8; b++ {
			from, to := max(first, 8*b)-8*b, min(end, 8*b+8)-8*b
			part := data[b] << from >> from >> (8 - to)
			raw = raw<<(to-from) | uint64(part)
		}
		return raw, true
	}
	end := s.Start + s.Bits
	if end > 8*len(data) {
		return 0, false
	}
	if b := s.Start / 8; b+8 <= len(data) && s.Start%8+s.Bits <= 64 {
		return binary.LittleEndian.Uint64(data[b:]) >> (s.Start % 8) & s.mask(), true
	}
	for b := (end - 1) / 8; b >= s.Start/8; b-- {
		from, to := max(s.Start, 8*b)-8*b, min(end, 8*b+8)-8*b
		part := data[b] << (8 - to) >> (8 - to) >> from
		raw = raw<<(to-from) | uint64(part)
	}
	return raw, true
}

func (s *Signal) mask() uint64 { return ^uint64(0) >> (64 - s.Bits) }

// signed is the raw value as a number: of a signed signal in two's complement.
func (s *Signal) signed(raw uint64) int64 {
	if s.Signed && s.Bits < 64 && raw>>(s.Bits-1) != 0 {
		return int64(raw | ^s.mask())
	}
	return int64(raw)
}

// float is an IEEE 754 number of 16, 32 or 64 bits.
func (s *Signal) float(raw uint64) float64 {
	switch s.Bits {
	case 16:
		return half(uint16(raw))
	case 32:
		return float64(math.Float32frombits(uint32(raw)))
	}
	return math.Float64frombits(raw)
}

// half is binary16 of IEEE 754: a sign, 5 bits of exponent with a bias of 15, 10 bits of fraction.
func half(b uint16) float64 {
	sign, exponent, fraction := 1.0, int(b>>10&0x1F), float64(b&0x3FF)
	if b&0x8000 != 0 {
		sign = -1
	}
	switch {
	case exponent == 0x1F && fraction != 0:
		return math.NaN()
	case exponent == 0x1F:
		return math.Inf(int(sign))
	case exponent == 0:
		return sign * math.Ldexp(fraction, -24)
	}
	return sign * math.Ldexp(1024+fraction, exponent-25)
}
