package app

import (
	"path/filepath"
	"slices"
	"testing"
	"testing/synctest"

	"readback/diag"
	"readback/diag/adapter"
	drivers "readback/diag/adapter/all"
	"readback/diag/garage"
)

// What the page says of a practice car is what a reading of it finds.
func TestPracticeCarsHoldWhatIsSaid(t *testing.T) {
	found := map[string]struct{ answered, codes, now int }{
		"courier":          {11, 12, 3},
		"flat-battery":     {11, 9, 0},
		"lock-fault":       {11, 1, 1},
		"refusing-gateway": {11, 12, 3},
		"silent-module":    {10, 2, 2},
		"clone-adapter":    {11, 12, 3},
	}
	for _, name := range practiceCars {
		want, readable := found[name]
		if !readable {
			continue
		}
		synctest.Test(t, func(t *testing.T) {
			store, err := garage.Open(t.Context(), filepath.Join(t.TempDir(), "readback.db"))
			if err != nil {
				t.Fatal(err)
			}
			defer store.Close()
			v, err := diag.Open(t.Context(), diag.Options{Place: adapter.Place(practicePlace + name), Drivers: drivers.Drivers(), Store: store})
			if err != nil {
				t.Fatal(err)
			}
			defer v.Close()
			if a := v.Adapter(); !a.Practice || a.Raw == (name == "clone-adapter") {
				t.Errorf("%s: %+v", name, a)
			}
			for _, err := range v.Look(t.Context(), "") {
				if err != nil {
					t.Fatal(err)
				}
			}
			got := want
			got.answered, got.codes, got.now = 0, 0, 0
			for _, m := range v.Modules() {
				if m.Answered == garage.Yes {
					got.answered++
				}
				for _, c := range m.Views {
					got.codes++
					if c.Describe.ThereNow {
						got.now++
					}
				}
			}
			if got != want {
				t.Errorf("%s: %+v, want %+v", name, got, want)
			}
		})
	}
	if len(found) != len(practiceCars)-1 || slices.Contains(practiceCars, "") {
		t.Errorf("the table has %d cars, the page %v", len(found), practiceCars)
	}
}

// At the wrong bit rate nothing can be read; the link page says why, and to send nothing more.
func TestWrongRateIsTold(t *testing.T) {
	b := practised(newBench(t, setup{}))
	b.w.Show(PagePractice)
	b.tap("practice wrong-rate")
	b.until("opened", func() bool { return b.w.link.opening == nil })
	for told := b.w.link.health; told == nil || told.Verdict != diag.HealthWrongRate; told = b.w.link.health {
		b.w.askHealth()
		b.until("told", func() bool { return b.w.link.health != told })
	}
	b.w.draw()
	b.says("Only broken frames come", "The bit rate is not the car's.", T("health.stop"))
}
