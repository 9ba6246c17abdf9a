package kwp_test

import (
	"bytes"
	"encoding/hex"
	"errors"
	"strings"
	"testing"

	"readback/diag/dtc"
	"readback/diag/kwp"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Two-byte codes: P0133 is in the ELM327 data sheet ("Interpreting Trouble Codes"), P0143 and U0123 are computed by scapy
// and py-uds. The layout of 58 (number, then code and status) is from memory of ISO 14230-3.
func TestByStatus(t *testing.T) {
	for _, c := range []struct {
		answer string
		want   []kwp.CodeStatus
		fails  bool
	}{
		{"58 00", []kwp.CodeStatus{}, false},
		{"58 02 01 33 E0 C1 23 20", []kwp.CodeStatus{{dtc.From2(0x01, 0x33), 0xE0}, {dtc.From2(0xC1, 0x23), 0x20}}, false},
		{"58 01 01 43 64 00 00 00", []kwp.CodeStatus{{dtc.From2(0x01, 0x43), 0x64}}, false}, // filled up
		{"58 01 00 00 E0", []kwp.CodeStatus{{dtc.From2(0, 0), 0xE0}}, false},                // announced, so it counts
		{"58", nil, true},
		{"58 02 01 33 E0 C1 23", nil, true},
		{"58 01 01 33 E0 01", nil, true},
	} {
		got, err := kwp.DecodeByStatus(unhex(t, c.answer))
		var shape *kwp.ShapeError
		if c.fails != errors.As(err, &shape) || len(got) != len(c.want) || (got == nil) != c.fails {
			t.Errorf("%s: %v, %v", c.answer, got, err)
			continue
		}
		for i := range got {
			if got[i] != c.want[i] {
				t.Errorf("%s: %v", c.answer, got)
			}
		}
	}
}

func TestCodes(t *testing.T) {
	got, err := kwp.DecodeCodes(unhex(t, "53 02 01 33 C1 23"))
	if err != nil || len(got) != 2 || got[0].String() != "P0133" || got[1].String() != "U0123" {
		t.Errorf("%v, %v", got, err)
	}
	if got, err := kwp.DecodeCodes(unhex(t, "53 00")); err != nil || got == nil || len(got) != 0 {
		t.Errorf("none: %v, %v", got, err)
	}
	if _, err := kwp.DecodeCodes(unhex(t, "53 03 01 33")); err == nil {
		t.Error("too few bytes pass")
	}
}

func TestStatusOf(t *testing.T) {
	got, err := kwp.DecodeStatusOf(unhex(t, "57 01 01 33 E4 12 34 56"))
	if err != nil || !got.Known || got.Code.String() != "P0133" || got.Status != 0xE4 || !bytes.Equal(got.Raw, []byte{0x12, 0x34, 0x56}) {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err := kwp.DecodeStatusOf(unhex(t, "57 00")); err != nil || got.Known {
		t.Errorf("none: %+v, %v", got, err)
	}
	for _, s := range []string{"57", "57 01 01 33"} {
		if _, err := kwp.DecodeStatusOf(unhex(t, s)); err == nil {
			t.Errorf("%s passes", s)
		}
	}
}

// The storage state and the symptom as two open programs list them (one for a serial interface in JavaScript, one for a
// maker's engine control in Go); readiness and lamp from memory of ISO 14230-3.
func TestStatus(t *testing.T) {
	for _, c := range []struct {
		b              kwp.Status
		storage        kwp.Storage
		symptom        string
		complete, lamp bool
	}{
		{0x00, kwp.NotDetected, "", true, false},
		{0x10, kwp.NotDetected, "", false, false},
		{0x20, kwp.NotPresent, "", true, false},
		{0x41, kwp.Intermittent, "above the maximum", true, false},
		{0x62, kwp.Present, "below the minimum", true, false},
		{0xE4, kwp.Present, "no signal", true, true},
		{0xA8, kwp.NotPresent, "invalid signal", true, true},
		{0x6F, kwp.Present, "", true, false}, // a symptom of the maker's own
	} {
		symptom, ok := c.b.Symptom()
		if c.b.Storage() != c.storage || symptom != c.symptom || ok != (c.symptom != "") || c.b.Complete() != c.complete ||
			c.b.Lamp() != c.lamp || c.b.Faulty() != (c.storage != kwp.NotDetected) {
			t.Errorf("%02X: %v %q complete %v lamp %v", byte(c.b), c.b.Storage(), symptom, c.b.Complete(), c.b.Lamp())
		}
	}
	// The same byte read as ISO 14229-1 has it would say something else: its bit 0 is then "failed at the last test".
	if kwp.Status(0x2F).Storage() != kwp.NotPresent || dtc.Status(0x2F)&dtc.TestFailed == 0 {
		t.Error("2F is read as in ISO 14229-1")
	}
}

// Published lines of real modules: a public note of a session over an ELM-style adapter (5A 9A with text) and public
// transcripts of start and stop (C1 with key bytes, C2).
func TestPlates(t *testing.T) {
	p, err := kwp.DecodePlate(unhex(t, "5A 9A 33 32 39 32 30 2D 30"))
	if err != nil || p.Option != 0x9A || p.Text != "32920-0" {
		t.Errorf("%+v, %v", p, err)
	}
	if p, err := kwp.DecodePlate(unhex(t, "5A 80 30 31 FF 02 33")); err != nil || p.Text != "" || len(p.Raw) != 5 {
		t.Errorf("not text: %+v, %v", p, err)
	}
	if p, err := kwp.DecodePlate(unhex(t, "5A 90 31 32 20 00 FF")); err != nil || p.Text != "12" {
		t.Errorf("filled up: %+v, %v", p, err)
	}
	if _, err := kwp.DecodePlate(unhex(t, "5A 90")); err == nil {
		t.Error("no data passes")
	}
	for option, want := range map[byte]string{0x80: "ECUIdentificationDataTable", 0x90: "vehicleIdentificationNumber", 0x9D: "ECUInstallationDate", 0x87: ""} {
		if name, text, ok := kwp.PlateName(option); name != want || ok != (want != "") || (text == "") != (want == "") {
			t.Errorf("%02X: %q %q %v", option, name, text, ok)
		}
	}
}

func TestOthers(t *testing.T) {
	if f, err := kwp.DecodeFrozen(unhex(t, "52 01")); err != nil || f.Frame != 1 || len(f.Raw) != 0 {
		t.Errorf("a freeze frame without data: %+v, %v", f, err)
	}
	f, err := kwp.DecodeFrozen(unhex(t, "52 01 0C 1A F8"))
	if err != nil || f.Frame != 1 || !bytes.Equal(f.Raw, []byte{0x0C, 0x1A, 0xF8}) {
		t.Errorf("%+v, %v", f, err)
	}
	// 61 08 as in the public note of a session over an ELM-style adapter.
	v, err := kwp.DecodeLocal(unhex(t, "61 08 0F 02 01 A0 02 02 A0"))
	if err != nil || len(v) != 7 || v[0] != 0x0F {
		t.Errorf("%X, %v", v, err)
	}
	for answer, want := range map[string]uint16{"54 FF 00": kwp.GroupAll, "54 40 00": kwp.GroupChassis} {
		if g, echoed, err := kwp.DecodeClear(unhex(t, answer)); g != want || !echoed || err != nil {
			t.Errorf("%s: %04X %v %v", answer, g, echoed, err)
		}
	}
	if _, echoed, err := kwp.DecodeClear([]byte{0x54}); echoed || err != nil {
		t.Errorf("54 alone: %v %v", echoed, err)
	}
	if _, _, err := kwp.DecodeClear([]byte{0x54, 0xFF}); err == nil {
		t.Error("half a group passes")
	}
}

// Names of scapy (contrib/automotive/kwp, negativeResponseCodes), those that differ from ISO 14229-1 among them.
func TestRefusals(t *testing.T) {
	for code, name := range map[kwp.NRC]string{
		0x10: "generalReject", 0x11: "serviceNotSupported", 0x12: "subFunctionNotSupported-InvalidFormat", 0x21: "busyRepeatRequest",
		0x22: "conditionsNotCorrect-RequestSequenceError", 0x23: "routineNotComplete", 0x31: "requestOutOfRange",
		0x33: "securityAccessDenied-SecurityAccessRequested", 0x35: "invalidKey", 0x36: "exceedNumberOfAttempts",
		0x37: "requiredTimeDelayNotExpired", 0x40: "downloadNotAccepted", 0x50: "uploadNotAccepted", 0x71: "transferSuspended",
		0x78: "requestCorrectlyReceived-ResponsePending", 0x80: "subFunctionNotSupportedInActiveDiagnosticSession",
		0x9A: "dataDecompressionFailed", 0x9B: "dataDecryptionFailed", 0xA0: "EcuNotResponding", 0xA1: "EcuAddressUnknown",
	} {
		if code.Name() != name || code.String() != name || !code.Known() {
			t.Errorf("%02X is %q", byte(code), code.Name())
		}
	}
	for code := range 0x100 {
		c := kwp.NRC(code)
		if c.Text() == "" || c.Advice() == "" || c.String() == "" || strings.HasSuffix(c.Text(), ".") {
			t.Errorf("%02X: %q %q", code, c.Text(), c.Advice())
		}
	}
}

// No decoder finds more than the bytes hold, and none of a list gives bytes twice.
func FuzzDecode(f *testing.F) {
	for _, s := range []string{"58020133E0C12320", "53020133C123", "57010133E4123456", "520105", "5A9A3332", "610801", "54FF00", ""} {
		f.Add(unhex(f, s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if l, err := kwp.DecodeByStatus(b); err == nil && 2+3*len(l) > len(b) {
			t.Errorf("%d codes in % X", len(l), b)
		}
		if l, err := kwp.DecodeCodes(b); err == nil && 2+2*len(l) > len(b) {
			t.Errorf("%d codes in % X", len(l), b)
		}
		if s, err := kwp.DecodeStatusOf(b); err == nil && s.Known && len(s.Raw) != len(b)-5 {
			t.Errorf("% X of % X", s.Raw, b)
		}
		if x, err := kwp.DecodeFrozen(b); err == nil && !bytes.Equal(x.Raw, b[2:]) {
			t.Errorf("% X of % X", x.Raw, b)
		}
		if p, err := kwp.DecodePlate(b); err == nil && (!bytes.Equal(p.Raw, b[2:]) || len(p.Text) > len(p.Raw)) {
			t.Errorf("%+v of % X", p, b)
		}
		if v, err := kwp.DecodeLocal(b); err == nil && !bytes.Equal(v, b[2:]) {
			t.Errorf("% X of % X", v, b)
		}
		if _, echoed, err := kwp.DecodeClear(b); err == nil && echoed && len(b) < 3 {
			t.Errorf("a group in % X", b)
		}
	})
}

func TestStorageWords(t *testing.T) {
	for s, want := range map[kwp.Storage]string{
		kwp.NotDetected: "not found", kwp.NotPresent: "stored, not there now", kwp.Intermittent: "there now, not stored yet", kwp.Present: "stored, and there now",
	} {
		if s.String() != want {
			t.Errorf("%d: %q, want %q", s, s, want)
		}
	}
}
