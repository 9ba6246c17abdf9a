package obd

import "readback/diag/quantity"

// units are the units-and-scaling ids of service 06, SAE J1979 annex E: a value of two bytes each, unsigned up to 7F,
// two's complement from 80 on. 01-39 and most of the signed ones agree between scapy 2.5.0 and a public listing of the
// tables of SAE J1979-DA; the others are in the listing only.
var units = map[byte]number{
	0x01: {factor: 1},
	0x02: {factor: 0.1, digits: 1},
	0x03: {factor: 0.01, digits: 2},
	0x04: {factor: 0.001, digits: 3},
	0x05: {factor: 0.0000305, digits: 5},
	0x06: {factor: 0.000305, digits: 4},
	0x07: {factor: 0.25, unit: quantity.PerMinute, digits: 2},
	0x08: {factor: 0.01, unit: quantity.KmPerHour, digits: 2},
	0x09: {factor: 1, unit: quantity.KmPerHour},
	0x0A: {factor: 0.122, unit: quantity.Millivolt, digits: 1},
	0x0B: {factor: 0.001, unit: quantity.Volt, digits: 3},
	0x0C: {factor: 0.01, unit: quantity.Volt, digits: 2},
	0x0D: {factor: 1.0 / 256, unit: quantity.Milliampere, digits: 3},
	0x0E: {factor: 0.001, unit: quantity.Ampere, digits: 3},
	0x0F: {factor: 0.01, unit: quantity.Ampere, digits: 2},
	0x10: {factor: 1, unit: quantity.Millisecond},
	0x11: {factor: 100, unit: quantity.Millisecond},
	0x12: {factor: 1, unit: quantity.Second},
	0x13: {factor: 1, unit: quantity.Milliohm},
	0x14: {factor: 1, unit: quantity.Ohm},
	0x15: {factor: 1, unit: quantity.Kiloohm},
	0x16: {factor: 0.1, offset: -40, unit: quantity.Celsius, digits: 1},
	0x17: {factor: 0.01, unit: quantity.Kilopascal, digits: 2},
	0x18: {factor: 0.0117, unit: quantity.Kilopascal, digits: 3},
	0x19: {factor: 0.079, unit: quantity.Kilopascal, digits: 2},
	0x1A: {factor: 1, unit: quantity.Kilopascal},
	0x1B: {factor: 10, unit: quantity.Kilopascal},
	0x1C: {factor: 0.01, unit: quantity.Degree, digits: 2},
	0x1D: {factor: 0.5, unit: quantity.Degree, digits: 1},
	0x1E: {label: "air to fuel, 1 is balanced", factor: 0.0000305, digits: 4},
	0x1F: {label: "air to fuel by weight", factor: 0.05, digits: 2},
	0x20: {label: "ratio", factor: 1.0 / 256, digits: 3},
	0x21: {factor: 1, unit: quantity.Millihertz},
	0x22: {factor: 1, unit: quantity.Hertz},
	0x23: {factor: 1, unit: quantity.Kilohertz},
	0x24: {label: "count", factor: 1},
	0x25: {factor: 1, unit: quantity.Km},
	0x26: {factor: 0.1, unit: quantity.MillivoltPerMs, digits: 1},
	0x27: {factor: 0.01, unit: quantity.GramPerSec, digits: 2},
	0x28: {factor: 1, unit: quantity.GramPerSec},
	0x29: {factor: 0.25, unit: quantity.PascalPerSec, digits: 2},
	0x2A: {factor: 0.001, unit: quantity.KilogramPerH, digits: 3},
	0x2B: {label: "switches", factor: 1},
	0x2C: {factor: 0.01, unit: quantity.GramPerCylinder, digits: 2},
	0x2D: {factor: 0.01, unit: quantity.MgPerStroke, digits: 2},
	0x2F: {factor: 0.01, unit: quantity.Percent, digits: 2},
	0x30: {factor: 0.001526, unit: quantity.Percent, digits: 3},
	0x31: {factor: 0.001, unit: quantity.Litre, digits: 3},
	0x32: {factor: 0.0000305, unit: quantity.Inch, digits: 4},
	0x33: {label: "air to fuel, 1 is balanced", factor: 0.00024414, digits: 4},
	0x34: {factor: 1, unit: quantity.Minute},
	0x35: {factor: 10, unit: quantity.Millisecond},
	0x36: {factor: 0.01, unit: quantity.Gram, digits: 2},
	0x37: {factor: 0.1, unit: quantity.Gram, digits: 1},
	0x38: {factor: 1, unit: quantity.Gram},
	0x39: {factor: 0.01, offset: -327.68, unit: quantity.Percent, digits: 2},
	0x3A: {factor: 0.001, unit: quantity.Gram, digits: 3},
	0x3B: {factor: 0.0001, unit: quantity.Gram, digits: 4},
	0x3C: {factor: 0.1, unit: quantity.Microsecond, digits: 1},
	0x3D: {factor: 0.01, unit: quantity.Milliampere, digits: 2},
	0x3E: {factor: 0.00006103516, unit: quantity.SquareMm, digits: 4},
	0x3F: {factor: 0.01, unit: quantity.Litre, digits: 2},
	0x40: {factor: 1, unit: quantity.PartsPerMillion},
	0x41: {factor: 0.01, unit: quantity.Microampere, digits: 2},
	0x42: {factor: 0.1, unit: quantity.Kilojoule, digits: 1},
	0x43: {factor: 0.00024414, unit: quantity.GramPerKWh, digits: 4},
	0x81: {factor: 1},
	0x82: {factor: 0.1, digits: 1},
	0x83: {factor: 0.01, digits: 2},
	0x84: {factor: 0.001, digits: 3},
	0x85: {factor: 0.0000305, digits: 5},
	0x86: {factor: 0.000305, digits: 4},
	0x87: {factor: 1, unit: quantity.PartsPerMillion},
	0x8A: {factor: 0.122, unit: quantity.Millivolt, digits: 1},
	0x8B: {factor: 0.001, unit: quantity.Volt, digits: 3},
	0x8C: {factor: 0.01, unit: quantity.Volt, digits: 2},
	0x8D: {factor: 1.0 / 256, unit: quantity.Milliampere, digits: 3},
	0x8E: {factor: 0.001, unit: quantity.Ampere, digits: 3},
	0x8F: {factor: 1, unit: quantity.Microsecond},
	0x90: {factor: 1, unit: quantity.Millisecond},
	0x91: {factor: 100, unit: quantity.Millisecond},
	0x92: {factor: 0.1, unit: quantity.Newtonmetre, digits: 1},
	0x96: {factor: 0.1, unit: quantity.Celsius, digits: 1},
	0x97: {factor: 0.01, unit: quantity.Celsius, digits: 2},
	0x98: {factor: 1, unit: quantity.MgPerStroke},
	0x99: {factor: 0.1, unit: quantity.Kilopascal, digits: 1},
	0x9C: {factor: 0.01, unit: quantity.Degree, digits: 2},
	0x9D: {factor: 0.5, unit: quantity.Degree, digits: 1},
	0xA8: {factor: 1, unit: quantity.GramPerSec},
	0xA9: {factor: 0.25, unit: quantity.PascalPerSec, digits: 2},
	0xAD: {factor: 0.01, unit: quantity.MgPerStroke, digits: 2},
	0xAE: {factor: 0.1, unit: quantity.MgPerStroke, digits: 1},
	0xAF: {factor: 0.01, unit: quantity.Percent, digits: 2},
	0xB0: {factor: 0.003052, unit: quantity.Percent, digits: 3},
	0xB1: {factor: 2, unit: quantity.MillivoltPerSec},
	0xFB: {factor: 10, unit: quantity.Kilopascal},
	0xFC: {factor: 0.01, unit: quantity.Kilopascal, digits: 2},
	0xFD: {factor: 0.001, unit: quantity.Kilopascal, digits: 3},
	0xFE: {factor: 0.25, unit: quantity.Pascal, digits: 2},
}

// trueFalse is the one id whose value is no number.
const trueFalse = 0x2E

// measuredIn reads two bytes in the unit of an id; ok is false for an id that is not described.
func measuredIn(id byte, b []byte) (r Reading, ok bool) {
	if id == trueFalse {
		text := "false"
		if b[0] != 0 || b[1] != 0 {
			text = "true"
		}
		return Reading{Text: text}, true
	}
	n, ok := units[id]
	if !ok {
		return Reading{}, false
	}
	n.size, n.signed = 2, id >= firstSigned
	return n.of(b), true
}

// firstSigned is the first id whose values are two's complement.
const firstSigned = 0x80
