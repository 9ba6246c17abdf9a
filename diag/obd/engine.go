package obd

import (
	"fmt"

	"readback/diag/quantity"
)

// Parameters from 64 on begin with a byte that says which of their values are fitted. Layouts of 64-82 after scapy 2.5.0
// and, where a line says "listing", after a public listing of the tables of SAE J1979-DA, which is of a later edition.

// at gives a shape its label, its place and the bit of the first byte that says it is fitted.
func (n number) in(label string, fitted byte, at int) number {
	n.label, n.fitted, n.at = label, fitted, at
	return n
}

// row makes numbers of one shape, one after another from byte 1 on, with bits 0, 1, 2 ... of the first byte.
func row(shape number, labels ...string) []number {
	out := make([]number, len(labels))
	for i, l := range labels {
		out[i] = shape.in(l, 1<<i, 1+i*shape.size)
	}
	return out
}

// fitted makes a parameter of such numbers, and of states behind them.
func fitted(name string, numbers []number, states ...field) parameter {
	p := scaled(name, numbers...)
	p.states = states
	for _, f := range states {
		p.size = max(p.size, f.at+1)
	}
	return p
}

// before gives a parameter its layout of earlier editions.
func (p parameter) before(older parameter) parameter {
	p.older = &older
	return p
}

var (
	pressure32 = number{size: 2, factor: 1.0 / 32, unit: quantity.Kilopascal, digits: 1}
	pressure   = number{size: 2, factor: 0.01, unit: quantity.Kilopascal, digits: 2}
	exhaust    = number{size: 2, factor: 0.1, offset: -40, unit: quantity.Celsius, digits: 1}
	// Factor 10 in the listing and one other table, 1 in scapy: turbochargers turn faster than 65,535 1/min.
	turbine = number{size: 2, factor: 10, unit: quantity.PerMinute}
	timer   = number{size: 4, factor: 1, unit: quantity.Second}
	banks12 = []string{"bank 1, sensor 1", "bank 1, sensor 2", "bank 2, sensor 1", "bank 2, sensor 2"}
)

var (
	off     = map[byte]string{0: "off", 1: "on"}
	notYes  = map[byte]string{0: "no", 1: "yes"}
	control = map[byte]string{1: "not regulated", 2: "regulated", 3: "a fault is present, the value is not reliable"}
)

// wideCelsius is four times as coarse as the usual temperature and uses the same byte (listing).
var wideCelsius = number{size: 1, factor: 4, offset: -40, unit: quantity.Celsius}

// wideInlet is the wide range of the compressor's inlet pressure (listing).
var wideInlet = number{size: 1, factor: 8, unit: quantity.Kilopascal}

// engineParameters are 64-7F, without those of the exhaust treatment.
var engineParameters = map[byte]parameter{
	0x64: scaled("torque in percent of the reference",
		torque.in("idle", 0, 0), torque.in("point 1", 0, 1), torque.in("point 2", 0, 2), torque.in("point 3", 0, 3), torque.in("point 4", 0, 4)),
	// The words for 0 and 1 are from memory of SAE J1979.
	0x65: {name: "inputs and outputs", size: 2, states: []field{
		{label: "power take-off", fitted: 0x01, at: 1, mask: 0x01, texts: off},
		{label: "automatic transmission", fitted: 0x02, at: 1, mask: 0x02, texts: map[byte]string{0: "park or neutral", 1: "in gear"}},
		{label: "manual transmission", fitted: 0x04, at: 1, mask: 0x04, texts: map[byte]string{0: "neutral or clutch pressed", 1: "in gear"}},
		{label: "glow plug lamp", fitted: 0x08, at: 1, mask: 0x08, texts: off},
	}},
	0x66: fitted("air flow by sensor", row(number{size: 2, factor: 1.0 / 32, unit: quantity.GramPerSec, digits: 2}, "sensor A", "sensor B")),
	0x67: fitted("coolant temperature by sensor", row(celsius, "sensor 1", "sensor 2")),
	0x68: fitted("intake air temperature by sensor", row(celsius,
		"bank 1, sensor 1", "bank 1, sensor 2", "bank 1, sensor 3", "bank 2, sensor 1", "bank 2, sensor 2", "bank 2, sensor 3")).
		before(fitted("intake air temperature by sensor", row(celsius, "sensor 1", "sensor 2"))),
	0x69: fitted("exhaust gas recirculation", []number{
		percent.in("A as commanded", 0x01, 1), percent.in("A actual", 0x02, 2), trim.in("A error", 0x04, 3),
		percent.in("B as commanded", 0x08, 4), percent.in("B actual", 0x10, 5), trim.in("B error", 0x20, 6),
	}),
	0x6A: fitted("intake air flap", row(percent, "A as commanded", "A actual", "B as commanded", "B actual")),
	0x6B: fitted("temperature of the recirculated exhaust gas", append(row(celsius, banks12...), // wide range: listing
		wideCelsius.in("bank 1, sensor 1", 0x10, 1), wideCelsius.in("bank 1, sensor 2", 0x20, 2),
		wideCelsius.in("bank 2, sensor 1", 0x40, 3), wideCelsius.in("bank 2, sensor 2", 0x80, 4))),
	0x6C: fitted("throttle by actuator", row(percent, "A as commanded", "A actual", "B as commanded", "B actual")),
	0x6D: fitted("fuel rail", []number{ // listing
		rail.in("A pressure as commanded", 0x01, 1), rail.in("A pressure", 0x02, 3), celsius.in("A temperature", 0x04, 5),
		rail.in("B pressure as commanded", 0x08, 6), rail.in("B pressure", 0x10, 8), celsius.in("B temperature", 0x20, 10),
	}).before(fitted("fuel rail", []number{rail.in("pressure as commanded", 0x01, 1), rail.in("pressure", 0x02, 3), celsius.in("temperature", 0x04, 5)})),
	0x6E: fitted("injection pressure", row(rail, "A as commanded", "A actual", "B as commanded", "B actual")). // listing
															before(fitted("injection pressure", row(rail, "as commanded", "actual"))),
	0x6F: fitted("pressure before the turbocharger", append(row(kilopascal, "A", "B"), wideInlet.in("A", 0x04, 1), wideInlet.in("B", 0x08, 2))),
	0x70: fitted("boost pressure", []number{ // listing; the earlier edition has other bits
		pressure32.in("A as commanded", 0x01, 1), pressure32.in("A actual", 0x02, 3), pressure32.in("B as commanded", 0x08, 5), pressure32.in("B actual", 0x10, 7),
	}, field{label: "A", fitted: 0x04, at: 9, mask: 0x03, texts: control}, field{label: "B", fitted: 0x20, at: 9, mask: 0x0C, texts: control}).
		before(fitted("boost pressure", row(pressure32, "A as commanded", "A actual", "B as commanded", "B actual"))),
	0x71: fitted("vanes of the turbocharger", []number{ // listing
		percent.in("A as commanded", 0x01, 1), percent.in("A actual", 0x02, 2), percent.in("B as commanded", 0x08, 3), percent.in("B actual", 0x10, 4),
	}, field{label: "A", fitted: 0x04, at: 5, mask: 0x03, texts: control}, field{label: "B", fitted: 0x20, at: 5, mask: 0x0C, texts: control}).
		before(fitted("vanes of the turbocharger", row(percent, "A as commanded", "A actual", "B as commanded", "B actual"))),
	0x72: fitted("wastegate", row(percent, "A as commanded", "A actual", "B as commanded", "B actual")),
	0x73: fitted("exhaust pressure", row(pressure, "bank 1", "bank 2")),
	0x74: fitted("speed of the turbocharger", row(turbine, "A", "B")),
	0x75: fitted("temperatures of turbocharger A", turboTemperatures),
	0x76: fitted("temperatures of turbocharger B", turboTemperatures),
	0x77: fitted("charge air temperature", row(celsius, banks12...)),
	0x7F: fitted("run time of the engine", row(timer, "in all", "idling", "with power take-off")), // scapy has eight bytes each, three tables four
	0x81: devices(1).before(devicesShort(1)),
	0x82: devices(6).before(devicesShort(6)),
	0x89: devices(11),
	0x8A: devices(16),
}

var turboTemperatures = []number{
	celsius.in("compressor inlet", 0x01, 1), celsius.in("compressor outlet", 0x02, 2), exhaust.in("turbine inlet", 0x04, 3), exhaust.in("turbine outlet", 0x08, 5),
}

// devices are the run times of five auxiliary emission control devices, two timers each (listing); scapy takes the two
// for one number of eight bytes.
func devices(first int) parameter {
	var n []number
	for i := range 5 {
		for k := range 2 {
			n = append(n, timer.in(fmt.Sprintf("device %d, timer %d", first+i, k+1), 1<<i, 1+8*i+4*k))
		}
	}
	return fitted(fmt.Sprintf("run time of emission control devices %d to %d", first, first+4), n)
}

// devicesShort is the form of earlier editions, one timer each.
func devicesShort(first int) parameter {
	labels := make([]string, 5)
	for i := range labels {
		labels[i] = fmt.Sprintf("device %d", first+i)
	}
	return fitted(fmt.Sprintf("run time of emission control devices %d to %d", first, first+4), row(timer, labels...))
}
