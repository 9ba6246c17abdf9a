package simcar

import (
	"encoding/binary"
	"maps"
	"slices"
	"time"
)

// obdServices are the services of SAE J1979 that a module with an OBD part knows.
var obdServices = map[byte]service{
	0x01: {checkParameters, (*Car).currentData, false},
	0x02: {checkFreeze, (*Car).freezeData, false},
	0x03: {checkAlone, (*Car).storedCodes, false},
	0x04: {checkAlone, (*Car).clearOBD, false},
	0x06: {checkSelfTests, (*Car).selfTests, false},
	0x07: {checkAlone, (*Car).pendingCodes, false},
	0x09: {checkInfo, (*Car).vehicleInfo, false},
	0x0A: {checkAlone, (*Car).permanentCodes, false},
}

// mostParameters is how many parameters one request may name on CAN (SAE J1979).
const mostParameters = 6

// obdMemory is what the OBD part of a module keeps.
type obdMemory struct {
	spec      *OBD
	owner     *module
	cleared   bool      // since the scenario began
	since     time.Time // when the car was made, or the last clear
	frozen    *trouble
	values    map[byte][]byte // of the freeze frame
	permanent []*trouble
}

func newOBDMemory(m *module, now time.Time) *obdMemory {
	o := &obdMemory{spec: m.spec.OBD, owner: m, since: now, values: map[byte][]byte{}}
	if b, err := parseCode(o.spec.Freeze.Code); err == nil {
		o.frozen = m.find(b[:])
	}
	for number, v := range o.spec.Freeze.Values {
		if p, ok := parameter(number); ok {
			o.values[p] = v
		}
	}
	for _, t := range m.troubles {
		if t.spec.OBD && t.spec.Permanent {
			o.permanent = append(o.permanent, t)
		}
	}
	return o
}

func parameter(number string) (byte, bool) {
	var b Byte
	err := b.UnmarshalText([]byte(number))
	return byte(b), err == nil
}

// freeze keeps the freeze frame of the first code that is stored; later ones leave it alone.
func (o *obdMemory) freeze(c *Car, t *trouble, at time.Time) {
	if o.frozen != nil {
		return
	}
	o.frozen = t
	for p := range o.values {
		if v := o.value(c, p, at); v != nil {
			o.values[p] = v
		}
	}
}

// clear empties what service 04 empties. Permanent codes stay: only the module itself erases those.
func (o *obdMemory) clear(now time.Time) {
	o.frozen = nil
	o.cleared, o.since = true, now
}

// value is one parameter of service 01 now; nil when it isn't offered.
func (o *obdMemory) value(c *Car, p byte, now time.Time) []byte {
	for _, number := range o.spec.Live {
		if n, ok := parameter(number); ok && n == p && liveParameters[p] != nil {
			return liveParameters[p](c, o, now)
		}
	}
	for number, v := range o.spec.Parameters {
		if n, ok := parameter(number); ok && n == p {
			return v
		}
	}
	return nil
}

func word(n int) []byte { return binary.BigEndian.AppendUint16(nil, uint16(min(0xFFFF, max(0, n)))) }

// liveParameters are the parameters that follow the car. Scaling: SAE J1979 as three open tables agree on it.
var liveParameters = map[byte]func(c *Car, o *obdMemory, now time.Time) []byte{
	0x01: func(_ *Car, o *obdMemory, now time.Time) []byte {
		a := byte(min(127, len(o.codes(confirmed))))
		if len(o.codes(lampRequested)) > 0 {
			a |= 0x80
		}
		return append([]byte{a}, o.readiness(now.Sub(o.since), o.cleared)...)
	},
	0x05: func(c *Car, _ *obdMemory, now time.Time) []byte { return []byte{byte(c.coolant(now) + 40)} }, // °C + 40
	0x0C: func(c *Car, _ *obdMemory, _ time.Time) []byte { return word(c.revolutions() * 4) },           // 1/4 1/min
	0x0D: func(c *Car, _ *obdMemory, _ time.Time) []byte { return []byte{byte(c.speed)} },               // km/h
	0x1F: func(c *Car, _ *obdMemory, now time.Time) []byte { // s, while the drive is on
		if !c.ready {
			return word(0)
		}
		return word(seconds(now.Sub(c.readyAt)))
	},
	0x21: func(_ *Car, o *obdMemory, _ time.Time) []byte { return word(o.count(o.spec.KmWithLamp)) }, // km
	0x30: func(_ *Car, o *obdMemory, _ time.Time) []byte { return []byte{byte(o.count(o.spec.WarmUps))} },
	0x31: func(_ *Car, o *obdMemory, _ time.Time) []byte { return word(o.count(o.spec.KmSince)) }, // km
	0x41: func(c *Car, o *obdMemory, now time.Time) []byte { // on this trip
		return append([]byte{0}, o.readiness(now.Sub(c.onSince), true)...)
	},
	0x42: func(c *Car, _ *obdMemory, _ time.Time) []byte { return word(int(c.supply*1000 + 0.5)) },    // mV
	0x46: func(c *Car, _ *obdMemory, _ time.Time) []byte { return []byte{byte(c.spec.Outside + 40)} }, // °C + 40
	0xA6: func(c *Car, _ *obdMemory, _ time.Time) []byte {
		return binary.BigEndian.AppendUint32(nil, uint32(c.spec.Odometer)*10)
	}, // 0.1 km
	0x4E: func(_ *Car, o *obdMemory, now time.Time) []byte { // min
		return word(o.count(o.spec.MinSince) + int(now.Sub(o.since)/time.Minute))
	},
}

// count is a counter of the scenario, which starts from 0 again at a clear.
func (o *obdMemory) count(atStart int) int {
	if o.cleared {
		return 0
	}
	return atStart
}

// codes are the OBD codes with a status bit.
func (o *obdMemory) codes(bit status) []*trouble {
	var out []*trouble
	for _, t := range o.owner.troubles {
		if t.spec.OBD && t.status.has(bit) {
			out = append(out, t)
		}
	}
	return out
}

// offered is the bitmap that number 00, 20, 40... of a service answers with: bit 31 is the next number, and the last
// bit tells that the next bitmap is there. nil when that bitmap isn't offered.
func offered(numbers []byte, base byte) []byte {
	var bits uint32
	top := byte(0)
	for _, n := range numbers {
		if n > base && n-base <= 0x20 {
			bits |= 1 << (0x20 - (n - base))
		}
		top = max(top, n)
	}
	if base != 0 && top <= base {
		return nil
	}
	if int(top) > int(base)+0x20 {
		bits |= 1
	}
	return binary.BigEndian.AppendUint32(nil, bits)
}

func (o *obdMemory) numbers() []byte {
	var out []byte
	for _, number := range append(slices.Collect(maps.Keys(o.spec.Parameters)), o.spec.Live...) {
		if p, ok := parameter(number); ok {
			out = append(out, p)
		}
	}
	return out
}

func checkParameters(_ *module, req []byte) byte {
	if len(req) < 2 || len(req) > 1+mostParameters {
		return nrcSubFunctionNotSupported
	}
	return 0
}

// currentData answers service 01 with those parameters that are offered. A request for others only is refused when
// it went to this module alone (from memory of SAE J1979, which has 12 for arguments that a module doesn't know).
func (c *Car) currentData(m *module, req []byte, now time.Time) ([]byte, byte) {
	out := []byte{0x41}
	for _, p := range req[1:] {
		v := m.obd.value(c, p, now)
		if p%0x20 == 0 {
			v = offered(m.obd.numbers(), p)
		}
		if v != nil {
			out = append(append(out, p), v...)
		}
	}
	if len(out) == 1 {
		return nil, nrcSubFunctionNotSupported
	}
	return out, 0
}

func checkFreeze(_ *module, req []byte) byte {
	if len(req) < 3 || len(req)%2 == 0 || len(req) > 1+mostParameters {
		return nrcSubFunctionNotSupported
	}
	return 0
}

// freezeData answers service 02: pairs of a parameter and a frame number, of which only 00 is kept. Parameter 02 is
// the code that caused the frame, 0000 when there is none.
func (c *Car) freezeData(m *module, req []byte, _ time.Time) ([]byte, byte) {
	o := m.obd
	out := []byte{0x42}
	numbers := append([]byte{0x02}, slices.Collect(maps.Keys(o.values))...)
	for rest := req[1:]; len(rest) >= 2; rest = rest[2:] {
		p, frame := rest[0], rest[1]
		var v []byte
		switch {
		case frame != 0:
		case p%0x20 == 0:
			v = offered(numbers, p)
		case p == 0x02 && o.frozen != nil:
			v = o.frozen.code[:2]
		case p == 0x02:
			v = []byte{0, 0}
		case o.frozen != nil:
			v = o.values[p]
		}
		if v != nil {
			out = append(append(out, p, frame), v...)
		}
	}
	if len(out) == 1 {
		return nil, nrcSubFunctionNotSupported
	}
	return out, 0
}

func checkAlone(_ *module, req []byte) byte {
	if len(req) != 1 {
		return nrcSubFunctionNotSupported
	}
	return 0
}

func (c *Car) storedCodes(m *module, _ []byte, _ time.Time) ([]byte, byte) {
	return codeList(0x43, m.obd.codes(confirmed)), 0
}

func (c *Car) pendingCodes(m *module, _ []byte, _ time.Time) ([]byte, byte) {
	return codeList(0x47, m.obd.codes(pending)), 0
}

func (c *Car) permanentCodes(m *module, _ []byte, _ time.Time) ([]byte, byte) {
	return codeList(0x4A, m.obd.permanent), 0
}

// codeList is the form on CAN: a count, then two bytes a code (ISO 15031-5).
func codeList(sid byte, troubles []*trouble) []byte {
	out := []byte{sid, byte(len(troubles))}
	for _, t := range troubles {
		out = append(out, t.code[:2]...)
	}
	return out
}

// clearOBD clears everything the module holds; a module's two ways of reading show one memory.
func (c *Car) clearOBD(m *module, _ []byte, now time.Time) ([]byte, byte) {
	m.clearAll(c, now)
	return []byte{0x44}, 0
}

func checkInfo(_ *module, req []byte) byte {
	if len(req) != 2 {
		return nrcSubFunctionNotSupported
	}
	return 0
}

// Types of service 09.
const (
	infoVIN         = 0x02
	infoCalibration = 0x04
	infoCheck       = 0x06
	infoSpark       = 0x08
	infoName        = 0x0A
	infoCompression = 0x0B
)

// vehicleInfo answers service 09: the type, the number of items and the items.
func (c *Car) vehicleInfo(m *module, req []byte, _ time.Time) ([]byte, byte) {
	if req[1] == 0x00 {
		return append([]byte{0x49, 0x00}, offered(m.obd.infos(), 0)...), 0
	}
	items, count := c.info(m, req[1])
	if count == 0 {
		return nil, nrcSubFunctionNotSupported
	}
	return append([]byte{0x49, req[1], byte(count)}, items...), 0
}

// infos are the types of service 09 that a module has.
func (o *obdMemory) infos() []byte {
	out := []byte{infoVIN, infoCalibration, infoCheck, infoName}
	if o.spec.Tracking != nil {
		out = append(out, o.spec.Tracking.kind())
	}
	return out
}

// info is one type of service 09: its items, text filled up with 00, and how many they are; 0 when it isn't offered.
func (c *Car) info(m *module, kind byte) (items []byte, count int) {
	o := m.obd.spec
	switch kind {
	case infoVIN:
		return []byte(c.spec.VIN), 1
	case infoCalibration:
		return fill(o.Calibration, 16), 1
	case infoCheck:
		return o.Check, 1
	case infoName:
		return fill(o.Name, 20), 1
	}
	if o.Tracking == nil || kind != o.Tracking.kind() {
		return nil, 0
	}
	return o.Tracking.bytes(), 2 + len(o.Tracking.Counts)
}

func fill(s string, n int) []byte {
	out := make([]byte, n)
	copy(out, s)
	return out
}
