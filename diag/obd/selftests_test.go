package obd_test

import (
	"encoding/hex"
	"math"
	"strconv"
	"strings"
	"testing"

	"readback/diag/obd"
	"readback/testdata"
)

// sameUnit are the words and the scale of the sources where ours are others: ours = theirs times by.
var sameUnit = map[string]struct {
	unit string
	by   float64
}{
	"scapy rpm": {"1/min", 1}, "scapy deg. C": {"°C", 1}, "scapy deg.": {"°", 1}, "scapy mOhm": {"mΩ", 1}, "scapy Ohm": {"Ω", 1}, "scapy kOhm": {"kΩ", 1},
	"scapy KHz": {"kHz", 1}, "scapy counts": {"", 1}, "scapy switches": {"", 1}, "scapy inch": {"in", 1},
	"listing rpm": {"1/min", 1}, "listing lambda": {"", 1}, "listing A/F ratio": {"", 1}, "listing counts": {"", 1}, "listing switches": {"", 1},
	"listing microsec": {"µs", 1}, "listing microA": {"µA", 1}, "listing mm2": {"mm²", 1},
	"listing V 0.000122": {"mV", 1000}, "listing s": {"s", 1}, "listing s 1/1000": {"ms", 1000}, "listing s 1/10": {"ms", 1000}, "listing s 1/100": {"ms", 1000},
	"listing Ohm": {"mΩ", 1000}, "listing kOhm 1/1000": {"Ω", 1000}, "listing kOhm 1": {"kΩ", 1}, "listing Hz 1/1000": {"mHz", 1000}, "listing MHz": {"kHz", 1000},
	"listing V/ms": {"mV/ms", 1000}, "listing kPa/s": {"Pa/s", 1000}, "listing mm": {"in", 1 / 25.4},
}

// Every units-and-scaling id of scapy 2.5.0 and of a public listing of the annex: value and limits, the sign, the unit.
func TestUnitsAndScaling(t *testing.T) {
	rows := 0
	for line := range strings.Lines(testdata.OBDUnits) {
		f := strings.Split(strings.TrimRight(line, "\n"), "\t")
		if line[0] == '#' || f[0] == "source" {
			continue
		}
		rows++
		id, err := strconv.ParseUint(f[1], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		if (f[2] == "signed") != (id >= 0x80) {
			t.Errorf("%02X is %s", id, f[2])
		}
		unit, by := f[5], 1.0
		for _, key := range []string{f[0] + " " + f[5], f[0] + " " + f[5] + " " + f[3]} {
			if s, ok := sameUnit[key]; ok {
				unit, by = s.unit, s.by
			}
		}
		for _, raw := range []int{0x0000, 0x0001, 0x1234, 0x7FFF, 0x8000, 0xFFFF} {
			number := raw
			if f[2] == "signed" && raw >= 0x8000 {
				number -= 0x10000
			}
			want := (float64(number)*fraction(t, f[3]) + fraction(t, f[4])) * by
			list, err := obd.DecodeSelfTests([]byte{0x46, 0x01, 0x01, byte(id), byte(raw >> 8), byte(raw), 0x12, 0x34, byte(raw >> 8), byte(raw)})
			if err != nil || len(list) != 1 || !list[0].Described {
				t.Errorf("%02X: %v, %v", id, list, err)
				continue
			}
			got := list[0].Value.Quantity
			if math.Abs(got.Value-want) > math.Abs(want)/1000+1e-9 || string(got.Unit) != unit || list[0].High != list[0].Value {
				t.Errorf("%s: %04X reads %v, want %g %s", strings.TrimSpace(line), raw, got, want, unit)
			}
		}
	}
	if rows != 177 {
		t.Errorf("%d rows", rows)
	}
}

// Monitor ids that scapy 2.5.0 names have a name here that speaks of the same part, bank, sensor and cylinder.
func TestMonitorNames(t *testing.T) {
	parts := strings.NewReplacer("Oxygen Sensor Heater Monitor", "heating of the oxygen sensor", "Oxygen Sensor Monitor", "oxygen sensor", "Heated Catalyst Monitor", "heated catalyst",
		"NOx Catalyst Monitor", "nitrogen oxide catalyst", "NOx Adsorber Monitor", "nitrogen oxide trap", "Catalyst Monitor", "catalyst", "EGR Monitor", "exhaust gas recirculation",
		"VVT Monitor", "valve timing", "Secondary Air Monitor", "secondary air", "Fuel System Monitor", "fuel system", "Boost Pressure Control Monitor", "boost pressure",
		" Data", "", "Misfire Monitor General", "misfire, in general", "Misfire Cylinder", "misfire, cylinder", " Bank ", ", bank ", " - Sensor", ", sensor",
		"EVAP Monitor (Cap Off / 0.150 in)", "tank venting, cap or large leak", "EVAP Monitor (0.090 in)", "tank venting, leak of 2.3 mm",
		"EVAP Monitor (0.040 in)", "tank venting, leak of 1.0 mm", "EVAP Monitor (0.020 in)", "tank venting, leak of 0.5 mm", "Purge Flow Monitor", "tank venting, flow")
	n := 0
	for line := range strings.Lines(testdata.OBDMonitors) {
		id, theirs, ok := strings.Cut(strings.TrimRight(line, "\n"), "\t")
		number, err := strconv.ParseUint(id, 16, 8)
		if !ok || err != nil || number == 0xB0 || number == 0xB1 { // of an early edition; cylinders 15 and 16 in later ones
			continue
		}
		n++
		if ours, ok := obd.MonitorName(byte(number)); !ok || ours != parts.Replace(theirs) {
			t.Errorf("%02X is %q, scapy has %q", number, ours, theirs)
		}
	}
	if n != 79 {
		t.Errorf("%d monitors", n)
	}
	for id, want := range map[byte]string{0x31: "exhaust gas recirculation, bank 1", 0x52: "heating of the oxygen sensor, bank 2, sensor 5", 0xB1: "misfire, cylinder 16", 0xB3: "particle filter, bank 2"} {
		if got, _ := obd.MonitorName(id); got != want { // a public listing of the annex
			t.Errorf("%02X is %q, want %q", id, got, want)
		}
	}
	if name, ok := obd.MonitorName(0xE1); ok {
		t.Errorf("the maker's E1 is %q", name)
	}
}

// The layout is that of SAE J1979 clause 6.6 as scapy 2.5.0 has it (monitor, test, unit, value, lower and upper limit); the
// cases show each verdict, with and without a sign, on the limits and beside them.
func TestSelfTests(t *testing.T) {
	for _, c := range []struct {
		bytes, value, low, high string
		verdict                 obd.Verdict
	}{
		{"01010A0BB00BB00BB0", "365.0 mV", "365.0 mV", "365.0 mV", obd.Within},
		{"A20B2400040000FFFF", "count: 4", "count: 0", "count: 65535", obd.Within},
		{"3CA2FE00640000FF9C", "25.00 Pa", "0.00 Pa", "-25.00 Pa", obd.Above},
		{"3CA2FEFF38FF9C0064", "-50.00 Pa", "-25.00 Pa", "25.00 Pa", obd.Below},
		{"3CA2FEFF9CFF9C0064", "-25.00 Pa", "-25.00 Pa", "25.00 Pa", obd.Within},
		{"218101FF3800000064", "65336", "0", "100", obd.Above}, // unsigned
		{"218101000100020003", "1", "2", "3", obd.Below},
		{"2181010000000000FF", "0", "0", "255", obd.Within},
		{"218101000000000000", "0", "0", "0", obd.NoResult},
		{"21802E000100000001", "true", "false", "true", obd.Within},
		{"21807E000500010003", "", "", "", obd.Above}, // no unit known, but unsigned
		{"2180C0FFFF00010003", "", "", "", obd.Below}, // no unit known, but signed
		{"2180FFFFFF00010003", "", "", "", obd.NoVerdict},
	} {
		b, err := hex.DecodeString("46" + c.bytes)
		if err != nil {
			t.Fatal(err)
		}
		list, err := obd.DecodeSelfTests(b)
		if err != nil || len(list) != 1 {
			t.Errorf("%s: %v, %v", c.bytes, list, err)
			continue
		}
		x := list[0]
		if x.Verdict != c.verdict || x.Described != (c.value != "") || hex.EncodeToString(x.Raw) != strings.ToLower(c.bytes[6:]) {
			t.Errorf("%s: %+v is %s, want %s", c.bytes, x, x.Verdict, c.verdict)
		}
		if x.Described && (x.Value.String() != c.value || x.Low.String() != c.low || x.High.String() != c.high) {
			t.Errorf("%s: %v between %v and %v", c.bytes, x.Value, x.Low, x.High)
		}
	}
	two, _ := hex.DecodeString("4601010A0BB00BB00BB001850A00010000000200")
	if list, err := obd.DecodeSelfTests(two); err != nil || len(list) != 2 || list[0].TestName != "threshold from rich to lean" || list[0].MakersOwn || !list[1].MakersOwn || list[1].TestName != "" {
		t.Errorf("%+v, %v", list, err)
	}
	for _, s := range []string{"", "46", "4601", "4601010A0BB00BB00B", "4601010A0BB00BB00BB002850A000100000002", "4601010A0BB00BB00BB001", "4601010A0BB00BB00BB00185"} {
		b, _ := hex.DecodeString(s)
		if list, err := obd.DecodeSelfTests(b); err == nil {
			t.Errorf("%s: %+v", s, list)
		}
	}
}

// The older forms of services 06 and 05; layout from memory of SAE J1979, factors of 05 as in scapy 2.5.0.
func TestOlderTests(t *testing.T) {
	for s, want := range map[string]struct {
		verdict   obd.Verdict
		component byte
	}{"4602010064006E": {obd.Within, 1}, "4602010064005A": {obd.Above, 1}, "4602810064006E": {obd.Below, 1}, "4602820064005A": {obd.Within, 2}, "46028200640064": {obd.Within, 2}} {
		b, _ := hex.DecodeString(s)
		if x, err := obd.DecodeSerialTest(b); err != nil || x.Verdict != want.verdict || x.Component != want.component || x.Test != 2 || x.Value != 100 || len(x.Raw) != 6 {
			t.Errorf("%s: %+v, %v", s, x, err)
		}
	}
	if _, err := obd.DecodeSerialTest([]byte{0x46, 1, 2, 3, 4, 5}); err == nil {
		t.Error("six bytes were taken")
	}
	for _, c := range []struct {
		bytes, name, fitting, value string
		limits                      int
		verdict                     obd.Verdict
	}{
		{"4501015A", "threshold from rich to lean", "bank 1, sensor 1", "0.450 V", 0, obd.NoVerdict},
		{"45051014102A", "switching time from rich to lean", "bank 2, sensor 1", "0.080 s", 2, obd.Within},
		{"45050130102A", "switching time from rich to lean", "bank 1, sensor 1", "0.192 s", 2, obd.Above},
		{"450702281E50", "lowest voltage in the test", "bank 1, sensor 2", "0.200 V", 2, obd.Within},
		{"450980051050", "time between two changes", "bank 2, sensor 4", "0.20 s", 2, obd.Below},
		{"450A01000000", "period of the sensor", "bank 1, sensor 1", "0.00 s", 2, obd.NoResult},
		{"45210312", "", "", "0", 0, obd.NoVerdict},
	} {
		b, _ := hex.DecodeString(c.bytes)
		x, err := obd.DecodeSensorTest(b)
		if err != nil || x.Name != c.name || x.Fitting != c.fitting || x.Value.String() != c.value || len(x.Limits) != c.limits || x.Verdict != c.verdict {
			t.Errorf("%s: %+v, %v", c.bytes, x, err)
		}
	}
	for _, b := range [][]byte{nil, {0x45, 1, 1}, {0x45, 1, 1, 2, 3}, {0x45, 1, 1, 2, 3, 4, 5}} {
		if x, err := obd.DecodeSensorTest(b); err == nil {
			t.Errorf("% X: %+v", b, x)
		}
	}
}
