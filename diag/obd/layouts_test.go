package obd_test

import (
	"encoding/binary"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"readback/diag/obd"
	"readback/diag/quantity"
	"readback/testdata"
)

// layoutFaults are rows on which the sources differ, by source and parameter, with the reason why ours is another.
var layoutFaults = map[string]string{
	"scapy 74": "scapy has factor 1, the listing and another open table 10; a turbocharger turns faster than 65,535 1/min",
	"scapy 7A": "scapy subtracts 327.68 from the first pressure, the listing has two's complement",
	"scapy 7B": "as 7A",
	"scapy 7F": "scapy has eight bytes a time, the listing and the public table four",
	"scapy 81": "scapy takes the two timers of a device for one number",
	"scapy 82": "as 81",
}

// Each number of 64-A6 in places of its own: with only its bit set in the first byte it is the first thing that is told,
// with its factor, offset and unit; without the bit it is not told. scapy 2.5.0, a public listing of the annex and the
// public encyclopedia's table; the file names them.
func TestLayouts(t *testing.T) {
	rows, compared, skipped := 0, 0, map[string]int{}
	plain := map[string]int{} // numbers without a bit, by source and parameter
	for line := range strings.Lines(testdata.OBDLayouts) {
		f := strings.Split(strings.TrimRight(line, "\n"), "\t")
		if line[0] == '#' || f[0] == "source" {
			continue
		}
		rows++
		if layoutFaults[f[0]+" "+f[1]] != "" {
			skipped[f[0]+" "+f[1]]++
			continue
		}
		n := func(i, base int) int {
			v, err := strconv.ParseInt(f[i], base, 64)
			if err != nil {
				t.Fatalf("%q: %v", line, err)
			}
			return int(v)
		}
		id, total, bit, at, size := byte(n(1, 16)), n(2, 10), byte(n(3, 16)), n(4, 10), n(5, 10)
		factor, offset := fraction(t, f[7]), fraction(t, f[8])
		index := 0
		if bit == 0 {
			index = plain[f[0]+f[1]]
			plain[f[0]+f[1]]++
		}
		twoTimers := size == 4 && total == 41 && (at-1)%8 == 4 // the second number of the same bit
		if twoTimers {
			index = 1
		}
		for _, v := range []uint64{0, 1, 0x1234567, 0x80808080, 0xFFFFFFFF} {
			v &= 1<<(8*size) - 1
			data := make([]byte, total)
			if bit != 0 {
				data[0] = bit
			}
			copy(data[at:], binary.BigEndian.AppendUint64(nil, v)[8-size:])
			m, err := obd.DecodeParameter(id, data)
			if err != nil || len(m.Readings) <= index {
				t.Errorf("%s: %v, %v", line, m, err)
				break
			}
			number := int64(v)
			if f[6] == "signed" && v>>(8*size-1) != 0 {
				number -= 1 << (8 * size)
			}
			want, got := float64(number)*factor+offset, m.Readings[index].Quantity
			if f[9] == "min" && got.Unit == quantity.Second {
				want, got.Unit = want*60, quantity.Minute
			}
			if math.Abs(got.Value-want) > math.Abs(want)/1000+1e-9 || string(got.Unit) != f[9] || m.Readings[index].Text != "" {
				t.Errorf("%s %s % X reads %v, want %g %s", f[0], f[1], data, m.Readings[index], want, f[9])
			}
			compared++
		}
		if bit == 0 {
			continue
		}
		data := make([]byte, total)
		data[0] = ^bit
		all, err := obd.DecodeParameter(id, filled(total))
		rest, err2 := obd.DecodeParameter(id, data)
		if err != nil || err2 != nil || len(rest.Readings) >= len(all.Readings) && rest.Readings[0].Text == "" {
			t.Errorf("%s: %d things with all bits, %d without %02X, %v, %v", f[1], len(all.Readings), len(rest.Readings), bit, err, err2)
		}
	}
	if rows != 305 || compared < 1300 || len(skipped) != len(layoutFaults) {
		t.Errorf("%d rows, %d numbers compared, left out %v", rows, compared, skipped)
	}
}

func filled(n int) []byte { return []byte(strings.Repeat("\xFF", n)) }

// fraction reads "0.01", "100/255" and "1e-05".
func fraction(t *testing.T, s string) float64 {
	t.Helper()
	a, b, ok := strings.Cut(s, "/")
	x, err := strconv.ParseFloat(a, 64)
	if err != nil {
		t.Fatal(err)
	}
	if !ok {
		return x
	}
	y, err := strconv.ParseFloat(b, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x / y
}

// States of the wider parameters. Bits after the public listing of SAE J1979-DA; 7D and 7E agree with scapy 2.5.0. 9A, the
// bits of 9F, and A1 are from memory; concentration and temperature in 9B have one open decoder as their source.
func TestWideStates(t *testing.T) {
	for _, c := range []struct {
		id         byte
		data, want string
	}{
		{0x65, "\x0F\x09", "power take-off: on, automatic transmission: park or neutral, manual transmission: neutral or clutch pressed, glow plug lamp: on"},
		{0x65, "\x00\x0F", "the car says that none of it is fitted"},
		{0x66, "\x01\x02\x00\xFF\xFF", "sensor A: 16.00 g/s"},
		{0x70, "\x24\x00\x00\x00\x00\x00\x00\x00\x00\x0E", "A: regulated, B: a fault is present, the value is not reliable"},
		{0x71, "\x04\x00\x00\x00\x00\x01", "A: not regulated"},
		{0x7D, "\x05", "inside the area: yes, outside the area: no, inside the maker's exception: yes, exemption for a deficiency is active: no"},
		{0x8B, "\x7F\x03\x80\x01\x00\x02\x00", "until the next particle filter cleaning: 50.2 %, average time between cleanings: 256 min, average distance between cleanings: 512 km, particle filter cleaning: under way, kind of cleaning: active, nitrogen oxide trap: filling, sulphur removal: not under way"},
		{0x90, "\x4D\x00\x07", "lamp lit without a break: 7 h, display: tells kinds of faults apart, lamp: continuous, self-tests: not complete"},
		{0x92, "\x11\x10", "pressure 1: not regulated, pressure 2: regulated"},
		{0x94, "\x01\x2D\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00", "warning: active, limit, level 1: active, limit, level 2: enabled, limit, level 3: enabled"},
		{0x9A, "\x07\x01\x64\x00\xFF\x9C", "voltage: 400.0 V, current: -10.0 A, drive: uses the charge"},
		{0x9B, "\x00\x82\x3C\x80", "tank level: 50.2 %, concentration: 32.50 %, temperature: 20 °C"},
		{0x9F, "\x09\xFF\x00\x00\x80\x00\x00\x00\x00", "fuel A, bank 1: 100.0 %, fuel B, bank 2: 50.2 %"},
		{0xA1, "\x05\x00\x64\x00\x00\x00\xC8\x00\x00", "bank 1, sensor 1: 100 ppm, bank 2, sensor 1: 200 ppm"},
		{0xC6, "\x00\x00\x01\x00\x02\x00\x03", "filter removed or blocked: 1 h, liquid additive: 2 h, monitoring: 3 h"},
		{0xA4, "\x03\x40\x03\xE8", "ratio: 1.000, gear: 4"},
		{0xA9, "\x01\x01\x00\x00", "brakes turned off"},
		{0xC8, "\x81", "not described: 81"},
	} {
		m, err := obd.DecodeParameter(c.id, []byte(c.data))
		var got []string
		for _, r := range m.Readings {
			got = append(got, r.String())
		}
		if s := strings.Join(got, ", "); err != nil || s != c.want {
			t.Errorf("%02X % X reads %q, %v, want %q", c.id, c.data, s, err, c.want)
		}
	}
}

// The list for choosing: in order, without tables, each number with the unit and within the range of what is decoded.
func TestList(t *testing.T) {
	last := -1
	for _, p := range obd.Parameters() {
		if int(p.Number) <= last || p.Number%0x20 == 0 || p.Name == "" {
			t.Errorf("%02X %q comes after %02X", p.Number, p.Name, last)
		}
		last = int(p.Number)
		for _, v := range p.Values {
			if !(v.Low < v.High) || v.Digits < 0 {
				t.Errorf("%02X %s runs from %g to %g", p.Number, v.Label, v.Low, v.High)
			}
		}
		n := slices.Max(lengths(p.Number))
		m, err := obd.DecodeParameter(p.Number, filled(n))
		if err != nil {
			t.Fatal(err)
		}
		told := 0
		for i, r := range m.Readings {
			if r.Text != "" {
				continue
			}
			told++
			v := p.Values[i]
			if r.Label != v.Label || r.Quantity.Unit != v.Unit || r.Quantity.Value < v.Low-1e-9 || r.Quantity.Value > v.High+1e-9 {
				t.Errorf("%02X: reading %d is %v, listed is %v", p.Number, i, r, v)
			}
		}
		if missing := len(p.Values) - told; missing != 0 && !(missing == 1 && p.Number >= 0x14 && p.Number <= 0x1B) { // a trim of FF is none
			t.Errorf("%02X tells %v, listed are %v", p.Number, m.Readings, p.Values)
		}
	}
	for _, c := range []struct { // ranges of SAE J1979 annex B as tshark 4.0.17 shows them for all zeros and all ones
		number    byte
		unit      quantity.Unit
		low, high float64
	}{{0x05, "°C", -40, 215}, {0x0C, "1/min", 0, 16383.75}, {0x0E, "°", -64, 63.5}, {0x32, "Pa", -8192, 8191.75}, {0x42, "V", 0, 65.535}, {0x5D, "°", -210, 301.992}} {
		for _, p := range obd.Parameters() {
			if p.Number == c.number && (p.Values[0].Unit != c.unit || math.Abs(p.Values[0].Low-c.low) > 0.001 || math.Abs(p.Values[0].High-c.high) > 0.001) {
				t.Errorf("%02X: %+v", p.Number, p.Values)
			}
		}
	}
}
