package vin_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"readback/diag/vin"
	"readback/testdata"
)

// The numbers, sums and digits of 49 CFR 565 and of public examples; the file names the source of each.
func TestCheckDigit(t *testing.T) {
	n := 0
	for line := range strings.Lines(testdata.VINs) {
		if line[0] == '#' {
			continue
		}
		n++
		f := strings.Split(strings.TrimSpace(line), "\t")
		v, err := vin.Parse(f[0])
		if err != nil {
			t.Errorf("%s: %v", f[0], err)
			continue
		}
		want, ok, _ := v.CheckDigit()
		if string(want) != f[2] || ok != (f[3] == "yes") {
			t.Errorf("%s: digit %c, valid %v; want %s, %s (%s)", v, want, ok, f[2], f[3], f[4])
		}
	}
	if n != 8 {
		t.Errorf("%d numbers were checked", n)
	}
}

// One wrong character is found unless it has the same value modulo 11 as the right one: the purpose of the digit.
func TestCheckDigitFindsOneWrongDigit(t *testing.T) {
	const good = "1M8GDM9AXKP042788"
	for i := range good {
		for c := '0'; c <= '9'; c++ {
			if good[i] < '0' || good[i] > '9' || rune(good[i]) == c {
				continue
			}
			v, err := vin.Parse(good[:i] + string(c) + good[i+1:])
			if err != nil {
				t.Fatal(err)
			}
			if _, ok, _ := v.CheckDigit(); ok {
				t.Errorf("%s passes", v)
			}
		}
	}
}

func TestParse(t *testing.T) {
	for _, text := range []string{"0TNCE23E3P0004217", "0tnce23e3p0004217", " 0TN CE23E3-P0004217 "} {
		if v, err := vin.Parse(text); err != nil || v != "0TNCE23E3P0004217" {
			t.Errorf("Parse(%q) = %q, %v", text, v, err)
		}
	}
	for text, at := range map[string]int{"0TNCE23E3PO004217": 11, "ITNCE23E3P0004217": 1, "0TNCE23E3P000421Q": 17, "0TNCE23E3P0004.17": 15, "0TNCE23E3P00042Ä7": 16} {
		_, err := vin.Parse(text)
		var wrong *vin.CharacterError
		if !errors.As(err, &wrong) || wrong.At != at || wrong.Rune != []rune(text)[at-1] {
			t.Errorf("Parse(%q): %v, want place %d", text, err, at)
		}
	}
	for text, n := range map[string]int{"": 0, "0TNCE23E3P000421": 16, "0TNCE23E3P00042170": 18, "ＶＩＮ": 3} {
		_, err := vin.Parse(text)
		var wrong *vin.LengthError
		if !errors.As(err, &wrong) || wrong.Got != n {
			t.Errorf("Parse(%q): %v, want length %d", text, err, n)
		}
	}
}

// ISO 3780 gives the first place to regions; the check digit is prescribed in North America (49 CFR 565).
func TestRegions(t *testing.T) {
	for first, want := range map[string]string{"A": "Africa", "H": "Africa", "J": "Asia", "R": "Asia", "S": "Europe", "Z": "Europe",
		"1": "North America", "5": "North America", "6": "Oceania", "7": "Oceania", "8": "South America", "9": "South America", "0": ""} {
		v, err := vin.Parse(first + "1111111111111111")
		if err != nil {
			t.Fatal(err)
		}
		_, _, applies := v.CheckDigit()
		if v.Region() != want || (applies == vin.Always) != (want == "North America") {
			t.Errorf("%s: region %q, check digit %s", first, v.Region(), applies)
		}
	}
}

// The letters of place 10 after 49 CFR 565 table VII; place 7 decides in North America (565.15(d), from memory).
func TestModelYears(t *testing.T) {
	for _, c := range []struct {
		number string
		want   []int
	}{
		{"11111111111111111", []int{2001, 2031}},
		{"1M8GDM9AXKP042788", []int{1989, 2019}}, // place 7 is a digit
		{"1M8GDMAAXKP042788", []int{2019, 1989}}, // place 7 is a letter
		{"WP0ZZZ99ZTS392124", []int{2026, 1996}},
		{"1111111110111111X", nil},
		{"111111111A1111111", []int{1980, 2010}},
		{"1111111119111111X", []int{2009, 2039}},
		{"111111111Y1111111", []int{2000, 2030}},
		{"111111111U1111111", nil},
		{"111111111Z1111111", nil},
	} {
		v, err := vin.Parse(c.number)
		if err != nil {
			t.Fatal(err)
		}
		if got := v.ModelYears(); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", v, got, c.want)
		}
	}
}

func TestDescribe(t *testing.T) {
	v, err := vin.Parse("0TNCE23E3P0004217")
	if err != nil {
		t.Fatal(err)
	}
	d := v.Describe()
	if d.Masked != "0TNCE23E*P*******" || d.WMI != "0TN" || d.Region != "" || !d.CheckDigit.Matches || len(d.Notes) != 1 {
		t.Errorf("%+v", d)
	}
	wrong, err := vin.Parse("1D4GP00R55B123456")
	if err != nil {
		t.Fatal(err)
	}
	if d := wrong.Describe(); d.CheckDigit.Matches || d.CheckDigit.Want != "X" || !strings.Contains(d.CheckDigit.Text, "may be wrong") {
		t.Errorf("%+v", d.CheckDigit)
	}
	european, err := vin.Parse("WP0ZZZ99ZTS392124")
	if err != nil {
		t.Fatal(err)
	}
	if d := european.Describe(); d.CheckDigit.Matches || !strings.Contains(d.CheckDigit.Text, "says nothing") || d.Region != "Europe" {
		t.Errorf("%+v", d.CheckDigit)
	}
	if d := vin.VIN("").Describe(); d.VIN != "" || len(d.Notes) != 1 {
		t.Errorf("%+v", d)
	}
}

func FuzzParse(f *testing.F) {
	f.Add("0TNCE23E3P0004217")
	f.Add("")
	f.Add("ÄÖÜ")
	f.Fuzz(func(t *testing.T, s string) {
		v, err := vin.Parse(s)
		if err != nil {
			return
		}
		if len(v) != vin.Length || len(v.Mask()) != vin.Length || v.Describe().WMI != string(v[:3]) {
			t.Fatalf("%q reads as %q", s, v)
		}
	})
}
