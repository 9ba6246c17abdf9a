package uds_test

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag/uds"
)

// The payloads of py-uds's own tests of service 24 (mdabrowski1990/uds, MIT,
// test_read_scaling_data_by_identifier.py) with what they say there, and the example of ISO 14229-1 clause 11.4
// (vehicle speed, from memory), whose scaling bytes tell the length of the extensions as well.
var scalings = []struct{ name, answer, want string }{
	{"all types, 2013", "64 42A8 04 11 23A5FEFF 3F 42 51 6A 74 8C 91081001 A043 B123",
		"0/4 1/1 2/3 mask A5FEFF, 3/15 4/2 5/1 6/10 7/4 8/12 9/1 y = x + C0 [10], 10/0 giga G, 11/1 {0 1 0 3},"},
	{"bytes of 2013", "64 B9D3 B1CC A102 920323 45FEDC 8C 78 6D 51 4E 31 212F 12 03",
		"11/1 {3 0 1 4}, 10/1 foot ft, 9/2 y = x / C0 + C1 [83700 -29.2], 8/12 7/8 6/13 5/1 4/14 3/1 2/1 mask 2F, 1/2 0/3"},
	{"2020", "64 0100 A04A A00E 920000021005", "10/0 milli m, 10/0 volt V, 9/2 y = C0 * x + C1 [2 50],"},
	{"bytes of 2020", "64 306F B170 A355 9106F1E3 8B 74 6F 51 42 31 222FFF 11 02",
		"11/1 {1 1 2 0}, 10/3 hour/minute/second , 9/1 y = C0 * x [48.3], 8/11 7/4 6/15 5/1 4/2 3/1 2/2 mask 2FFF, 1/1 0/2"},
	{"vehicle speed", "64 0105 01 9500E04B001E A130", "0/1 9/5 y = C0 * x + C1 [0.75 30], 10/1 kilometer per hour km/h,"},
	{"a formula of nobody's", "64 0105 01 93F0ABCD A130", "0/1 9/3 F0ABCD, 10/1 kilometer per hour km/h,"},
	{"a reserved type", "64 0105 C2 01", "12/2 0/1"},
}

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestScaling(t *testing.T) {
	for _, c := range scalings {
		synctest.Test(t, func(t *testing.T) {
			a := unhex(t, c.answer)
			m := answers(a...)
			id := uint16(a[1])<<8 | uint16(a[2])
			got, err := client(m).Scaling(t.Context(), id)
			if s := said(got); err != nil || s != c.want {
				t.Errorf("%s:\n got %s, %v\nwant %s", c.name, s, err, c.want)
			}
			if want := []byte{0x24, a[1], a[2]}; !bytes.Equal(m.sent[0].Data, want) {
				t.Errorf("sent %X", m.sent[0].Data)
			}
		})
	}
}

func said(list []uds.Scaling) string {
	var out []string
	for _, s := range list {
		x := fmt.Sprintf("%d/%d", s.Type, s.Bytes)
		text, constants, isFormula := s.Formula()
		name, symbol, isUnit := s.Unit()
		connection, isConnection := s.Connection()
		switch {
		case isFormula:
			x += fmt.Sprintf(" %s %v,", text, constants)
		case isUnit:
			x += fmt.Sprintf(" %s %s,", name, symbol)
		case isConnection:
			x += fmt.Sprintf(" %v,", connection)
		case s.Type == uds.ScalingBits:
			x += fmt.Sprintf(" mask %X,", s.Extension)
		case s.Extension != nil:
			x += fmt.Sprintf(" %X,", s.Extension)
		}
		out = append(out, x)
	}
	return strings.Join(out, " ")
}

func TestScalingShapes(t *testing.T) {
	var shape *uds.ShapeError
	for _, s := range []string{"", "64", "640105", "64010523FFFF", "6401059500E04B", "640105A1", "640105B1", "64010595"} {
		if got, err := uds.DecodeScaling(unhex(t, s)); !errors.As(err, &shape) {
			t.Errorf("%s: %v, %v", s, got, err)
		}
	}
}

// Numbers: the vehicle speed of ISO 14229-1 (0.75 x + 30 km/h, from memory); the others are worked out by hand.
func TestNumber(t *testing.T) {
	for _, c := range []struct {
		scaling, value string
		want           float64
		unit           string
		ok             bool
	}{
		{"01 9500E04B001E A130", "64", 105, "km/h", true},
		{"02 A14A A10E", "2EE0", 12000, "mV", true},
		{"02 A10E A14A", "2EE0", 12000, "mV", true},
		{"11 A117", "D8", -40, "°C", true},
		{"13", "FFFFFE", -2, "", true},
		{"42", "1234", 1234, "", true},
		{"42", "12A4", 0, "", false},
		{"74", "41480000", 12.5, "", true},
		{"78", "4029000000000000", 12.5, "", true},
		{"72", "4148", 0, "", false},
		{"01 9501 2002 0003", "05", 1600, "", true}, // 200 (5 + 3)
		{"01 970200090001 0002", "02", 5, "", true}, // 9 / (2 + 1) + 2
		{"01 950300040001", "08", 3, "", true},      // 8/4 + 1
		{"01 950400010003", "08", 3, "", true},      // (8 + 1) / 3
		{"01 9705000100030002", "08", 5, "", true},  // (8 + 1) / 3 + 2
		{"01 93060003", "08", 24, "", true},         // 3 x
		{"01 93070002", "08", 4, "", true},          // x / 2
		{"01 93080FFF", "08", 7, "", true},          // x - 1
		{"01 950900030004", "08", 6, "", true},      // 3 x / 4
		{"01 93070000", "08", 0, "", false},         // x / 0
		{"01", "0102", 0, "", false},
		{"01 01", "01", 0, "", false},
		{"6A", "41", 0, "", false},
		{"00", "", 0, "", false},
		{"03 A150", "200314", 0, "", false},
		{"01 93F0ABCD", "08", 0, "", false},
		{"9500E04B001E", "08", 0, "", false},
	} {
		list, err := uds.DecodeScaling(append([]byte{0x64, 0x01, 0x05}, unhex(t, c.scaling)...))
		if err != nil {
			t.Fatalf("%s: %v", c.scaling, err)
		}
		y, unit, ok := uds.Number(list, unhex(t, c.value))
		if ok != c.ok || ok && (math.Abs(y-c.want) > 1e-9 || unit != c.unit) {
			t.Errorf("%s of %s: %v %q, %v, want %v %q", c.value, c.scaling, y, unit, ok, c.want, c.unit)
		}
	}
}
