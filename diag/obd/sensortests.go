package obd

import (
	"fmt"

	"readback/diag/quantity"
)

// SensorTest is a result of an oxygen sensor's test (service 05, older buses only: on CAN service 06 has it).
type SensorTest struct {
	Test    byte
	Sensor  byte   // as on the wire, one bit a sensor: bit 0 is bank 1 sensor 1, bit 4 bank 2 sensor 1
	Name    string // of the test; "" for one that is not described here
	Fitting string // "bank 1, sensor 2"; "" when not one bit is set
	Value   Reading
	Limits  []Reading // lower and upper limit; none where the test is a constant of the maker
	Verdict Verdict
	Raw     []byte
}

// sensorScale is the scaling of tests 01-0A, SAE J1979 annex C; scapy 2.5.0 agrees.
func sensorScale(test byte) (n number, ok bool) {
	switch test {
	case 0x01, 0x02, 0x03, 0x04, 0x07, 0x08:
		return number{size: 1, factor: 0.005, unit: quantity.Volt, digits: 3}, true
	case 0x05, 0x06:
		return number{size: 1, factor: 0.004, unit: quantity.Second, digits: 3}, true
	case 0x09, 0x0A:
		return number{size: 1, factor: 0.04, unit: quantity.Second, digits: 2}, true
	}
	return number{}, false
}

// DecodeSensorTest reads 45: test, sensor and value, and for a measured test the two limits.
func DecodeSensorTest(a []byte) (SensorTest, error) {
	if len(a) != 4 && len(a) != 6 {
		return SensorTest{}, &ShapeError{"test of an oxygen sensor", a, "a value, or a value and two limits, must follow"}
	}
	t := SensorTest{Test: a[1], Sensor: a[2], Name: testNames[a[1]], Fitting: fittings[a[2]], Raw: a[3:], Limits: []Reading{}}
	n, ok := sensorScale(t.Test)
	if !ok {
		t.Name = ""
		return t, nil
	}
	t.Value = n.of(t.Raw[:1])
	if len(t.Raw) < 3 {
		return t, nil
	}
	t.Limits = []Reading{n.of(t.Raw[1:2]), n.of(t.Raw[2:3])}
	switch v := t.Raw[0]; {
	case allZero(t.Raw):
		t.Verdict = NoResult
	case v < t.Raw[1]:
		t.Verdict = Below
	case v > t.Raw[2]:
		t.Verdict = Above
	default:
		t.Verdict = Within
	}
	return t, nil
}

var fittings = func() map[byte]string {
	t := map[byte]string{}
	for i := range 8 {
		t[1<<i] = fmt.Sprintf("bank %d, sensor %d", i/4+1, i%4+1)
	}
	return t
}()
