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
		{0xF186, "\x01", "01"},
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

// Bits of py-uds and python-udsoncan.
func TestSeverityText(t *testing.T) {
	for b, want := range map[byte]string{0x80: "check at once", 0xC0: "check at once", 0x40: "check at the next halt", 0x20: "maintenance only", 0x00: "", 0x1F: ""} {
		if got := uds.SeverityText(b); got != want {
			t.Errorf("%02X: %q, want %q", b, got, want)
		}
	}
}
