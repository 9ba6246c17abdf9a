package obd_test

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"readback/diag/obd"
	"readback/diag/vin"
	"readback/testdata"
)

type worked struct {
	Kind, Request, Bytes, Source string
	Expect                       map[string]any
}

// Every worked example of the OBD services; each names its source.
func TestWorkedExamples(t *testing.T) {
	var all []worked
	if err := json.Unmarshal(testdata.UDSWorked, &all); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, w := range all {
		if w.Kind != "obd" {
			continue
		}
		n++
		b, err := hex.DecodeString(w.Bytes)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(w.Request+" "+w.Bytes, func(t *testing.T) { check(t, w, b) })
	}
	if n != 15 {
		t.Errorf("%d examples", n)
	}
}

func check(t *testing.T, w worked, b []byte) {
	same := func(key string, got any) {
		t.Helper()
		if fmt.Sprint(got) != fmt.Sprint(w.Expect[key]) {
			t.Errorf("%s is %v, want %v (%s)", key, got, w.Expect[key], w.Source)
		}
	}
	value := func(i int, keys ...string) {
		t.Helper()
		m, err := obd.DecodeCurrent(b)
		if err != nil || len(m) != 1 || len(m[0].Readings) <= i {
			t.Fatalf("%v, %v", m, err)
		}
		same(keys[0], m[0].Readings[i].Quantity.Value)
	}
	switch {
	case w.Request == "0100":
		m, err := obd.DecodeCurrent(b)
		if err != nil {
			t.Fatal(err)
		}
		same("supported", m[0].Readings[0].Text)
	case w.Request == "0101":
		m, err := obd.DecodeMonitors(b[2:])
		if err != nil {
			t.Fatal(err)
		}
		var fitted []string
		for _, x := range m.Fitted {
			fitted = append(fitted, x.Key)
		}
		same("mil", m.Lamp)
		same("count", m.Codes)
		same("supported", fitted)
		same("incomplete", m.Incomplete())
		if m.Compression {
			t.Error("the engine has spark ignition")
		}
	case w.Request == "0105":
		value(0, "degC")
	case w.Request == "010C":
		value(0, "rpm")
	case w.Request == "0110":
		value(0, "g/s")
	case w.Request == "0134":
		value(0, "lambda")
		value(1, "mA")
	case w.Request == "03" && w.Expect["nonCAN"] != nil:
		codes, err := obd.DecodeCodesSerial(b)
		if err != nil {
			t.Fatal(err)
		}
		same("nonCAN", codes)
	case w.Request == "03":
		codes, err := obd.DecodeCodes(b)
		if err != nil {
			t.Fatal(err)
		}
		same("CAN", codes)
	case w.Request == "04":
		same("cleared", len(b) == 1 && b[0] == obd.ClearRequest()[0]|0x40)
	case w.Request == "0902":
		text, err := obd.DecodeVIN(b)
		if err != nil {
			t.Fatal(err)
		}
		same("vin", text)
		v, err := vin.Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		if _, ok, _ := v.CheckDigit(); ok == (w.Expect["checkdigit"] == "mismatch") {
			t.Errorf("the check digit fits: %v", ok)
		}
	case w.Request == "0904":
		ids, err := obd.DecodeCalibrationIDs(b)
		if err != nil {
			t.Fatal(err)
		}
		same("calid", strings.Join(ids, " "))
	default:
		t.Fatalf("no check for %s", w.Request)
	}
}
