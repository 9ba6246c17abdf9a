package diag

import (
	"testing"

	"readback/diag/kwp"
)

// TestOlderStatus: whatever a status byte of ISO 14230-3 says, the record says no more and no less than the kwp package
// reads in it, whose table has its own tests.
func TestOlderStatus(t *testing.T) {
	for b := range 256 {
		s := kwp.Status(b)
		got := olderStatus(s)
		if got&^olderBits != 0 {
			t.Errorf("%02X: bits %02X have no equal", b, byte(got&^olderBits))
		}
		want := map[kwp.Storage]string{kwp.NotDetected: "unknown", kwp.NotPresent: "remembered-only", kwp.Intermittent: "there-now", kwp.Present: "there-now"}
		if v := got.Verdict(olderBits).String(); v != want[s.Storage()] {
			t.Errorf("%02X (%s): verdict %s, want %s", b, s.Storage(), v, want[s.Storage()])
		}
		if got.Faulty(olderBits) != s.Faulty() {
			t.Errorf("%02X: faulty %v, want %v", b, got.Faulty(olderBits), s.Faulty())
		}
	}
}
