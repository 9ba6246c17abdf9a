package obd_test

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"readback/diag/obd"
	"readback/diag/quantity"
	"readback/testdata"
)

// faults are known mistakes of the references, by parameter: there the other one alone counts.
var faults = map[string]struct{ not, why string }{
	"10": {"scapy", "scapy 2.5.0 reads one byte of two"},
	"34": {"scapy", "scapy lacks the offset of -128 mA, and so for 35-3B"},
	"35": {"scapy", "as 34"}, "36": {"scapy", "as 34"}, "37": {"scapy", "as 34"}, "38": {"scapy", "as 34"}, "39": {"scapy", "as 34"},
	"3A": {"scapy", "as 34"}, "3B": {"scapy", "as 34"},
}

// states are parameters that are no numbers; they have tests of their own.
var states = map[string]bool{"03": true, "12": true, "13": true, "1C": true, "1D": true, "51": true}

var numeral = regexp.MustCompile(`[-+]?[0-9]+(?:\.[0-9]+)?(?:e-?[0-9]+)?`)

// Every number that tshark 4.0.17 and scapy 2.5.0 show for a parameter, within 0.1 % and the digits they print.
func TestParameters(t *testing.T) {
	rows, compared := 0, 0
	for line := range strings.Lines(testdata.OBDParameters) {
		f := strings.Split(strings.TrimRight(line, "\n"), "\t")
		if line[0] == '#' || f[0] == "pid" || states[f[0]] {
			continue
		}
		rows++
		b, err := hex.DecodeString("41" + f[0] + f[1])
		if err != nil {
			t.Fatalf("row %q: %v", line, err)
		}
		m, err := obd.DecodeCurrent(b)
		if err != nil || len(m) != 1 || m[0].Name == "" {
			t.Errorf("%s %s: %v, %v", f[0], f[1], m, err)
			continue
		}
		fault := faults[f[0]]
		if fault.not != "tshark" {
			compared += compare(t, f[0]+" "+f[1]+" tshark", f[2], m[0].Readings)
		}
		if fault.not != "scapy" {
			compared += compare(t, f[0]+" "+f[1]+" scapy", values(f[3]), m[0].Readings)
		}
	}
	if rows != 328 || compared < 790 {
		t.Errorf("%d rows, %d numbers compared", rows, compared)
	}
}

// values takes the names and the unit off scapy's text that have digits in them.
func values(s string) string {
	var out []string
	for part := range strings.SplitSeq(s, ";") {
		_, v, _ := strings.Cut(part, "=")
		out = append(out, strings.ReplaceAll(v, "min-1", ""))
	}
	return strings.Join(out, " ; ")
}

func compare(t *testing.T, what, shown string, readings []obd.Reading) (n int) {
	t.Helper()
	if strings.HasSuffix(what, "tshark") && strings.Contains(shown, ": ") { // "Voltage: 0.640 V, Short term fuel trim: -100.00 %"
		var out []string
		for part := range strings.SplitSeq(shown, ", ") {
			_, v, _ := strings.Cut(part, ": ")
			out = append(out, v)
		}
		shown = strings.Join(out, " ; ")
	}
	for i, text := range numeral.FindAllString(shown, -1) {
		want, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		if i >= len(readings) {
			if !strings.HasSuffix(what, "ffff scapy") { // scapy shows a trim of FF, which means "no trim"; tshark does not
				t.Errorf("%s: %s has more numbers than %v", what, shown, readings)
			}
			continue
		}
		got := readings[i].Quantity.Value
		_, digits, _ := strings.Cut(text, ".")
		margin := math.Abs(want)/1000 + 0.51*math.Pow10(-len(digits))
		if readings[i].Text != "" || math.Abs(got-want) > margin {
			t.Errorf("%s: %v (%v), want %v", what, got, readings[i], want)
		}
		n++
	}
	return n
}

// Units after SAE J1979; tshark, scapy and an open OBD2 signal file agree, but for 32, where tshark prints kPa for Pa.
func TestUnits(t *testing.T) {
	for id, unit := range map[byte]quantity.Unit{0x04: "%", 0x05: "°C", 0x0A: "kPa", 0x0C: "1/min", 0x0D: "km/h", 0x0E: "°", 0x10: "g/s", 0x1F: "s", 0x21: "km",
		0x32: "Pa", 0x33: "kPa", 0x3C: "°C", 0x42: "V", 0x4D: "min", 0x53: "kPa", 0x54: "Pa", 0x5E: "L/h", 0x63: "Nm"} {
		m, err := obd.DecodeCurrent([]byte{0x41, id, 0, 0, 0, 0})
		if err != nil || len(m) == 0 || m[0].Readings[0].Quantity.Unit != unit {
			t.Errorf("%02X: %v, %v, want %s", id, m, err, unit)
		}
	}
}

// States: bit patterns and values on which tshark and scapy agree, or that the known faults of scapy leave to tshark (it
// takes the bits of 03 and 12 for an index).
func TestStates(t *testing.T) {
	for answer, want := range map[string]string{
		"41030200":     "system 1: regulated by the oxygen sensor, system 2: not told",
		"41031008":     "system 1: regulated, but a sensor is faulty, system 2: not regulated, because of a fault",
		"41030301":     "system 1: not described (03), system 2: not regulated, engine cold",
		"411204":       "from outside, or off",
		"411312":       "bank 1: 2, bank 2: 1",
		"4113FF":       "bank 1: 1 2 3 4, bank 2: 1 2 3 4",
		"411D12":       "bank 1: 2, bank 2: none, bank 3: 1, bank 4: none",
		"411C12":       "EMD+",
		"411C06":       "EOBD",
		"411C80":       "not described (80)",
		"411E01":       "on",
		"415112":       "hybrid with ethanol",
		"415100":       "not available",
		"415108":       "electric",
		"4154FFFF":     "-1 Pa",
		"41020562":     "P0562",
		"41020000":     "no values are frozen",
		"4114FFFF":     "sensor voltage: 1.275 V",
		"41143480":     "sensor voltage: 0.260 V, short-term fuel trim: 0.0 %",
		"4150FF000000": "2550 g/s",
		"414F01020304": "air to fuel: 1, oxygen sensor voltage: 2 V, oxygen sensor current: 3 mA, intake manifold pressure: 40 kPa",
		"415F0E":       "heavy vehicles, EURO IV B1",
		"414000000000": "none",
		"410181076504": "lamp: on, stored codes: 1, without a result yet: tank venting",
	} {
		b, err := hex.DecodeString(answer)
		if err != nil {
			t.Fatal(err)
		}
		m, err := obd.DecodeCurrent(b)
		if err != nil || len(m) != 1 {
			t.Errorf("%s: %v, %v", answer, m, err)
			continue
		}
		var got []string
		for _, r := range m[0].Readings {
			got = append(got, r.String())
		}
		if s := strings.Join(got, ", "); s != want {
			t.Errorf("%s reads %q, want %q", answer, s, want)
		}
	}
}

// The rows of the table that hold states: what tshark 4.0.17 shows, in our words. Only 0 in 03 is told another way: there
// is no second system (SAE J1979, from memory).
func TestStateRows(t *testing.T) {
	words := strings.NewReplacer("System 2: Unknown (00)", "system 2: not told", "System ", "system ", "Bank1 sensors", "bank 1", "Bank2 sensors", "bank 2", "Bank3 sensors", "bank 3", "Bank4 sensors", "bank 4",
		"None", "none", " ,", ",", "Unknown (00), System 2: Unknown (00)", "not told, system 2: not told",
		"Unknown (255)", "not described (FF)", "Unknown (128)", "not described (80)", "Unknown (0)", "not described (00)", "Unknown", "not described",
		"Not available", "not available", "Hybrid Ethanol", "hybrid with ethanol")
	rows := 0
	for line := range strings.Lines(testdata.OBDParameters) {
		f := strings.Split(strings.TrimRight(line, "\n"), "\t")
		if !states[f[0]] {
			continue
		}
		rows++
		b, err := hex.DecodeString("41" + f[0] + f[1])
		if err != nil {
			t.Fatal(err)
		}
		m, err := obd.DecodeCurrent(b)
		if err != nil || len(m) != 1 {
			t.Errorf("%s: %v, %v", line, m, err)
			continue
		}
		var got []string
		for _, r := range m[0].Readings {
			got = append(got, r.String())
		}
		if want := strings.TrimSpace(words.Replace(f[2])); strings.Join(got, ", ") != want {
			t.Errorf("%s %s reads %q, want %q", f[0], f[1], strings.Join(got, ", "), want)
		}
	}
	if rows != 24 {
		t.Errorf("%d rows", rows)
	}
}

// Every value of 1C, 51 and 5F that scapy 2.5.0 names: fuels word for word in our words, standards by their abbreviations.
// Its name of 33 has a slip: stage VI is called IV.
func TestStateTables(t *testing.T) {
	fuel := strings.NewReplacer("Not", "not", "Gasoline", "petrol", "gasoline", "petrol", "LPG", "liquefied petroleum gas", "CNG", "compressed natural gas",
		"Bifuel running electric and", "two fuels, electric and", "Bifuel running ", "two fuels, on ", "Hybrid running electric", "hybrid, electric", "Hybrid Electric", "hybrid, electric",
		"Hybrid Regenerative", "hybrid, regenerating", "Hybrid ", "hybrid with ", " engine", "")
	n := 0
	for line := range strings.Lines(testdata.OBDStates) {
		f := strings.Split(strings.TrimRight(line, "\n"), "\t")
		if len(f) < 3 || f[0] == "pid" {
			continue
		}
		n++
		b, err := hex.DecodeString("41" + f[0] + f[1])
		if err != nil {
			t.Fatal(err)
		}
		m, err := obd.DecodeCurrent(b)
		if err != nil {
			t.Fatal(err)
		}
		got := m[0].Readings[0].Text
		switch {
		case f[2] == "Reserved":
			if got != "not described ("+f[1]+")" {
				t.Errorf("%s %s is %q, but reserved", f[0], f[1], got)
			}
		case f[0] == "51":
			if want := strings.ToLower(fuel.Replace(f[2])); got != want {
				t.Errorf("%s %s is %q, want %q", f[0], f[1], got, want)
			}
		case f[0]+f[1] == "1C05" || f[0]+f[1] == "1C21":
		default:
			theirs := strings.ReplaceAll(f[2], "OBD-I", "OBD I")
			for word := range strings.FieldsFuncSeq(strings.ReplaceAll(got, "OBD-I", "OBD I"), func(r rune) bool { return strings.ContainsRune(" ,()", r) }) {
				if word[0] >= 'A' && word[0] <= 'Z' && word != "California" && word != "US" && !strings.Contains(theirs, word) {
					t.Errorf("%s %s is %q, but %q is not in %q", f[0], f[1], got, word, f[2])
				}
			}
		}
	}
	if n != 60 {
		t.Errorf("%d values", n)
	}
}

// Every parameter from 00 to 94 is described, and those up to C8 that public tables have. Each decodes any bytes of its
// length, in an answer and by itself, and keeps them.
func TestEveryParameter(t *testing.T) {
	gaps := map[byte]bool{0x95: true, 0x96: true, 0x97: true}
	described := 0
	for id := range 0x100 {
		id := byte(id)
		name, ok := obd.ParameterName(id)
		if !ok {
			if id <= 0xA9 && !gaps[id] {
				t.Errorf("%02X is not described", id)
			}
			continue
		}
		described++
		if name == "" {
			t.Errorf("%02X has no name", id)
		}
		if len(lengths(id)) == 0 {
			t.Errorf("%02X takes no length", id)
		}
		for _, n := range lengths(id) {
			for _, fill := range []byte{0x00, 0x5A, 0xFF} {
				data := bytes.Repeat([]byte{fill}, n)
				alone, err := obd.DecodeParameter(id, data)
				if err != nil || len(alone.Readings) == 0 || !bytes.Equal(alone.Raw, data) {
					t.Errorf("%02X: %v, %v", id, alone, err)
				}
				for _, r := range alone.Readings {
					if r.String() == "" || strings.HasSuffix(r.String(), ": ") {
						t.Errorf("%02X tells %q", id, r)
					}
				}
				if m, err := obd.DecodeCurrent(append([]byte{0x41, id}, data...)); fill > 0 && (err != nil || len(m) != 1 || fmt.Sprint(alone) != fmt.Sprint(m[0])) {
					t.Errorf("%02X in an answer: %v, %v", id, m, err)
				}
			}
		}
	}
	if described != 0xA9+1-len(gaps)+8 { // C0, C3-C8 and E0 besides
		t.Errorf("%d parameters are described", described)
	}
	if m, err := obd.DecodeParameter(0xFE, []byte{1, 2}); err != nil || m.Name != "" || len(m.Raw) != 2 {
		t.Errorf("a parameter that is not described: %v, %v", m, err)
	}
}

// lengths are those that a parameter takes by itself.
func lengths(id byte) (out []int) {
	for n := range 64 {
		if m, err := obd.DecodeParameter(id, make([]byte, n)); err == nil && m.Name != "" {
			out = append(out, n)
		}
	}
	return out
}

func TestSeveralParameters(t *testing.T) {
	// The multi-parameter answer of SAE J1979's own kind: load, coolant, speed, with filling.
	m, err := obd.DecodeCurrent([]byte{0x41, 0x04, 0xFF, 0x05, 0x7B, 0x0C, 0x1A, 0xF8, 0x00, 0x00})
	if err != nil || len(m) != 3 || m[1].Readings[0].String() != "83 °C" || m[2].Readings[0].Quantity.Value != 1726 {
		t.Errorf("%v, %v", m, err)
	}
	m, err = obd.DecodeCurrent([]byte{0x41, 0x05, 0x7B, 0xD6, 1, 2, 3, 4})
	if err != nil || len(m) != 2 || m[1].Name != "" || len(m[1].Readings) != 0 || len(m[1].Raw) != 4 {
		t.Errorf("a parameter that is not described: %v, %v", m, err)
	}
	// Two editions of one parameter: the one that leaves nothing over counts, also with others before and behind.
	for answer, raws := range map[string]string{
		"416D07012C01F43C":                      "[07 01 2C 01 F4 3C]",
		"416D3F012C01F43C012C01F43C":            "[3F 01 2C 01 F4 3C 01 2C 01 F4 3C]",
		"41057B6D07012C01F43C0C1AF8":            "[7B] [07 01 2C 01 F4 3C] [1A F8]",
		"41057B6D3F012C01F43C012C01F43C0C1AF8":  "[7B] [3F 01 2C 01 F4 3C 01 2C 01 F4 3C] [1A F8]",
		"418303001100220C1AF8":                  "[03 00 11 00 22] [1A F8]",
		"41830F00110022003300440C1AF80000":      "[0F 00 11 00 22 00 33 00 44] [1A F8]",
		"416E0300640065" + "8303001100220C1AF8": "",
		"416E03000064006583030011002270010640":  "",
	} {
		b, err := hex.DecodeString(answer)
		if err != nil {
			t.Fatal(err)
		}
		m, err := obd.DecodeCurrent(b)
		var got []string
		for _, x := range m {
			got = append(got, fmt.Sprintf("[% X]", x.Raw))
		}
		if raws != "" && (err != nil || strings.Join(got, " ") != raws) {
			t.Errorf("%s is cut into %v, %v, want %s", answer, got, err, raws)
		}
	}
	// What could be read in two ways, the request settles; and a long answer takes no longer for it.
	long := []byte{0x41}
	for range 300 {
		long = append(long, 0x83, 0x03, 0x00, 0x11, 0x00, 0x22, 0x0D, 0x00)
	}
	if m, err := obd.DecodeCurrent(long, 0x83, 0x0D); err != nil || len(m) != 600 || len(m[598].Raw) != 5 || m[599].Readings[0].String() != "0 km/h" {
		t.Errorf("%d values, %v", len(m), err)
	}
	for _, b := range [][]byte{nil, {0x41}, {0x41, 0x0C}, {0x41, 0x0C, 0x1A}, {0x41, 0x05, 0x7B, 0x0C, 0x1A}} {
		if m, err := obd.DecodeCurrent(b); err == nil {
			t.Errorf("% X: %v", b, m)
		}
	}
}

// Bits after public copies of SAE J1979 annex B and a forum's table for diesels, which agree bit for bit. scapy has bytes
// C and D in reverse order; tshark does not decode them.
func TestMonitors(t *testing.T) {
	for _, c := range []struct {
		bytes, fitted, incomplete string
		compression               bool
	}{
		{"81076504", "misfire fuel components catalyst evap o2 o2heater", "evap", false},
		{"00070000", "misfire fuel components", "", false},
		{"0077FFFF", "misfire fuel components catalyst heatedcatalyst evap secondaryair aircon o2 o2heater egr", "misfire fuel components catalyst heatedcatalyst evap secondaryair aircon o2 o2heater egr", false},
		{"000FEB6B", "misfire fuel components nmhc nox boost exhaustsensor filter egr", "nmhc nox boost exhaustsensor filter", true},
		{"00080101", "nmhc", "nmhc", true},
		{"00008080", "egr", "egr", false},
		{"00700000", "", "", false}, // incomplete, but not fitted
		{"7F040000", "components", "", false},
	} {
		b, err := hex.DecodeString(c.bytes)
		if err != nil {
			t.Fatal(err)
		}
		m, err := obd.DecodeMonitors(b)
		if err != nil {
			t.Fatal(err)
		}
		var fitted []string
		for _, x := range m.Fitted {
			fitted = append(fitted, x.Key)
			if x.Name == "" {
				t.Errorf("%s has no name", x.Key)
			}
		}
		if got := strings.Join(fitted, " "); got != c.fitted || m.Compression != c.compression {
			t.Errorf("%s: %s, want %s", c.bytes, got, c.fitted)
		}
		if got := strings.Join(m.Incomplete(), " "); got != c.incomplete {
			t.Errorf("%s: incomplete %s, want %s", c.bytes, got, c.incomplete)
		}
		if m.Lamp != (b[0] >= 0x80) || m.Codes != int(b[0]%0x80) {
			t.Errorf("%s: lamp %v, %d codes", c.bytes, m.Lamp, m.Codes)
		}
	}
	if _, err := obd.DecodeMonitors([]byte{1, 2, 3}); err == nil {
		t.Error("three bytes were taken")
	}
}

func TestCodeLists(t *testing.T) {
	for _, c := range []struct {
		bytes, want string
	}{
		{"4300", "[]"}, {"470101330000", "[P0133]"}, {"4A02C1400000", "[U0140]"}, {"43000000000000", "[]"},
		{"43", ""}, {"4301", ""}, {"430201020113FF", ""}, {"43010102", "[P0102]"}, {"4303010201", ""}, {"43010102F0F0", ""}, {"", ""},
	} {
		b, err := hex.DecodeString(c.bytes)
		if err != nil {
			t.Fatal(err)
		}
		codes, err := obd.DecodeCodes(b)
		if got := names(codes); got != c.want || (err == nil) != (c.want != "") || err == nil && codes == nil {
			t.Errorf("%s: %s, %v, want %s", c.bytes, got, err, c.want)
		}
	}
	for _, b := range [][]byte{{}, {0x43, 1}, {0x43, 1, 2, 3}} {
		if _, err := obd.DecodeCodesSerial(b); err == nil {
			t.Errorf("% X was taken", b)
		}
	}
}

func names[T interface{ String() string }](list []T) string {
	if list == nil {
		return ""
	}
	var out []string
	for _, x := range list {
		out = append(out, x.String())
	}
	return "[" + strings.Join(out, " ") + "]"
}

// Two calibration names, a module's name with its abbreviation (form after the ELM327 data sheet's examples), and answers
// that announce more than they hold.
func TestVehicleInformation(t *testing.T) {
	two := append([]byte{0x49, 0x04, 0x02}, "TN4EDR0403\x00\x00\x00\x00\x00\x00TN4EDR0404      "...)
	if ids, err := obd.DecodeCalibrationIDs(two); err != nil || strings.Join(ids, "|") != "TN4EDR0403|TN4EDR0404" {
		t.Errorf("%q, %v", ids, err)
	}
	name := append([]byte{0x49, 0x0A, 0x01}, "ECM\x00-EngineControl\x00\x00"...)
	if s, err := obd.DecodeModuleName(name); err != nil || s != "ECM-EngineControl" {
		t.Errorf("%q, %v", s, err)
	}
	for _, b := range [][]byte{nil, {0x49, 0x02}, {0x49, 0x02, 0x00}, two[:30], append([]byte{0x49, 0x02, 0x01}, make([]byte, 16)...), append([]byte{0x49, 0x02, 0x01}, "1D4GP00R55B12345\x80"...)} {
		if s, err := obd.DecodeVIN(b); err == nil && len(b) < 30 {
			t.Errorf("% X: %q", b, s)
		}
	}
}
