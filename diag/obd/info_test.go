package obd_test

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag/obd"
)

// In-use counts: the order of the pairs after a public listing of SAE J1979-DA and two open decoders. 16, 18, 20 and 28
// values are the lengths of the editions.
func TestTracking(t *testing.T) {
	spark := []string{"catalyst1", "catalyst2", "o2front1", "o2front2", "egr", "secondaryair", "evap", "o2rear1", "o2rear2", "balance1", "balance2", "filter1", "filter2"}
	compression := []string{"nmhc", "nox", "noxtrap", "filter", "exhaustsensor", "egr", "boost", "fuel"}
	for _, c := range []struct {
		kind   byte
		values int
		keys   []string
	}{{0x08, 16, spark[:7]}, {0x08, 18, spark[:8]}, {0x08, 20, spark[:9]}, {0x08, 28, spark}, {0x0B, 16, compression[:7]}, {0x0B, 18, compression}} {
		a := []byte{0x49, c.kind, byte(c.values)}
		for i := range c.values {
			a = append(a, byte(i), byte(10+i))
		}
		x, err := obd.DecodeTracking(a)
		if err != nil || x.Conditions != 10 || x.Starts != 0x010B || len(x.Rest) != 0 || len(x.Tests) != len(c.keys) {
			t.Errorf("%02X with %d values: %+v, %v", c.kind, c.values, x, err)
			continue
		}
		for i, m := range x.Tests {
			if m.Key != c.keys[i] || m.Name == "" || m.Completed != (2+2*i)*0x101+10 || m.Encountered != (3+2*i)*0x101+10 {
				t.Errorf("%02X: %d is %+v", c.kind, i, m)
			}
		}
		info, err := obd.DecodeInfo(a)
		if err != nil || fmt.Sprint(*info.Tracking) != fmt.Sprint(x) || !bytes.Equal(info.Raw, a[3:]) {
			t.Errorf("%02X as information: %+v, %v", c.kind, info, err)
		}
	}
	long := append([]byte{0x49, 0x0B, 20}, make([]byte, 40)...)
	if x, err := obd.DecodeTracking(long); err != nil || len(x.Rest) != 4 {
		t.Errorf("%+v, %v", x, err)
	}
	if r, ok := (obd.Tracked{Completed: 1, Encountered: 4}).Ratio(); !ok || r != 0.25 {
		t.Error(r, ok)
	}
	if _, ok := (obd.Tracked{Completed: 1}).Ratio(); ok {
		t.Error("a ratio to zero")
	}
	for _, b := range [][]byte{nil, {0x49, 0x08}, {0x49, 0x08, 2, 0, 1, 0}, {0x49, 0x02, 1, 0, 1}} {
		if x, err := obd.DecodeTracking(b); err == nil {
			t.Errorf("% X: %+v", b, x)
		}
	}
}

// Forms of service 09 on CAN; VIN and calibration after the ELM327 and ELM329 data sheets' examples, the others after the
// public table of information types.
func TestInfo(t *testing.T) {
	for _, c := range []struct{ answer, items, name string }{
		{"4902013144344750303052353542313233343536", "1D4GP00R55B123456", "vehicle identification number"},
		{"49040135363032383934394143000000000000", "56028949AC", "calibration name"},
		{"4906021791BC8216E062BE", "1791BC82 16E062BE", "check value of the software"},
		{"490A0145434D002D456E67696E65436F6E74726F6C0000", "ECM-EngineControl", "name of the module"},
		{"4912010203", "515", "trips with the engine run on fuel"},
		{"49300102", "", ""},
	} {
		b, err := hex.DecodeString(c.answer)
		if err != nil {
			t.Fatal(err)
		}
		x, err := obd.DecodeInfo(b)
		if err != nil || strings.Join(x.Items, " ") != c.items || x.Name != c.name || x.Kind != b[1] || !bytes.HasSuffix(b, x.Raw) {
			t.Errorf("%s: %+v, %v", c.answer, x, err)
		}
	}
	for _, s := range []string{"", "49", "4902", "490201", "49020131", "490600", "4906021791BC82", "490201" + strings.Repeat("80", 17)} {
		b, _ := hex.DecodeString(s)
		if x, err := obd.DecodeInfo(b); err == nil {
			t.Errorf("%s: %+v", s, x)
		}
	}
	if list, err := obd.DecodeCheckNumbers([]byte{0x49, 0x06, 1, 0x5A, 0x1C, 0x77, 0x0E}); err != nil || !slices.Equal(list, []string{"5A1C770E"}) {
		t.Errorf("%v, %v", list, err)
	}
	if _, err := obd.DecodeCheckNumbers([]byte{0x49, 0x06, 1, 0x5A}); err == nil {
		t.Error("a check value of one byte")
	}
}

// The numbers of messages of the older buses, after the public table's message counts.
func TestMessageCount(t *testing.T) {
	if kind, n, err := obd.DecodeMessageCount([]byte{0x49, 0x01, 0x05}); err != nil || kind != 0x02 || n != 5 {
		t.Errorf("%02X, %d, %v", kind, n, err)
	}
	for _, b := range [][]byte{nil, {0x49, 0x01}, {0x49, 0x02, 0x05}} {
		if _, _, err := obd.DecodeMessageCount(b); err == nil {
			t.Errorf("% X was taken", b)
		}
	}
}

// The client's way to self-tests and information.
func TestAskTests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newCar(func(_ int, request []byte) []event {
			answers := map[string]string{
				"0600": "4600C0000001", "0620": "462080000000", "0601": "4601010A0BB00BB00BB0",
				"0900": "49000154400000", "0906": "490601" + "5A1C770E", "0908": "49080400010002" + "00030004",
			}
			b, err := hex.DecodeString(answers[strings.ToUpper(hex.EncodeToString(request))])
			if err != nil || len(b) == 0 {
				t.Errorf("asked for % X", request)
			}
			return []event{{after: 400 * ms, from: engine, data: b}}
		})
		got, err := one(c).MonitorsOffered(t.Context())
		if err != nil || len(got[engine].Value) != 4 || !got[engine].Value[0x02] || !got[engine].Value[0x21] {
			t.Errorf("%v, %v", got, err)
		}
		tests, err := one(c).SelfTests(t.Context(), 0x01)
		if err != nil || len(tests[engine].Value) != 1 || tests[engine].Value[0].Verdict != obd.Within {
			t.Errorf("%v, %v", tests, err)
		}
		sent := c.requests()
		if _, err := one(c).SelfTests(t.Context(), 0x20); err == nil || c.requests() != sent {
			t.Errorf("a table was asked for as a monitor: %v", err)
		}
		offered, err := one(c).InfoOffered(t.Context())
		if err != nil || !offered[engine].Value[0x02] || !offered[engine].Value[0x0A] || offered[engine].Value[0x01] {
			t.Errorf("%v, %v", offered, err)
		}
		if check, err := one(c).CheckNumbers(t.Context()); err != nil || check[engine].Value[0] != "5A1C770E" {
			t.Errorf("%v, %v", check, err)
		}
		if info, err := one(c).Info(t.Context(), 0x08); err != nil || info[engine].Value.Tracking.Tests[0].Encountered != 4 {
			t.Errorf("%v, %v", info, err)
		}
	})
}

// Identifiers of J1979-2 tell what services 01, 06 and 09 tell. Ranges: ISO 14229-1 annex C; the forms of F6xx and F8xx
// are from memory.
func TestIdentifiers(t *testing.T) {
	for _, c := range []struct {
		id   uint16
		data string
		want string
	}{
		{0xF40C, "1AF8", "motor speed: 1726 1/min"},
		{0xF405, "7B", "coolant temperature: 83 °C"},
		{0xF4A6, "00064E1C", "distance on the odometer: 41321.2 km"},
		{0xF4D6, "0102", ": "}, // not described
		{0xF40C, "1A", "error"},
		{0xF40C, "1AF800", "error"},
		{0xF400, "BE3EB811", "offers 17"},
		{0xF600, "C0000001", "offers 3"},
		{0xF800, "55400000", "offers 5"},
		{0xF820, "5540", "error"},
		{0xF601, "010A0BB00BB00BB0850A000100000002", "2 tests of oxygen sensor, bank 1, sensor 1"},
		{0xF601, "01010A0BB00BB00BB0", "error"},
		{0xF601, "", "error"},
		{0xF802, "3144344750303052353542313233343536", "vehicle identification number: 1D4GP00R55B123456"},
		{0xF802, "013144344750303052353542313233343536", "vehicle identification number: 1D4GP00R55B123456"},
		{0xF806, "1791BC8216E062BE", "check value of the software: 1791BC82 16E062BE"},
		{0xF806, "021791BC8216E062BE", "check value of the software: 1791BC82 16E062BE"},
		{0xF806, "031791BC8216E062BE", "error"},
		{0xF802, "", "error"},
		{0xF8F0, "0102", ": "},
		{0xF190, "3144", "nothing"},
		{0xF501, "00", "nothing"},
	} {
		data, err := hex.DecodeString(c.data)
		if err != nil {
			t.Fatal(err)
		}
		x, err := obd.DecodeIdentifier(c.id, data)
		got := "nothing"
		switch {
		case err != nil:
			got = "error"
		case x.Parameter != nil && len(x.Parameter.Readings) == 1:
			got = x.Parameter.Name + ": " + x.Parameter.Readings[0].String()
		case x.Parameter != nil:
			got = x.Parameter.Name + ": "
		case x.Offered != nil:
			got = fmt.Sprint("offers ", len(x.Offered))
		case x.Tests != nil:
			got = fmt.Sprintf("%d tests of %s", len(x.Tests), x.Tests[0].Name)
		case x.Info != nil:
			got = x.Info.Name + ": " + strings.Join(x.Info.Items, " ")
		}
		if got != c.want || !bytes.Equal(x.Raw, data) {
			t.Errorf("%04X %s: %s, %v, want %s", c.id, c.data, got, err, c.want)
		}
	}
	for id := range 0x10000 {
		id := uint16(id)
		p, isParameter := obd.ParameterOfIdentifier(id)
		m, isMonitor := obd.MonitorOfIdentifier(id)
		i, isInfo := obd.InfoOfIdentifier(id)
		if isParameter != (id>>8 == 0xF4) || isMonitor != (id>>8 == 0xF6) || isInfo != (id>>8 == 0xF8) {
			t.Fatalf("%04X: %v, %v, %v", id, isParameter, isMonitor, isInfo)
		}
		name, ok := obd.IdentifierName(id)
		var want string
		switch {
		case isParameter && obd.IdentifierOfParameter(p) == id:
			want, _ = obd.ParameterName(p)
		case isMonitor && obd.IdentifierOfMonitor(m) == id:
			want, _ = obd.MonitorName(m)
		case isInfo && obd.IdentifierOfInfo(i) == id:
			want, _ = obd.InfoName(i)
		}
		if name != want || ok != (want != "") {
			t.Fatalf("%04X is %q, want %q", id, name, want)
		}
	}
}
