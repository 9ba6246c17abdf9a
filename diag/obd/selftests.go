package obd

import (
	"context"
	"fmt"
)

// Verdict is how a self-test came out.
type Verdict int

const (
	NoVerdict Verdict = iota // the car has told values whose sign nobody knows
	NoResult                 // not run since the codes were erased: value and limits are zero
	Within                   // the value is between its limits
	Below                    // the value is below the lower limit
	Above                    // the value is above the upper limit
)

func (v Verdict) String() string {
	return [...]string{"no verdict", "no result yet", "within its limits", "below its limit", "above its limit"}[v]
}

// SelfTest is one result that a module keeps of its own test (service 06).
type SelfTest struct {
	Monitor     byte
	Test        byte
	Unit        byte   // units-and-scaling id
	Name        string // of the monitor, in plain words; "" when it is the maker's own or reserved
	TestName    string // of the test; "" when it is the maker's own
	Value       Reading
	Low, High   Reading
	Described   bool // the unit is described here; without it only Raw counts
	Verdict     Verdict
	Raw         []byte // value, lower and upper limit, two bytes each
	MakersOwn   bool   // the test id is the maker's (80-FE)
	MakersGroup bool   // the monitor id is the maker's (E1-FF)
}

// selfTestSize is a monitor id, a test id, a units-and-scaling id and three values of two bytes.
const selfTestSize = 9

// DecodeSelfTests reads 46 on CAN: one record of nine bytes a test, SAE J1979 clause 6.6. The answer to 00, 20 ... E0 is a
// table of what is offered: [DecodeOffered].
func DecodeSelfTests(a []byte) ([]SelfTest, error) {
	const op = "results of self-tests"
	if len(a) < 2 {
		return nil, &ShapeError{op, a, "the answer holds no result"}
	}
	b := a[1:]
	if n := len(b) % selfTestSize; n != 0 && !allZero(b[len(b)-n:]) {
		return nil, &ShapeError{op, a, "the last result is not whole"}
	}
	out := []SelfTest{}
	for ; len(b) >= selfTestSize; b = b[selfTestSize:] {
		if len(out) > 0 && allZero(b) {
			break
		}
		if b[0] != a[1] {
			return nil, &ShapeError{op, a, fmt.Sprintf("results of %02X and of %02X in one answer", a[1], b[0])}
		}
		out = append(out, selfTest(b[0], b[1:selfTestSize]))
	}
	if len(out) == 0 {
		return nil, &ShapeError{op, a, "a result has nine bytes"}
	}
	return out, nil
}

// DecodeSelfTestData reads the data of one monitor by itself, as in a data record F6xx of J1979-2: one record of eight
// bytes a test, without the monitor id (from memory). All of data is used.
func DecodeSelfTestData(monitor byte, data []byte) ([]SelfTest, error) {
	const size = selfTestSize - 1
	if len(data) == 0 || len(data)%size != 0 {
		return nil, &ShapeError{"results of self-tests", data, "a result has eight bytes"}
	}
	out := []SelfTest{}
	for b := data; len(b) > 0; b = b[size:] {
		out = append(out, selfTest(monitor, b[:size]))
	}
	return out, nil
}

// selfTest reads a test id, a units-and-scaling id and three values.
func selfTest(monitor byte, b []byte) SelfTest {
	t := SelfTest{
		Monitor: monitor, Test: b[0], Unit: b[1], Name: monitorNames[monitor], TestName: testNames[b[0]], Raw: b[2:8],
		MakersOwn: b[0] >= 0x80 && b[0] != 0xFF, MakersGroup: monitor >= 0xE1,
	}
	t.Value, t.Described = measuredIn(t.Unit, b[2:4])
	if t.Described {
		t.Low, _ = measuredIn(t.Unit, b[4:6])
		t.High, _ = measuredIn(t.Unit, b[6:8])
	}
	t.Verdict = verdict(t.Unit, b[2:8])
	return t
}

// verdict compares the three values. Their order does not depend on the unit, but on the sign: unsigned for ids up to
// 7F, two's complement for 80-FE (annex E).
func verdict(unit byte, b []byte) Verdict {
	if allZero(b) {
		return NoResult
	}
	if unit == 0 || unit == 0xFF {
		return NoVerdict
	}
	at := func(i int) int {
		v := int(b[i])<<8 | int(b[i+1])
		if unit >= firstSigned && v >= 0x8000 {
			v -= 0x10000
		}
		return v
	}
	switch value := at(0); {
	case value < at(2):
		return Below
	case value > at(4):
		return Above
	}
	return Within
}

// MonitorsOffered asks which monitors each module keeps results of (06 00, 20 ... E0).
func (c *Client) MonitorsOffered(ctx context.Context) (Answers[map[byte]bool], error) {
	return c.offered(ctx, func(first byte) []byte { return []byte{sidSelfTests, first} }, DecodeOffered)
}

// SelfTests reads all results of one monitor (06).
func (c *Client) SelfTests(ctx context.Context, monitor byte) (Answers[[]SelfTest], error) {
	if monitor%0x20 == 0 {
		return nil, fmt.Errorf("obd: %02X is a table of monitors, not a monitor", monitor)
	}
	return ask(ctx, c, DecodeSelfTests, sidSelfTests, monitor)
}

// SerialTest is a result of service 06 on the older buses: numbers and units are the maker's, only the limit's kind is
// in the standard.
type SerialTest struct {
	Test      byte
	Component byte // 00-7F
	Value     uint16
	Limit     uint16
	Minimum   bool // the limit is a lower one
	Verdict   Verdict
	Raw       []byte
}

// DecodeSerialTest reads 46 on the older buses: test id, kind of limit and component, value, limit (SAE J1979, from
// memory). A value equal to its limit is within.
func DecodeSerialTest(a []byte) (SerialTest, error) {
	if len(a) != 7 {
		return SerialTest{}, &ShapeError{"result of a self-test", a, "seven bytes are needed"}
	}
	t := SerialTest{
		Test: a[1], Component: a[2] & 0x7F, Minimum: a[2]&0x80 != 0, Value: uint16(a[3])<<8 | uint16(a[4]), Limit: uint16(a[5])<<8 | uint16(a[6]),
		Raw: a[1:], Verdict: Within,
	}
	switch {
	case t.Minimum && t.Value < t.Limit:
		t.Verdict = Below
	case !t.Minimum && t.Value > t.Limit:
		t.Verdict = Above
	}
	return t, nil
}

// MonitorName is what a monitor of service 06 looks at; ok is false for one that is not described here.
func MonitorName(id byte) (name string, ok bool) {
	name, ok = monitorNames[id]
	return name, ok
}

// monitorNames are the monitor ids of annex D. Those of scapy 2.5.0 agree with a later public listing but for B0 and B1,
// which were the particle filter before misfire got them.
var monitorNames = func() map[byte]string {
	t := map[byte]string{
		0x11: "oxygen sensor, bank 1, sensor 5", 0x12: "oxygen sensor, bank 2, sensor 5",
		0x51: "heating of the oxygen sensor, bank 1, sensor 5", 0x52: "heating of the oxygen sensor, bank 2, sensor 5",
		0x39: "tank venting, cap or large leak", 0x3A: "tank venting, leak of 2.3 mm", 0x3B: "tank venting, leak of 1.0 mm", 0x3C: "tank venting, leak of 0.5 mm",
		0x3D: "tank venting, flow", 0xA1: "misfire, in general",
	}
	for i := range byte(16) {
		t[0x01+i] = fmt.Sprintf("oxygen sensor, bank %d, sensor %d", i/4+1, i%4+1)
		t[0x41+i] = fmt.Sprintf("heating of the oxygen sensor, bank %d, sensor %d", i/4+1, i%4+1)
		t[0xA2+i] = fmt.Sprintf("misfire, cylinder %d", i+1)
	}
	for first, what := range map[byte]string{
		0x21: "catalyst", 0x31: "exhaust gas recirculation", 0x35: "valve timing", 0x61: "heated catalyst", 0x81: "fuel system",
	} {
		for i := range byte(4) {
			t[first+i] = fmt.Sprintf("%s, bank %d", what, i+1)
		}
	}
	for i := range byte(4) {
		t[0x71+i] = fmt.Sprintf("secondary air %d", i+1)
	}
	for first, what := range map[byte]string{
		0x85: "boost pressure", 0x90: "nitrogen oxide trap", 0x98: "nitrogen oxide catalyst", 0xB2: "particle filter",
	} {
		t[first], t[first+1] = what+", bank 1", what+", bank 2"
	}
	return t
}()

// testNames are the test ids of the standard; those of misfire are from memory.
var testNames = map[byte]string{
	0x01: "threshold from rich to lean", 0x02: "threshold from lean to rich",
	0x03: "low voltage for the switching time", 0x04: "high voltage for the switching time",
	0x05: "switching time from rich to lean", 0x06: "switching time from lean to rich",
	0x07: "lowest voltage in the test", 0x08: "highest voltage in the test",
	0x09: "time between two changes", 0x0A: "period of the sensor",
	0x0B: "misfires, average of the last ten trips", 0x0C: "misfires on this trip or the last",
}
