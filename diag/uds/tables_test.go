package uds_test

import (
	"strconv"
	"strings"
	"testing"

	"encoding/json"

	"readback/diag/uds"
	"readback/testdata"
)

// plain takes a name down to its letters and digits, so that tables that write it differently can be compared.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			return r
		case r >= 'A' && r <= 'Z':
			return r - 'A' + 'a'
		}
		return -1
	}, s)
}

// Every code of three independent name tables has its name and words; no other code has a name.
func TestRefusalNames(t *testing.T) {
	listed := map[uds.NRC]bool{}
	texts := map[string]uds.NRC{}
	for line := range strings.Lines(testdata.UDSNRC) {
		if line[0] == '#' {
			continue
		}
		f := strings.Split(strings.TrimSpace(line), "\t")
		n, err := strconv.ParseUint(f[0], 16, 8)
		if err != nil || len(f) != 4 {
			t.Fatalf("row %q: %v", line, err)
		}
		code := uds.NRC(n)
		if n == 0 { // a positive answer, never a refusal
			continue
		}
		listed[code] = true
		if code == 0x91 { // py-uds writes "TorqueConvert"
			f[3] = f[1]
		}
		// scapy's names come first: they are written as the standard writes them. 34, 38, 39, 50-5D and 94 it lacks.
		want := f[2]
		if want == "-" {
			want = f[3]
		}
		if plain(code.Name()) != plain(want) {
			t.Errorf("%02X: %q, want %q", n, code.Name(), want)
		}
		if code.Text() == "" || code.Advice() == "" || !code.Known() || code.String() != code.Name() {
			t.Errorf("%02X: text %q, advice %q", n, code.Text(), code.Advice())
		}
		if other, double := texts[code.Text()]; double {
			t.Errorf("%02X and %02X both say %q", n, byte(other), code.Text())
		}
		texts[code.Text()] = code
	}
	if len(listed) != 59 {
		t.Errorf("%d codes are listed", len(listed))
	}
	for n := range 256 {
		code := uds.NRC(n)
		if listed[code] != code.Known() {
			t.Errorf("%02X: known %v", n, code.Known())
		}
		if !code.Known() && (code.Name() != "" || !strings.Contains(code.Text(), strconv.FormatUint(uint64(n), 16)) && !strings.Contains(code.Text(), strings.ToUpper(strconv.FormatUint(uint64(n), 16)))) {
			t.Errorf("%02X: name %q, text %q", n, code.Name(), code.Text())
		}
	}
}

// What the standard leaves to others is told apart (ISO 14229-1:2020 annex A.1, the ranges from memory): 95-EF are conditions,
// F0-FE are the maker's, FF is reserved.
func TestRefusalRanges(t *testing.T) {
	for words, codes := range map[string][]uds.NRC{
		"which one is not told":           {0x95, 0xEF},
		"of the maker's own":              {0xF0, 0xFE},
		"that the standard does not name": {0x01, 0x8E, 0xFF},
	} {
		for _, code := range codes {
			if !strings.Contains(code.Text(), words) {
				t.Errorf("%02X: %q, want %q", byte(code), code.Text(), words)
			}
		}
	}
}

// Bits of a severity byte (py-uds, udsoncan: bit 7 at once, bit 6 at the next halt, bit 5 maintenance only).
func TestSeverityBits(t *testing.T) {
	if uds.CheckImmediately != 0x80 || uds.CheckAtNextHalt != 0x40 || uds.MaintenanceOnly != 0x20 {
		t.Errorf("%02X %02X %02X", uds.CheckImmediately, uds.CheckAtNextHalt, uds.MaintenanceOnly)
	}
}

// The names of F180-F19F after ISO 14229-1:2020, as py-uds (MIT) lists them.
func TestPlateNames(t *testing.T) {
	var names map[string]json.RawMessage
	if err := json.Unmarshal(testdata.ExplainNames, &names); err != nil {
		t.Fatal(err)
	}
	var ids map[string]string
	if err := json.Unmarshal(names["DID_MAPPING_2020"], &ids); err != nil {
		t.Fatal(err)
	}
	n := 0
	for key, want := range ids {
		id, err := strconv.ParseUint(strings.TrimPrefix(strings.ToLower(key), "0x"), 16, 16)
		if err != nil {
			t.Fatal(err)
		}
		name, text, ok := uds.PlateName(uint16(id))
		if in := id >= 0xF180 && id <= 0xF19F; ok != in {
			t.Errorf("%s: known %v", key, ok)
		} else if in {
			n++
			if plain(name) != plain(want) || text == "" {
				t.Errorf("%s: %q (%s), want %q", key, name, text, want)
			}
		}
	}
	if n != 32 {
		t.Errorf("%d names were compared", n)
	}
}

func TestPlateText(t *testing.T) {
	for _, c := range []struct {
		id    uint16
		value string
		want  string
	}{
		{0xF190, "1M8GDM9AXKP042788", "1M8GDM9AXKP042788"},
		{0xF197, "CHARGING\x00\x00", "CHARGING"},
		{0xF187, "TN4E-2207-A \xff\xff", "TN4E-2207-A"},
		{0xF18C, "\x00\x01\x02", "000102"},
		{0xF189, "V\x011", "560131"},
		{0xF18B, "\x23\x03\x14", "2023-03-14"},
		{0xF18B, "\x20\x23\x03\x14", "2023-03-14"},
		{0xF18B, "\x23\x13\x14", "231314"},
		{0xF18B, "\x23\x0A\x14", "230A14"},
		{0xF199, "20230314", "20230314"},
		{0xF186, "\x01", "01 defaultSession"},
		{0xF186, "\x03", "03 extendedDiagnosticSession"},
		{0xF186, "\x40", "40"},
		{0xF181, "\x01SW-1203-B", "SW-1203-B"},
		{0xF181, "\x02AB1AB", "024142314142"},
		{0xF181, "\x02\x01\x02\x03\x04", "0201020304"},
		{0xF180, "\x02BOOT-1BOOT-2", "BOOT-1, BOOT-2"},
		{0xF182, "CAL-77", "CAL-77"},
		{0xF183, "\x12\x34\x56", "123456"},
		{0xF186, "A", "41"},
		{0xDD00, "\x00\xa0\xf6", "00A0F6"},
		{0xF197, "", ""},
		{0xF197, "\x00\x00", "0000"},
	} {
		if got := uds.PlateText(c.id, []byte(c.value)); got != c.want {
			t.Errorf("%04X %q reads %q, want %q", c.id, c.value, got, c.want)
		}
	}
}

// Names of py-uds; scapy lists the first four.
func TestFormatNames(t *testing.T) {
	for f, want := range map[byte]string{uds.FormatJ2012: "J2012", uds.Format14229: "14229", uds.FormatJ1939: "J1939", uds.Format11992: "11992", uds.FormatJ2012v4: "format 04"} {
		if name, ok := uds.FormatName(f); !ok || !strings.Contains(name, want) {
			t.Errorf("%02X: %q, %v", f, name, ok)
		}
	}
	if name, ok := uds.FormatName(5); ok || name != "format 05" {
		t.Errorf("05: %q, %v", name, ok)
	}
}

// Names of ISO 14229-1 as py-uds (MIT) lists them: both editions of the report types, groups, sessions, and what
// service 24 can say.
func TestNames(t *testing.T) {
	for _, c := range []struct {
		table string
		all   bool // no other byte has a name
		name  func(n int) string
	}{
		{"REPORT_TYPE_MAPPING_2013", false, func(n int) string { return uds.Report(n).Name() }},
		{"REPORT_TYPE_MAPPING_2020", false, func(n int) string { return uds.Report(n).Name() }},
		{"DIAGNOSTIC_SESSION_TYPE_MAPPING", true, func(n int) string { name, _ := uds.SessionName(byte(n)); return name }},
		{"SCALING_BYTE_TYPE_MAPPING", true, func(n int) string { return uds.ScalingType(n).Name() }},
		{"FORMULA_IDENTIFIER_MAPPING", true, func(n int) string {
			text, _, _ := uds.Scaling{Type: uds.ScalingFormula, Extension: []byte{byte(n)}}.Formula()
			return text
		}},
	} {
		names := tableOf(t, c.table)
		for n := range 256 {
			want, listed := names[n]
			if got := c.name(n); listed && got != want || !listed && c.all && got != "" {
				t.Errorf("%s %02X: %q, want %q", c.table, n, got, want)
			}
		}
	}
	named := 0
	for n := range 256 {
		if uds.Report(n).Name() != "" {
			named++
		}
	}
	if named != 29 {
		t.Errorf("%d report types have names", named)
	}
}

// py-uds names FF too; its own documentation calls it reserved.
func TestFunctionalGroupNames(t *testing.T) {
	names := tableOf(t, "DTC_FUNCTIONAL_GROUP_IDENTIFIER_MAPPING")
	for n := range 255 {
		if got, ok := uds.FunctionalGroupName(byte(n)); got != names[n] || ok != (got != "") {
			t.Errorf("%02X: %q, %v, want %q", n, got, ok, names[n])
		}
	}
	groups := tableOf(t, "GROUP_OF_DTC_MAPPING")
	for group, want := range map[uint32]string{uds.GroupAll: "all", uds.GroupEmissions: "Emissions-system group", uds.GroupSafety: "Safety-system group", uds.GroupVOBD: "VOBD system group"} {
		if groups[int(group)] != want {
			t.Errorf("%06X: %q, want %q", group, groups[int(group)], want)
		}
	}
	if len(groups) != 4 {
		t.Errorf("%d groups", len(groups))
	}
}

// py-uds writes "Kilometer per hour [km/h] - speed" or "Kilo (prefix) [k] - 10^3". Our symbols differ where the
// international system writes the unit otherwise.
func TestUnits(t *testing.T) {
	ours := map[int]string{0x29: "lm", 0x2C: "gal (British)", 0x2D: "gal (US)", 0x32: "1/s", 0x33: "1/min", 0x34: "counts", 0x37: "m/s²", 0x3A: "W/m²", 0x3D: "rad/s²", 0x3E: "kg/m²", 0x4B: "µ"}
	names := tableOf(t, "UNIT_OR_FORMAT_MAPPING")
	names[0x15] = "Magnetic flux density [T]" // not in our copy of the list
	if len(names) != 0x3F+16+10 {
		t.Errorf("%d are listed", len(names))
	}
	for n := range 256 {
		name, symbol, ok := uds.Scaling{Type: uds.ScalingUnit, Extension: []byte{byte(n)}}.Unit()
		want, listed := names[n]
		if ok != listed {
			t.Errorf("%02X: known %v", n, ok)
			continue
		}
		if !listed {
			continue
		}
		head, rest, bracketed := strings.Cut(want, " [")
		theirs := ""
		if bracketed {
			theirs, _, _ = strings.Cut(rest, "]")
		}
		if other, differs := ours[n]; differs {
			theirs = other
		}
		head, _, _ = strings.Cut(strings.TrimSuffix(head, " (prefix)"), " - ")
		if plain(name) != plain(head) || symbol != theirs {
			t.Errorf("%02X: %q %q, want %q %q", n, name, symbol, head, theirs)
		}
	}
}

// tableOf is one of py-uds's name tables, by number.
func tableOf(t *testing.T, name string) map[int]string {
	t.Helper()
	var all map[string]json.RawMessage
	if err := json.Unmarshal(testdata.ExplainNames, &all); err != nil {
		t.Fatal(err)
	}
	var names map[string]string
	if err := json.Unmarshal(all[name], &names); err != nil || len(names) == 0 {
		t.Fatalf("%s: %v", name, err)
	}
	out := map[int]string{}
	for key, text := range names {
		n, err := strconv.ParseUint(key, 16, 32)
		if err != nil {
			t.Fatal(err)
		}
		out[int(n)] = text
	}
	return out
}
