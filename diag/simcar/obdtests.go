package simcar

import (
	"maps"
	"slices"
	"time"
)

// revolutions is the speed of the motor or engine, 1/min.
func (c *Car) revolutions() int {
	driven := c.speed * c.spec.Gearing
	if c.spec.Engine == nil || !c.ready {
		return driven
	}
	return max(c.spec.Engine.Idle, driven)
}

// coolant is its temperature, °C.
func (c *Car) coolant(now time.Time) int {
	e := c.spec.Engine
	switch {
	case e == nil:
		return c.spec.Outside
	case !c.ready:
		return e.Coolant
	}
	return min(e.Warm, e.Coolant+seconds(now.Sub(c.readyAt))/4)
}

// readiness are bytes B, C and D of parameters 01 and 41 (SAE J1979 annex B). Until the self-tests have run anew, all
// that are fitted are incomplete.
func (o *obdMemory) readiness(running time.Duration, anew bool) []byte {
	r := slices.Clone([]byte(o.spec.Readiness))
	if anew && running < millis(o.spec.Complete) {
		r[0] |= r[0] & 0x07 << 4
		r[2] = r[1]
	}
	return r
}

func checkSelfTests(_ *module, req []byte) byte {
	switch {
	case len(req) < 2 || len(req) > 1+mostParameters:
		return nrcSubFunctionNotSupported
	case len(req) > 2 && slices.ContainsFunc(req[1:], func(id byte) bool { return id%0x20 != 0 }):
		return nrcSubFunctionNotSupported // only tables may be asked for together (SAE J1979 clause 6.6)
	}
	return 0
}

// selfTests answers service 06: a record of nine bytes for each test of the monitor, or tables of monitors.
func (c *Car) selfTests(m *module, req []byte, now time.Time) ([]byte, byte) {
	if len(m.obd.spec.SelfTests) == 0 {
		return nil, nrcServiceNotSupported
	}
	out := []byte{0x46}
	for _, id := range req[1:] {
		if id%0x20 == 0 {
			if table := offered(m.obd.monitors(), id); table != nil {
				out = append(append(out, id), table...)
			}
			continue
		}
		for _, record := range m.obd.results(id, now) {
			out = append(append(out, id), record...)
		}
	}
	if len(out) == 1 {
		return nil, nrcSubFunctionNotSupported
	}
	return out, 0
}

func (o *obdMemory) monitors() []byte {
	var out []byte
	for number := range o.spec.SelfTests {
		if id, ok := parameter(number); ok {
			out = append(out, id)
		}
	}
	return out
}

// results are the records of one monitor: test, unit, value and limits. After a clear all three are zero until the test
// has run again (SAE J1979 clause 6.6).
func (o *obdMemory) results(monitor byte, now time.Time) [][]byte {
	var out [][]byte
	for _, number := range slices.Sorted(maps.Keys(o.spec.SelfTests)) {
		if id, ok := parameter(number); !ok || id != monitor {
			continue
		}
		for _, t := range o.spec.SelfTests[number] {
			record := []byte{byte(t.Test), byte(t.Unit)}
			if o.cleared && now.Sub(o.since) < millis(o.spec.Complete) {
				record = append(record, make([]byte, 6)...)
			} else {
				record = slices.Concat(record, t.Value, t.Low, t.High)
			}
			out = append(out, record)
		}
	}
	return out
}

// kind is the type of service 09 that tells the counts.
func (t *Tracking) kind() byte {
	if t.Compression {
		return infoCompression
	}
	return infoSpark
}

// bytes are all counts, two bytes each.
func (t *Tracking) bytes() []byte {
	out := append(word(t.Conditions), word(t.Starts)...)
	for _, n := range t.Counts {
		out = append(out, word(n)...)
	}
	return out
}

// obdIdentifier is the value of an identifier of SAE J1979-2: F4xx is parameter xx of service 01, F6xx monitor xx of 06,
// F8xx type xx of 09 (ranges: ISO 14229-1 annex C; that monitors and types come without their number is from memory).
func (c *Car) obdIdentifier(m *module, id uint16, now time.Time) ([]byte, bool) {
	if m.obd == nil || !m.obd.spec.OnUDS {
		return nil, false
	}
	number := byte(id)
	var v []byte
	switch table := number%0x20 == 0; {
	case id>>8 == 0xF4 && table:
		v = offered(m.obd.numbers(), number)
	case id>>8 == 0xF4:
		v = m.obd.value(c, number, now)
	case id>>8 == 0xF6 && len(m.obd.spec.SelfTests) == 0:
	case id>>8 == 0xF6 && table:
		v = offered(m.obd.monitors(), number)
	case id>>8 == 0xF6:
		v = slices.Concat(m.obd.results(number, now)...)
	case id>>8 == 0xF8 && table:
		v = offered(m.obd.infos(), number)
	case id>>8 == 0xF8:
		v, _ = c.info(m, number)
	}
	return v, len(v) > 0
}

// validateTests checks what services 06 and 09 tell.
func (o *OBD) validateTests(at string) error {
	for _, number := range slices.Sorted(maps.Keys(o.SelfTests)) {
		at := at + ".selfTests." + number
		id, ok := parameter(number)
		if !ok || id%0x20 == 0 || len(o.SelfTests[number]) == 0 {
			return wrong(at, "is no monitor with its tests")
		}
		for _, t := range o.SelfTests[number] {
			if len(t.Value) != 2 || len(t.Low) != 2 || len(t.High) != 2 {
				return wrong(at, "test %02X: value and limits have 2 bytes each", byte(t.Test))
			}
		}
	}
	t := o.Tracking
	if t == nil {
		return nil
	}
	if len(t.Counts)%2 != 0 || len(t.Counts) > 26 || slices.ContainsFunc(append([]int{t.Conditions, t.Starts}, t.Counts...), func(n int) bool { return n < 0 || n > 0xFFFF }) {
		return wrong(at+".tracking", "counts are pairs, up to 13, from 0 to 65535")
	}
	return nil
}
