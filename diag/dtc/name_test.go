package dtc_test

import (
	"errors"
	"testing"

	"readback/diag/dtc"
)

// Examples and boundaries of SAE J2012 / ISO 15031-6, from the ELM327 data sheet ("Interpreting Trouble Codes"), a
// public transcript of a CAN car, and the code tables of py-uds; scapy, py-uds and python-udsoncan agree on the rule.
func TestNames(t *testing.T) {
	for _, c := range []struct {
		hi, lo byte
		name   string
	}{
		{0x01, 0x33, "P0133"}, {0x01, 0x02, "P0102"}, {0x01, 0x13, "P0113"}, {0x01, 0x43, "P0143"}, {0xC1, 0x23, "U0123"},
		{0x56, 0x78, "C1678"}, {0xA5, 0xB6, "B25B6"}, {0x00, 0x00, "P0000"},
		{0x3F, 0xFF, "P3FFF"}, {0x40, 0x00, "C0000"}, {0x7F, 0xFF, "C3FFF"}, {0x80, 0x00, "B0000"}, {0xBF, 0xFF, "B3FFF"},
		{0xC0, 0x00, "U0000"}, {0xFF, 0xFF, "U3FFF"},
	} {
		if got := dtc.From2(c.hi, c.lo).Name(); got != c.name {
			t.Errorf("%02X %02X is %s, want %s", c.hi, c.lo, got, c.name)
		}
	}
}

// Every code of two bytes, against the rule worked out the other way round: from the number, by division.
func TestEveryName(t *testing.T) {
	const hexDigits = "0123456789ABCDEF"
	for n := range 65536 {
		want := string([]byte{"PCBU"[n/16384], hexDigits[n/4096%4], hexDigits[n/256%16], hexDigits[n/16%16], hexDigits[n%16]})
		c := dtc.From2(byte(n>>8), byte(n))
		if got := c.String(); got != want {
			t.Fatalf("%04X is %s, want %s", n, got, want)
		}
		back, err := dtc.Parse(want)
		if err != nil || back != c {
			t.Fatalf("Parse(%s) = %v, %v", want, back, err)
		}
	}
}

func TestParse(t *testing.T) {
	for text, want := range map[string]dtc.Code{
		"P0A08":     dtc.From2(0x0A, 0x08),
		"P0A08-13":  dtc.From3(0x0A, 0x08, 0x13),
		"p0a08 13":  dtc.From3(0x0A, 0x08, 0x13),
		"0A0813":    dtc.From3(0x0A, 0x08, 0x13),
		"0A 08 13":  dtc.From3(0x0A, 0x08, 0x13),
		"0A08":      dtc.From2(0x0A, 0x08),
		"U0140-87":  dtc.From3(0xC1, 0x40, 0x87),
		" u014087 ": dtc.From3(0xC1, 0x40, 0x87),
		"C140":      dtc.From2(0xC1, 0x40), // four digits are bytes, though C is a letter too
		"C1408":     dtc.From2(0x54, 0x08),
		"B25B6-C7":  dtc.From3(0xA5, 0xB6, 0xC7),
		"B25B6C":    dtc.From3(0xB2, 0x5B, 0x6C), // six digits are bytes
	} {
		got, err := dtc.Parse(text)
		if err != nil || got != want {
			t.Errorf("Parse(%q) = %v, %v, want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", " ", "P", "P0A0", "P4A08", "P0A0G", "P0A08-1", "P0A08-1G", "X0A08", "0A081", "0A081355", "P0A08-13-2F", "PPPPP", "P+A08", "ＰＯＡ０８"} {
		got, err := dtc.Parse(text)
		var wrong *dtc.ParseError
		if !errors.As(err, &wrong) || got != (dtc.Code{}) || wrong.Text != text {
			t.Errorf("Parse(%q) = %v, %v, want a ParseError", text, got, err)
		}
	}
}

func TestTexts(t *testing.T) {
	var zero dtc.Code
	if !zero.IsZero() || zero.Name() != "" || zero.String() != "" || len(zero.Bytes()) != 0 {
		t.Errorf("the zero code is %q with %d bytes", zero, len(zero.Bytes()))
	}
	c := dtc.From3(0xC1, 0x00, 0x87)
	if b, err := c.MarshalText(); err != nil || string(b) != "U0100-87" {
		t.Errorf("MarshalText: %s, %v", b, err)
	}
	if f, ok := c.FailureType(); !ok || f != 0x87 {
		t.Errorf("failure type %02X, %v", f, ok)
	}
	if _, ok := dtc.From2(0xC1, 0x00).FailureType(); ok {
		t.Error("a code of two bytes has a failure type")
	}
	var back dtc.Code
	if err := back.UnmarshalText([]byte("U0100-87")); err != nil || back != c {
		t.Errorf("UnmarshalText: %v, %v", back, err)
	}
}

// Who decides what a code means: the table of contents of SAE J2012 (2007) for B and C, manuals of two makers for digits
// 0 and 2 of P; P3 and U3 from memory.
func TestOrigins(t *testing.T) {
	for name, want := range map[string]dtc.Origin{
		"P0000": dtc.Standard, "P0FFF": dtc.Standard, "P1000": dtc.Maker, "P1FFF": dtc.Maker, "P2000": dtc.Standard, "P2FFF": dtc.Standard,
		"P3000": dtc.Maker, "P33FF": dtc.Maker, "P3400": dtc.Standard, "P39FF": dtc.Standard, "P3A00": dtc.Reserved, "P3FFF": dtc.Reserved,
		"C0000": dtc.Standard, "C1000": dtc.Maker, "C2FFF": dtc.Maker, "C3000": dtc.Reserved,
		"B0FFF": dtc.Standard, "B1000": dtc.Maker, "B2000": dtc.Maker, "B3FFF": dtc.Reserved,
		"U0000": dtc.Standard, "U1000": dtc.Maker, "U2FFF": dtc.Maker, "U3000": dtc.Standard, "U30FF": dtc.Standard, "U3100": dtc.Reserved,
	} {
		c, err := dtc.Parse(name)
		if err != nil || c.Origin() != want {
			t.Errorf("%s: %s, %v, want %s", name, c.Origin(), err, want)
		}
	}
	for letter, want := range map[string]dtc.System{"P": dtc.Powertrain, "C": dtc.Chassis, "B": dtc.Body, "U": dtc.Network} {
		c, err := dtc.Parse(letter + "0123")
		if err != nil || c.System() != want || want.Text() == "" {
			t.Errorf("%s: %s, %v", letter, c.System(), err)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"P0A08-13", "0A0813", "u 0140", "", "P", "ＰＯＡ０８"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := dtc.Parse(s)
		if (err == nil) == c.IsZero() {
			t.Fatalf("Parse(%q) = %v, %v", s, c, err)
		}
		if err == nil {
			if back, err := dtc.Parse(c.String()); err != nil || back != c {
				t.Fatalf("%q reads as %v, which reads as %v, %v", s, c, back, err)
			}
		}
	})
}
