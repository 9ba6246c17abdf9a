package all

import (
	"errors"
	"slices"
	"testing"

	"readback/diag/adapter"
)

// Every scheme of the terminal's contract has one driver, and every row that a driver finds belongs to it.
func TestDrivers(t *testing.T) {
	var schemes []string
	for _, d := range Drivers() {
		schemes = append(schemes, d.Schemes()...)
		found, err := d.Find(t.Context())
		if err != nil {
			t.Errorf("%v: %v", d.Schemes(), err)
		}
		for _, f := range found {
			scheme, _, err := f.Place.Split()
			if err != nil || !slices.Contains(d.Schemes(), scheme) || f.Name == "" {
				t.Errorf("%v finds %+v", d.Schemes(), f)
			}
		}
	}
	for _, s := range []string{"practice", "serial", "tcp", "slcan", "can", "replay", "replay-fast"} {
		if n := len(slices.DeleteFunc(slices.Clone(schemes), func(x string) bool { return x != s })); n != 1 {
			t.Errorf("%d drivers for %q", n, s)
		}
	}
	if _, err := adapter.Open(t.Context(), Drivers(), "pigeon:1", adapter.Options{}); !errors.Is(err, adapter.ErrUnknownPlace) {
		t.Errorf("%v", err)
	}
}
