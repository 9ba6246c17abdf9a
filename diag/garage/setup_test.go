package garage

import (
	"errors"
	"slices"
	"testing"
	"time"
)

// TestSetup: what an owner has set up for a car is kept with that car alone, identifiers once each and of the wirings the
// newest.
func TestSetup(t *testing.T) {
	s := fresh(t)
	car, other := putCar(t, s, Car{Name: "Van"}).ID, putCar(t, s, Car{Name: "Another"}).ID
	for _, ids := range [][]uint16{{0xDD01, 0}, {0xF40D, 0xDD01}, nil} {
		if err := s.PutIdentifiers(t.Context(), car, ids, begun); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := s.Identifiers(t.Context(), car); err != nil || !slices.Equal(got, []uint16{0xDD01, 0, 0xF40D}) {
		t.Errorf("%04X, %v", got, err)
	}
	for i, w := range []string{"plain", "own 6-7 14-2", "plain"} {
		if err := s.PutWiring(t.Context(), car, w, begun.Add(time.Duration(i)*time.Second)); err != nil {
			t.Fatal(err)
		}
		if got, err := s.Wiring(t.Context(), car); got != w || err != nil {
			t.Errorf("%q, %v; want %q", got, err, w)
		}
	}
	// One that comes from elsewhere and is older changes nothing.
	if err := s.PutWiring(t.Context(), car, "b", begun.Add(-time.Hour)); err != nil {
		t.Fatal(err)
	}
	if got, err := s.Wiring(t.Context(), car); got != "plain" || err != nil {
		t.Errorf("%q, %v", got, err)
	}
	if ids, err := s.Identifiers(t.Context(), other); len(ids) != 0 || err != nil {
		t.Errorf("%04X, %v", ids, err)
	}
	if got, err := s.Wiring(t.Context(), other); got != "" || err != nil {
		t.Errorf("%q, %v", got, err)
	}
	if err := errors.Join(s.PutIdentifiers(t.Context(), 99, []uint16{1}, begun), s.PutWiring(t.Context(), 99, "plain", begun)); !errors.Is(err, ErrNotFound) {
		t.Errorf("a car that is not there: %v", err)
	}
}
