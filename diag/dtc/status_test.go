package dtc_test

import (
	"fmt"
	"testing"

	"readback/diag/dtc"
)

// The order of the lines and the example values are common practice after ISO 14229-1 annex D.2.
func TestVerdicts(t *testing.T) {
	const all = 0xFF
	for _, c := range []struct {
		status, mask dtc.Status
		want         dtc.Verdict
		why          string
	}{
		{0x09, all, dtc.ThereNow, "failed and stored"},
		{0x2F, all, dtc.ThereNow, "everything"},
		{0x51, all, dtc.ThereNow, "bit 0 comes first"},
		{0x02, all, dtc.CameAndWent, "bit 1 alone"},
		{0x2E, all, dtc.CameAndWent, "bit 1 before stored"},
		{0x24, all, dtc.SeenOnce, "pending, not confirmed"},
		{0x2C, all, dtc.RememberedPassed, "pending and confirmed, tested this trip"},
		{0x08, all, dtc.RememberedPassed, "stored, tested this trip"},
		{0x28, all, dtc.RememberedPassed, "stored, failed since the clear, passing"},
		{0x48, all, dtc.Remembered, "stored, not tested this trip"},
		{0x68, all, dtc.Remembered, "the same, failed since the clear"},
		{0x50, all, dtc.NoResult, "as after a clear"},
		{0x10, all, dtc.NoResult, "not tested since the clear"},
		{0x40, all, dtc.NoResult, "not tested this trip"},
		{0xD0, all, dtc.NoResult, "a lamp does not make a fault"},
		{0x20, all, dtc.FailedSinceClear, "failed since the clear, passing"},
		{0x60, all, dtc.FailedSinceClear, "the same, not tested this trip"},
		{0x00, all, dtc.Fine, "tested"},
		{0x80, all, dtc.Fine, "a lamp alone is no fault"},

		{0x01, 0xFE, dtc.VerdictUnknown, "bit 0 is not reported, so its value says nothing"},
		{0x2F, 0x00, dtc.VerdictUnknown, "nothing is reported"},
		{0x04, 0xF7, dtc.VerdictUnknown, "pending, but whether it is confirmed is not reported"},
		{0x24, 0xF7, dtc.FailedSinceClear, "the same, failed since the clear and passing: that much is reported"},
		{0x28, 0x2F, dtc.RememberedOnly, "stored and passing, but whether it was tested this trip is not reported"},
		{0x08, 0x08, dtc.Stored, "stored, and nothing else is reported"},
		{0x20, 0x20, dtc.VerdictUnknown, "failed since the clear, but whether it passes now is not reported"},
		{0x00, 0x01, dtc.VerdictUnknown, "passing, but it may never have been tested"},
		{0x00, 0x19, dtc.Fine, "passing, tested since the clear, not stored"},
	} {
		if got := c.status.Verdict(c.mask); got != c.want {
			t.Errorf("%02X & %02X (%s): %v, want %v", byte(c.status), byte(c.mask), c.why, got, c.want)
		}
	}
}

// A verdict may rest on reported bits only: flipping the others changes nothing. All 65,536 pairs.
func TestVerdictRestsOnReportedBits(t *testing.T) {
	for mask := range 256 {
		m := dtc.Status(mask)
		for status := range 256 {
			s := dtc.Status(status)
			if a, b := s.Verdict(m), (s & m).Verdict(m); a != b {
				t.Fatalf("%02X & %02X: %v, but %v without the bits that are not reported", status, mask, a, b)
			}
			if got, want := s.Faulty(m), status&mask&0x2F != 0; got != want {
				t.Fatalf("%02X & %02X: faulty %v", status, mask, got)
			}
			v := s.Verdict(m)
			if s.Faulty(m) && (v == dtc.Fine || v == dtc.NoResult) {
				t.Fatalf("%02X & %02X is a fault and counts as %v", status, mask, v)
			}
			if v == dtc.ThereNow != (status&mask&1 != 0) {
				t.Fatalf("%02X & %02X: %v", status, mask, v)
			}
		}
	}
}

// Names of ISO 14229-1 annex D.2; py-uds, python-udsoncan and scapy agree.
func TestBits(t *testing.T) {
	want := []string{"testFailed", "testFailedThisOperationCycle", "pendingDTC", "confirmedDTC", "testNotCompletedSinceLastClear",
		"testFailedSinceLastClear", "testNotCompletedThisOperationCycle", "warningIndicatorRequested"}
	for i, b := range dtc.Status(0xA5).Bits(0x0F) {
		if b.Name != want[i] || b.Bit != i || b.Text == "" || b.Set != (0xA5>>i&1 != 0) || b.Known != (i < 4) {
			t.Errorf("bit %d: %+v", i, b)
		}
	}
}

func TestVerdictTexts(t *testing.T) {
	seen := map[string]bool{}
	for v := dtc.VerdictUnknown; v <= dtc.Permanent; v++ {
		if v.Key() == "" || v.Text() == "" || v.Short() == "" || seen[v.Key()] {
			t.Errorf("verdict %d: key %q, text %q, short %q", v, v.Key(), v.Text(), v.Short())
		}
		seen[v.Key()] = true
	}
	if s := fmt.Sprint(dtc.ThereNow); s != "there-now" {
		t.Errorf("there now prints as %q", s)
	}
}
