package obd

import (
	"fmt"

	"readback/diag/quantity"
)

// Reading is one thing that a parameter tells: a number with its unit, or, where Text is not empty, a state in words.
type Reading struct {
	Label    string // "" where the parameter tells one thing
	Quantity quantity.Quantity
	Text     string
}

func (r Reading) String() string {
	s := r.Text
	if s == "" {
		s = r.Quantity.String()
	}
	if r.Label == "" {
		return s
	}
	return r.Label + ": " + s
}

// parameter describes one parameter of service 01 and 02.
type parameter struct {
	name string
	size int // bytes
	read func(id byte, b []byte) []Reading
}

// number is a scaled number, SAE J1979 annex B: size bytes, most significant first, times factor plus offset.
type number struct {
	label  string
	at     int
	size   int
	signed bool
	factor float64
	offset float64
	unit   quantity.Unit
	digits int
}

func (n number) of(b []byte) Reading {
	var v int64
	for _, x := range b[n.at : n.at+n.size] {
		v = v<<8 | int64(x)
	}
	if n.signed && b[n.at]&0x80 != 0 {
		v -= 1 << (8 * n.size)
	}
	return Reading{Label: n.label, Quantity: quantity.Quantity{Value: float64(v)*n.factor + n.offset, Unit: n.unit, Digits: n.digits}}
}

// scaled makes a parameter that tells one number or several.
func scaled(name string, numbers ...number) parameter {
	size := 0
	for _, n := range numbers {
		size = max(size, n.at+n.size)
	}
	return parameter{name, size, func(_ byte, b []byte) []Reading {
		out := make([]Reading, len(numbers))
		for i, n := range numbers {
			out[i] = n.of(b)
		}
		return out
	}}
}

// The shapes that occur often.
var (
	percent     = number{size: 1, factor: 100.0 / 255, unit: quantity.Percent, digits: 1}
	trim        = number{size: 1, factor: 100.0 / 128, offset: -100, unit: quantity.Percent, digits: 1}
	celsius     = number{size: 1, factor: 1, offset: -40, unit: quantity.Celsius}
	torque      = number{size: 1, factor: 1, offset: -125, unit: quantity.Percent}
	kilopascal  = number{size: 1, factor: 1, unit: quantity.Kilopascal}
	rail        = number{size: 2, factor: 10, unit: quantity.Kilopascal}
	km          = number{size: 2, factor: 1, unit: quantity.Km}
	minutes     = number{size: 2, factor: 1, unit: quantity.Minute}
	catalyst    = number{size: 2, factor: 0.1, offset: -40, unit: quantity.Celsius, digits: 1}
	ratio       = number{label: "air to fuel, 1 is balanced", size: 2, factor: 2.0 / 65536, digits: 3}
	wideVolts   = number{label: "sensor voltage", at: 2, size: 2, factor: 8.0 / 65536, unit: quantity.Volt, digits: 3}
	wideCurrent = number{label: "sensor current", at: 2, size: 2, factor: 1.0 / 256, offset: -128, unit: quantity.Milliampere, digits: 3}
)

// trims makes a parameter of two fuel trims.
func trims(name, first, second string) parameter {
	a, b := trim, trim
	a.label, b.label, b.at = first, second, 1
	return scaled(name, a, b)
}

// state makes a parameter of one byte that is a state out of a table.
func state(name string, table map[byte]string) parameter {
	return parameter{name, 1, func(_ byte, b []byte) []Reading {
		return []Reading{{Text: stateText(table, b[0])}}
	}}
}

func stateText(table map[byte]string, b byte) string {
	if s, ok := table[b]; ok {
		return s
	}
	return fmt.Sprintf("not described (%02X)", b)
}

// parameters are the parameters 00-63 of service 01, SAE J1979 annex B. Factors and offsets agree between three
// independent open tables except where a line says otherwise.
var parameters = func() map[byte]parameter {
	t := map[byte]parameter{
		0x01: {"monitors since the codes were erased", 4, readMonitors},
		0x02: {"code that the frozen values belong to", 2, readFrozenCode},
		0x03: {"fuel system", 2, readFuelSystems},
		0x04: scaled("engine load", percent),
		0x05: scaled("coolant temperature", celsius),
		0x06: scaled("short-term fuel trim, bank 1", trim),
		0x07: scaled("long-term fuel trim, bank 1", trim),
		0x08: scaled("short-term fuel trim, bank 2", trim),
		0x09: scaled("long-term fuel trim, bank 2", trim),
		0x0A: scaled("fuel pressure", number{size: 1, factor: 3, unit: quantity.Kilopascal}),
		0x0B: scaled("intake manifold pressure", kilopascal),
		0x0C: scaled("motor speed", number{size: 2, factor: 0.25, unit: quantity.PerMinute}),
		0x0D: scaled("vehicle speed", number{size: 1, factor: 1, unit: quantity.KmPerHour}),
		0x0E: scaled("ignition timing before top dead centre", number{size: 1, factor: 0.5, offset: -64, unit: quantity.Degree, digits: 1}),
		0x0F: scaled("intake air temperature", celsius),
		// Two bytes; one open table has one (SAE J1979 and two others have two).
		0x10: scaled("air flow", number{size: 2, factor: 0.01, unit: quantity.GramPerSec, digits: 2}),
		0x11: scaled("throttle position", percent),
		0x12: state("secondary air, as commanded", secondaryAir),
		0x13: {"oxygen sensors fitted", 1, readSensors(2, 4)},
		0x1C: state("standard the car was built to", builtTo),
		0x1D: {"oxygen sensors fitted", 1, readSensors(4, 2)},
		0x1E: {"power take-off", 1, readTakeOff},
		0x1F: scaled("time since switching on", number{size: 2, factor: 1, unit: quantity.Second}),
		0x21: scaled("distance driven with the lamp on", km),
		0x22: scaled("fuel rail pressure above manifold", number{size: 2, factor: 0.079, unit: quantity.Kilopascal, digits: 1}),
		0x23: scaled("fuel rail pressure", rail),
		0x2C: scaled("exhaust gas recirculation, as commanded", percent),
		0x2D: scaled("exhaust gas recirculation, error", trim),
		0x2E: scaled("tank venting, as commanded", percent),
		0x2F: scaled("fuel level", percent),
		0x30: scaled("warm-ups since the codes were erased", number{size: 1, factor: 1}),
		0x31: scaled("distance since the codes were erased", km),
		0x32: scaled("tank vapour pressure", number{size: 2, signed: true, factor: 0.25, unit: quantity.Pascal, digits: 2}),
		0x33: scaled("air pressure outside", kilopascal),
		0x3C: scaled("catalyst temperature, bank 1, sensor 1", catalyst),
		0x3D: scaled("catalyst temperature, bank 2, sensor 1", catalyst),
		0x3E: scaled("catalyst temperature, bank 1, sensor 2", catalyst),
		0x3F: scaled("catalyst temperature, bank 2, sensor 2", catalyst),
		0x41: {"monitors on this trip", 4, readMonitors},
		0x42: scaled("supply of the module", number{size: 2, factor: 0.001, unit: quantity.Volt, digits: 2}),
		0x43: scaled("absolute load", number{size: 2, factor: 100.0 / 255, unit: quantity.Percent, digits: 1}),
		0x44: scaled("air to fuel as commanded, 1 is balanced", number{size: 2, factor: 2.0 / 65536, digits: 3}),
		0x45: scaled("throttle position, relative", percent),
		0x46: scaled("temperature outside", celsius),
		0x47: scaled("throttle position B", percent),
		0x48: scaled("throttle position C", percent),
		0x49: scaled("accelerator pedal position D", percent),
		0x4A: scaled("accelerator pedal position E", percent),
		0x4B: scaled("accelerator pedal position F", percent),
		0x4C: scaled("throttle actuator, as commanded", percent),
		0x4D: scaled("time run with the lamp on", minutes),
		0x4E: scaled("time since the codes were erased", minutes),
		// The factor of the fourth byte is from memory of SAE J1979.
		0x4F: scaled("largest values that can be told",
			number{label: "air to fuel", size: 1, factor: 1},
			number{label: "oxygen sensor voltage", at: 1, size: 1, factor: 1, unit: quantity.Volt},
			number{label: "oxygen sensor current", at: 2, size: 1, factor: 1, unit: quantity.Milliampere},
			number{label: "intake manifold pressure", at: 3, size: 1, factor: 10, unit: quantity.Kilopascal}),
		0x50: {"largest air flow that can be told", 4, func(_ byte, b []byte) []Reading {
			return []Reading{number{size: 1, factor: 10, unit: quantity.GramPerSec}.of(b)}
		}},
		0x51: state("fuel or energy", fuels),
		0x52: scaled("ethanol in the fuel", percent),
		0x53: scaled("tank vapour pressure, absolute", number{size: 2, factor: 0.005, unit: quantity.Kilopascal, digits: 3}),
		// Signed after SAE J1979 (from memory) and one open table; another has an offset of -32767.
		0x54: scaled("tank vapour pressure", number{size: 2, signed: true, factor: 1, unit: quantity.Pascal}),
		0x55: trims("short-term trim of the second oxygen sensors", "bank 1", "bank 3"),
		0x56: trims("long-term trim of the second oxygen sensors", "bank 1", "bank 3"),
		0x57: trims("short-term trim of the second oxygen sensors", "bank 2", "bank 4"),
		0x58: trims("long-term trim of the second oxygen sensors", "bank 2", "bank 4"),
		0x59: scaled("fuel rail pressure, absolute", rail),
		0x5A: scaled("accelerator pedal position, relative", percent),
		0x5B: scaled("drive battery, life or charge left", percent),
		0x5C: scaled("engine oil temperature", celsius),
		0x5D: scaled("fuel injection timing", number{size: 2, factor: 1.0 / 128, offset: -210, unit: quantity.Degree, digits: 1}),
		0x5E: scaled("fuel used", number{size: 2, factor: 0.05, unit: quantity.LitrePerH, digits: 2}),
		0x5F: {"emission requirements", 1, func(_ byte, b []byte) []Reading { return []Reading{{Text: fmt.Sprintf("%02X", b[0])}} }},
		0x61: scaled("torque asked for by the driver", torque),
		0x62: scaled("torque given", torque),
		0x63: scaled("torque that is 100 %", number{size: 2, factor: 1, unit: quantity.Newtonmetre}),
	}
	for first := 0; first <= 0x60; first += 0x20 {
		t[byte(first)] = parameter{fmt.Sprintf("parameters offered, %02X to %02X", first+1, first+0x20), 4, readOffered}
	}
	for i := range byte(8) {
		t[0x14+i] = parameter{fmt.Sprintf("oxygen sensor %d", i+1), 2, readNarrowSensor}
		t[0x24+i] = scaled(fmt.Sprintf("oxygen sensor %d, wide range", i+1), ratio, wideVolts)
		t[0x34+i] = scaled(fmt.Sprintf("oxygen sensor %d, wide range", i+1), ratio, wideCurrent)
	}
	return t
}()

// ParameterName is what a parameter of service 01 is about; ok is false for one that is not described here.
func ParameterName(id byte) (name string, ok bool) {
	p, ok := parameters[id]
	return p.name, ok
}
