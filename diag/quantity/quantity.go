// Package quantity is a value with its unit, as it is shown to people.
package quantity

import (
	"math"
	"strconv"
)

// Unit is the symbol of a unit; "" for a count or a ratio.
type Unit string

const (
	None        Unit = ""
	Percent     Unit = "%"
	Celsius     Unit = "°C"
	Kilopascal  Unit = "kPa"
	Pascal      Unit = "Pa"
	PerMinute   Unit = "1/min"
	KmPerHour   Unit = "km/h"
	Km          Unit = "km"
	Degree      Unit = "°"
	GramPerSec  Unit = "g/s"
	Volt        Unit = "V"
	Milliampere Unit = "mA"
	Second      Unit = "s"
	Minute      Unit = "min"
	LitrePerH   Unit = "L/h"
	Newtonmetre Unit = "Nm"
)

// Quantity is a value in its unit, shown with Digits digits after the point.
type Quantity struct {
	Value  float64
	Unit   Unit
	Digits int
}

// String is the value and its unit, "12.7 V". A value that rounds to zero has no sign; one that is no number is "?".
func (q Quantity) String() string {
	if math.IsNaN(q.Value) || math.IsInf(q.Value, 0) {
		return "?"
	}
	s := strconv.FormatFloat(q.Value, 'f', max(q.Digits, 0), 64)
	if v, err := strconv.ParseFloat(s, 64); err == nil && v == 0 && s[0] == '-' {
		s = s[1:]
	}
	if q.Unit == None {
		return s
	}
	return s + " " + string(q.Unit)
}
