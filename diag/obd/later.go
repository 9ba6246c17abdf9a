package obd

import "readback/diag/quantity"

// laterParameters are those from 8D on that have nothing to do with the exhaust treatment, and those from 98 on. Lengths
// after a public table of the parameters; layouts after that table, an open decoder's table and a listing of SAE
// J1979-DA as a line says. What none of them describes is shown as bytes.
var laterParameters = map[byte]parameter{
	0x8D: scaled("throttle position G", percent),
	0x8E: scaled("torque lost to friction", torque),
	0x98: fitted("exhaust gas temperature, bank 1", row(exhaust, "sensor 5", "sensor 6", "sensor 7", "sensor 8")), // listing
	0x99: fitted("exhaust gas temperature, bank 2", row(exhaust, "sensor 5", "sensor 6", "sensor 7", "sensor 8")), // listing
	// Factors as in the open decoder, bits of the first byte from memory. The current is two's complement (from memory);
	// the open decoder has an offset of -3276.8 A instead.
	0x9A: fitted("drive battery of a hybrid or electric car", []number{
		number{size: 2, factor: 1.0 / 64, unit: quantity.Volt, digits: 1}.in("voltage", 0x02, 2),
		number{size: 2, signed: true, factor: 0.1, unit: quantity.Ampere, digits: 1}.in("current", 0x04, 4),
	}, field{label: "drive", fitted: 0x01, at: 1, mask: 0x01, texts: map[byte]string{0: "keeps the charge", 1: "uses the charge"}}),
	// The level is in the public table, concentration and temperature in the open decoder; the first byte is not described.
	0x9B: {name: "exhaust fluid", size: 4, numbers: []number{
		percent.in("tank level", 0, 3), number{size: 1, factor: 0.25, unit: quantity.Percent, digits: 2}.in("concentration", 0, 1), celsius.in("temperature", 0, 2),
	}},
	0x9C: fitted("oxygen in the exhaust, further sensors", wideOxygen("bank 1, sensor 3", "bank 1, sensor 4", "bank 2, sensor 3", "bank 2, sensor 4")), // listing
	0x9D: scaled("fuel used",
		number{label: "by the engine", size: 2, factor: 0.02, unit: quantity.GramPerSec, digits: 2},
		number{label: "by the vehicle", at: 2, size: 2, factor: 0.02, unit: quantity.GramPerSec, digits: 2}),
	0x9E: scaled("exhaust gas flow", number{size: 2, factor: 0.2, unit: quantity.KilogramPerH, digits: 1}),
	// The order of the bits of the first byte is from memory.
	0x9F: fitted("share of each fuel", row(percent, "fuel A, bank 1", "fuel B, bank 1", "fuel A, bank 2", "fuel B, bank 2",
		"fuel A, bank 3", "fuel B, bank 3", "fuel A, bank 4", "fuel B, bank 4")),
	0xA1: fitted("nitrogen oxides, corrected", row(ppm, banks12...)), // layout of 83, from memory
	0xA2: scaled("fuel by cylinder", number{size: 2, factor: 1.0 / 32, unit: quantity.MgPerStroke, digits: 2}),
	0xA3: raw("tank vapour pressure by sensor", 9),
	0xA4: fitted("gear", []number{
		number{size: 2, factor: 0.001, digits: 3}.in("ratio", 0x02, 2),
	}, field{label: "gear", fitted: 0x01, at: 1, mask: 0xF0, texts: gears}),
	0xA5: {name: "exhaust fluid, as commanded", size: 4, numbers: []number{number{size: 1, factor: 0.5, unit: quantity.Percent, digits: 1}.in("dosing", 0x01, 1)}},
	0xA6: scaled("distance on the odometer", number{size: 4, factor: 0.1, unit: quantity.Km, digits: 1}),
	0xA7: raw("nitrogen oxides, sensors 3 and 4", 4),
	0xA8: raw("nitrogen oxides, corrected, sensors 3 and 4", 4),
	0xA9: {name: "switch that turns the anti-lock brakes off", size: 4, states: []field{{fitted: 0x01, at: 1, mask: 0x01, texts: map[byte]string{0: "brakes not turned off", 1: "brakes turned off"}}}},
	0xC3: raw("fuel level by tank", 2),
	0xC4: raw("particle control, times and counts", 8),
	0xC5: raw("fuel pressure A and B", 4),
	0xC6: {name: "particle control, hours with a fault", size: 7, numbers: []number{
		hours.in("filter removed or blocked", 0, 1), hours.in("liquid additive", 0, 3), hours.in("monitoring", 0, 5),
	}},
	0xC7: scaled("distance since new software or a new module", km),
	0xC8: raw("warning lamps for nitrogen oxides and particles", 1),
}

// gears are the values of the gear in A4; 0 as neutral is from memory.
var gears = map[byte]string{
	0: "neutral", 1: "1", 2: "2", 3: "3", 4: "4", 5: "5", 6: "6", 7: "7", 8: "8", 9: "9", 10: "10", 11: "11", 12: "12", 13: "13", 14: "14", 15: "15",
}
