package cable

import (
	"errors"
	"maps"
	"testing"
)

// TestWiringText: every wiring is read back as it was written, and nothing else is a wiring.
func TestWiringText(t *testing.T) {
	for _, w := range []Wiring{{}, Plain(), FamilyA(), FamilyB(), {16: 9, 1: 1}} {
		got, err := ParseWiring(w.String())
		if err != nil || !maps.Equal(got, w) {
			t.Errorf("%q is read as %v, %v", w.String(), got, err)
		}
	}
	for _, text := range []string{"6", "6-", "-7", "0-7", "17-1", "6-0", "6-10", "6-7 6-2", "a-b", "6-7-8", "own"} {
		if w, err := ParseWiring(text); !errors.Is(err, ErrWiring) {
			t.Errorf("%q is read as %v, %v", text, w, err)
		}
	}
}
