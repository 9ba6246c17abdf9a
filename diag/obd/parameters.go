package obd

import (
	"fmt"
	"maps"
	"math/bits"

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

// parameter describes one parameter of service 01 and 02. Where read is nil, it tells its numbers and then its states.
type parameter struct {
	name    string
	size    int // bytes
	numbers []number
	states  []field
	read    func(id byte, b []byte) []Reading
	older   *parameter // the layout of earlier editions of the standard, with another length
}

// number is a scaled number, SAE J1979 annex B: size bytes, most significant first, times factor plus offset.
type number struct {
	label  string
	fitted byte // told only where one of these bits of the first byte is set; 0: always
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
	return Reading{Label: n.label, Quantity: n.quantity(v)}
}

func (n number) quantity(raw int64) quantity.Quantity {
	return quantity.Quantity{Value: float64(raw)*n.factor + n.offset, Unit: n.unit, Digits: n.digits}
}

// span are the smallest and the largest value that its bytes can tell.
func (n number) span() (low, high float64) {
	least, most := int64(0), int64(1)<<(8*n.size)-1
	if n.signed {
		least, most = -(most+1)/2, most/2
	}
	return n.quantity(least).Value, n.quantity(most).Value
}

// field is a state in some bits of one byte.
type field struct {
	label  string
	fitted byte // as in number
	at     int
	mask   byte
	texts  map[byte]string // by the value of those bits, moved down
}

func (f field) of(b []byte) Reading {
	v := b[f.at] & f.mask >> bits.TrailingZeros8(f.mask)
	return Reading{Label: f.label, Text: stateText(f.texts, v)}
}

// tell reads what b, of one of the parameter's lengths, tells.
func (p parameter) tell(id byte, b []byte) []Reading {
	if p.read != nil {
		return p.read(id, b)
	}
	out := []Reading{}
	for _, n := range p.numbers {
		if n.fitted == 0 || b[0]&n.fitted != 0 {
			out = append(out, n.of(b))
		}
	}
	for _, f := range p.states {
		if f.fitted == 0 || b[0]&f.fitted != 0 {
			out = append(out, f.of(b))
		}
	}
	if len(out) == 0 {
		return []Reading{{Text: "the car says that none of it is fitted"}}
	}
	return out
}

// layouts are the lengths that a parameter may have, the newest edition first.
func (p parameter) layouts() []parameter {
	if p.older == nil {
		return []parameter{p}
	}
	return []parameter{p, *p.older}
}

// scaled makes a parameter that tells one number or several.
func scaled(name string, numbers ...number) parameter {
	size := 0
	for _, n := range numbers {
		size = max(size, n.at+n.size)
	}
	return parameter{name: name, size: size, numbers: numbers}
}

// raw makes a parameter whose length is known but not its meaning.
func raw(name string, size int) parameter {
	return words(name, size, func(_ byte, b []byte) []Reading {
		return []Reading{{Label: "not described", Text: fmt.Sprintf("% X", b)}}
	})
}

// words makes a parameter that is read in a way of its own.
func words(name string, size int, read func(id byte, b []byte) []Reading) parameter {
	return parameter{name: name, size: size, read: read}
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
	narrowVolts = number{label: "sensor voltage", size: 1, factor: 0.005, unit: quantity.Volt, digits: 3}
	narrowTrim  = number{label: "short-term fuel trim", at: 1, size: 1, factor: 100.0 / 128, offset: -100, unit: quantity.Percent, digits: 1}
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
	return parameter{name: name, size: 1, states: []field{{mask: 0xFF, texts: table}}}
}

func stateText(table map[byte]string, b byte) string {
	if s, ok := table[b]; ok {
		return s
	}
	return fmt.Sprintf("not described (%02X)", b)
}

// parameters are the parameters of service 01, SAE J1979 annex B: 00-63 here, the others in the files beside this one.
// Factors and offsets of 00-63 agree between three independent open tables except where a line says otherwise.
var parameters = func() map[byte]parameter {
	t := map[byte]parameter{
		0x01: words("monitors since the codes were erased", 4, readMonitors),
		0x02: words("code that the frozen values belong to", 2, readFrozenCode),
		0x03: words("fuel system", 2, readFuelSystems),
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
		0x13: words("oxygen sensors fitted", 1, readSensors(2, 4)),
		0x1C: state("standard the car was built to", builtTo),
		0x1D: words("oxygen sensors fitted", 1, readSensors(4, 2)),
		0x1E: words("power take-off", 1, readTakeOff),
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
		0x41: words("monitors on this trip", 4, readMonitors),
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
		0x50: {name: "largest air flow that can be told", size: 4, numbers: []number{{size: 1, factor: 10, unit: quantity.GramPerSec}}},
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
		0x5F: state("emission rules the vehicle was designed to", emissionRules),
		0x61: scaled("torque asked for by the driver", torque),
		0x62: scaled("torque given", torque),
		0x63: scaled("torque that is 100 %", number{size: 2, factor: 1, unit: quantity.Newtonmetre}),
	}
	for first := 0; first <= 0xE0; first += 0x20 {
		t[byte(first)] = words(fmt.Sprintf("parameters offered, %02X to %02X", first+1, min(first+0x20, 0xFF)), 4, readOffered)
	}
	for i := range byte(8) {
		t[0x14+i] = parameter{name: fmt.Sprintf("oxygen sensor %d", i+1), size: 2, read: readNarrowSensor, numbers: []number{narrowVolts, narrowTrim}}
		t[0x24+i] = scaled(fmt.Sprintf("oxygen sensor %d, wide range", i+1), ratio, wideVolts)
		t[0x34+i] = scaled(fmt.Sprintf("oxygen sensor %d, wide range", i+1), ratio, wideCurrent)
	}
	maps.Copy(t, engineParameters)
	maps.Copy(t, aftertreatmentParameters)
	maps.Copy(t, laterParameters)
	return t
}()

// ParameterName is what a parameter of service 01 is about; ok is false for one that is not described here.
func ParameterName(id byte) (name string, ok bool) {
	p, ok := parameters[id]
	return p.name, ok
}
