package diag_test

import (
	"testing"
	"testing/synctest"

	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/explain"
	"readback/diag/gate"
)

// TestMeasuredByEitherStandard: the speed of a petrol car is measured, whether it tells its values by service 01
// (SAE J1979) or by the identifiers F4xx (SAE J1979-2), and its number is in the record.
func TestMeasuredByEitherStandard(t *testing.T) {
	for _, place := range []adapter.Place{"practice:runner", "practice:runner-uds"} {
		t.Run(string(place), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				v := openVisit(t, s, place, practice.Driver())
				defer v.Close()
				look(t, v)
				if v.Car().VIN == "" {
					t.Error("the car has no number")
				}
				if err := v.Measure(t.Context()); err != nil {
					t.Fatal(err)
				}
				standing := false
				for _, l := range v.Latches(v.Explain("7E0 04 14 FF FF FF 55 55 55", explain.Wish(""))) {
					standing = standing || l.Key == gate.Standing && l.InLine && l.Source == gate.FromCar
				}
				if !standing {
					t.Error("that the car stands was not read from it")
				}
			})
		})
	}
}
