// Package quantity is a value with its unit, as it is shown to people: with as many digits as it is worth, and in the units
// of the [Choice] of whoever reads it. It is pure.
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

// Units of the wider parameters and of the self-tests of SAE J1979.
const (
	Hour            Unit = "h"
	Millisecond     Unit = "ms"
	Microsecond     Unit = "µs"
	Millivolt       Unit = "mV"
	MillivoltPerMs  Unit = "mV/ms"
	MillivoltPerSec Unit = "mV/s"
	Ampere          Unit = "A"
	Microampere     Unit = "µA"
	Milliohm        Unit = "mΩ"
	Ohm             Unit = "Ω"
	Kiloohm         Unit = "kΩ"
	Millihertz      Unit = "mHz"
	Hertz           Unit = "Hz"
	Kilohertz       Unit = "kHz"
	PascalPerSec    Unit = "Pa/s"
	KilogramPerH    Unit = "kg/h"
	GramPerCylinder Unit = "g/cyl"
	MgPerStroke     Unit = "mg/stroke"
	MgPerCubicMetre Unit = "mg/m³"
	Gram            Unit = "g"
	Litre           Unit = "L"
	Inch            Unit = "in"
	SquareMm        Unit = "mm²"
	PartsPerMillion Unit = "ppm"
	Kilojoule       Unit = "kJ"
	GramPerKWh      Unit = "g/kWh"
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
