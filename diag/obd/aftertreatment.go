package obd

import "readback/diag/quantity"

var (
	ppm         = number{size: 2, factor: 1, unit: quantity.PartsPerMillion}
	hours       = number{size: 2, factor: 1, unit: quantity.Hour}
	oxygenShare = number{size: 2, factor: 0.001526, unit: quantity.Percent, digits: 2}
	lambda      = number{size: 2, factor: 0.000122, digits: 3}
	// Two's complement in the listing and in SAE J1979 (from memory); scapy has an offset of -327.68 instead.
	filterDrop = number{size: 2, signed: true, factor: 0.01, unit: quantity.Kilopascal, digits: 2}
)

var filterPressure = []number{filterDrop.in("across the filter", 0x01, 1), pressure.in("before the filter", 0x02, 3), pressure.in("after the filter", 0x04, 5)}

// wideOxygen is a share of oxygen and an air-to-fuel ratio for each of four sensors.
func wideOxygen(labels ...string) []number {
	out := row(oxygenShare, labels...)
	for i, l := range labels {
		out = append(out, lambda.in(l+", air to fuel, 1 is balanced", 0x10<<i, 9+2*i))
	}
	return out
}

// area is parameter 7D or 7E: where the engine runs on the map of exhaust limits.
func area(name string) parameter {
	return parameter{name: name, size: 1, states: []field{
		{label: "inside the area", mask: 0x01, texts: notYes},
		{label: "outside the area", mask: 0x02, texts: notYes},
		{label: "inside the maker's exception", mask: 0x04, texts: notYes},
		{label: "exemption for a deficiency is active", mask: 0x08, texts: notYes},
	}}
}

var (
	inducement = map[byte]string{0: "not active", 1: "enabled", 2: "active", 3: "not fitted"}
	indicator  = map[byte]string{0: "off", 1: "on demand", 2: "short", 3: "continuous", 14: "error", 15: "not available"}
	closed     = map[byte]string{0: "not regulated", 1: "regulated"}
)

// inducementReasons are the four bits of parameter 88 for one stretch of road, from the lowest bit given.
func inducementReasons(stretch string, at int, lowest byte) []field {
	out := make([]field, 4)
	for i, why := range []string{"reagent level too low", "wrong reagent", "reagent use deviates", "nitrogen oxides too high"} {
		out[i] = field{label: stretch + ": " + why, at: at, mask: lowest << i, texts: notYes}
	}
	return out
}

func inducementStates() []field {
	out := []field{{label: "power limit for the exhaust treatment", mask: 0x80, texts: off}}
	out = append(out, inducementReasons("now", 0, 0x01)...)
	out = append(out, inducementReasons("0 to 10,000 km ago", 1, 0x01)...)
	out = append(out, inducementReasons("10,000 to 20,000 km ago", 1, 0x10)...)
	out = append(out, inducementReasons("20,000 to 30,000 km ago", 2, 0x01)...)
	return append(out, inducementReasons("30,000 to 40,000 km ago", 2, 0x10)...)
}

// aftertreatmentParameters are those of the exhaust treatment, 78-94. Layouts of 85-94 after a public listing of the
// tables of SAE J1979-DA; scapy 2.5.0 has their lengths.
var aftertreatmentParameters = map[byte]parameter{
	0x78: fitted("exhaust gas temperature, bank 1", row(exhaust, "sensor 1", "sensor 2", "sensor 3", "sensor 4")),
	0x79: fitted("exhaust gas temperature, bank 2", row(exhaust, "sensor 1", "sensor 2", "sensor 3", "sensor 4")),
	0x7A: fitted("pressure at the particle filter, bank 1", filterPressure),
	0x7B: fitted("pressure at the particle filter, bank 2", filterPressure),
	0x7C: fitted("temperature of the particle filter", row(exhaust, "bank 1, inlet", "bank 1, outlet", "bank 2, inlet", "bank 2, outlet")),
	0x7D: area("area of the limit for nitrogen oxides"),
	0x7E: area("area of the limit for particles"),
	0x83: fitted("nitrogen oxides", row(ppm, banks12...)).before(fitted("nitrogen oxides", row(ppm, "bank 1, sensor 1", "bank 2, sensor 1"))),
	0x84: scaled("surface temperature of the manifold", celsius),
	0x85: fitted("reagent for nitrogen oxides", []number{
		number{size: 2, factor: 0.005, unit: quantity.LitrePerH, digits: 3}.in("average use", 0x01, 1),
		number{size: 2, factor: 0.005, unit: quantity.LitrePerH, digits: 3}.in("average demand", 0x02, 3),
		percent.in("tank level", 0x04, 5), timer.in("run time with the warning on", 0x08, 6),
	}),
	0x86: fitted("particles", row(number{size: 2, factor: 1.0 / 80, unit: quantity.MgPerCubicMetre, digits: 2}, "bank 1, sensor 1", "bank 2, sensor 1")),
	0x87: fitted("intake manifold pressure by sensor", row(pressure32, "A", "B")),
	0x88: {name: "limits on driving for the exhaust treatment", size: 13, states: inducementStates(), numbers: []number{
		km.in("with the limit on, current 10,000 km", 0, 3), km.in("driven, current 10,000 km", 0, 5), km.in("with the limit on, 10,000 to 20,000 km ago", 0, 7),
		km.in("with the limit on, 20,000 to 30,000 km ago", 0, 9), km.in("with the limit on, 30,000 to 40,000 km ago", 0, 11),
	}},
	0x8B: fitted("cleaning of the exhaust treatment", []number{
		percent.in("until the next particle filter cleaning", 0x10, 2), minutes.in("average time between cleanings", 0x20, 3), km.in("average distance between cleanings", 0x40, 5),
	},
		field{label: "particle filter cleaning", fitted: 0x01, at: 1, mask: 0x01, texts: map[byte]string{0: "not under way", 1: "under way"}},
		field{label: "kind of cleaning", fitted: 0x02, at: 1, mask: 0x02, texts: map[byte]string{0: "passive", 1: "active"}},
		field{label: "nitrogen oxide trap", fitted: 0x04, at: 1, mask: 0x04, texts: map[byte]string{0: "filling", 1: "being emptied"}},
		field{label: "sulphur removal", fitted: 0x08, at: 1, mask: 0x08, texts: map[byte]string{0: "not under way", 1: "under way"}}),
	0x8C: fitted("oxygen in the exhaust", wideOxygen(banks12...)),
	0x8F: fitted("particle sensors", []number{
		number{size: 2, signed: true, factor: 0.01, unit: quantity.Percent, digits: 2}.in("bank 1", 0x02, 2),
		number{size: 2, signed: true, factor: 0.01, unit: quantity.Percent, digits: 2}.in("bank 2", 0x08, 5),
	},
		field{label: "bank 1, measuring", fitted: 0x01, at: 1, mask: 0x01, texts: notYes},
		field{label: "bank 1, cleaning itself", fitted: 0x01, at: 1, mask: 0x02, texts: notYes},
		field{label: "bank 2, measuring", fitted: 0x04, at: 4, mask: 0x01, texts: notYes},
		field{label: "bank 2, cleaning itself", fitted: 0x04, at: 4, mask: 0x02, texts: notYes}).
		before(raw("particle sensors", 5)),
	0x90: {name: "lamp of the vehicle, heavy vehicles", size: 3, numbers: []number{hours.in("lamp lit without a break", 0, 1)}, states: []field{
		{label: "display", mask: 0x03, texts: map[byte]string{0: "does not tell kinds of faults apart", 1: "tells kinds of faults apart", 3: "not available"}},
		{label: "lamp", mask: 0x3C, texts: indicator},
		{label: "self-tests", mask: 0x40, texts: map[byte]string{0: "complete", 1: "not complete"}},
	}},
	0x91: {name: "lamp of the module, heavy vehicles", size: 5, numbers: []number{hours.in("lamp lit without a break", 0, 1), hours.in("longest fault of class B1", 0, 3)},
		states: []field{{label: "lamp", mask: 0x0F, texts: indicator}}},
	0x92: {name: "fuel control", size: 2, states: []field{
		{label: "pressure 1", fitted: 0x01, at: 1, mask: 0x01, texts: closed},
		{label: "quantity 1", fitted: 0x02, at: 1, mask: 0x02, texts: closed},
		{label: "timing 1", fitted: 0x04, at: 1, mask: 0x04, texts: closed},
		{label: "idle balance 1", fitted: 0x08, at: 1, mask: 0x08, texts: closed},
		{label: "pressure 2", fitted: 0x10, at: 1, mask: 0x10, texts: closed},
		{label: "quantity 2", fitted: 0x20, at: 1, mask: 0x20, texts: closed},
		{label: "timing 2", fitted: 0x40, at: 1, mask: 0x40, texts: closed},
		{label: "idle balance 2", fitted: 0x80, at: 1, mask: 0x80, texts: closed},
	}},
	0x93: fitted("lamp time, heavy vehicles", row(hours, "lamp lit in all")),
	0x94: fitted("warnings about nitrogen oxides", []number{
		hours.in("wrong reagent", 0x02, 2), hours.in("reagent use", 0x04, 4), hours.in("dosing interrupted", 0x08, 6), hours.in("recirculation valve", 0x10, 8), hours.in("monitoring", 0x20, 10),
	},
		field{label: "warning", fitted: 0x01, at: 1, mask: 0x01, texts: map[byte]string{0: "not active", 1: "active"}},
		field{label: "limit, level 1", fitted: 0x01, at: 1, mask: 0x06, texts: inducement},
		field{label: "limit, level 2", fitted: 0x01, at: 1, mask: 0x18, texts: inducement},
		field{label: "limit, level 3", fitted: 0x01, at: 1, mask: 0x60, texts: inducement}),
}
