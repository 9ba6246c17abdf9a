package diag_test

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"testing/synctest"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/garage"
)

// TestCrowded reads the longest list that there is. What it must find is the invented scenario "crowded".
func TestCrowded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:crowded", practice.Driver())
		defer v.Close()
		look(t, v)
		r, _ := v.Record()
		codes := 0
		for _, m := range v.Modules() {
			codes += len(m.Views)
			if len(m.Views) != 15 {
				t.Errorf("%s has %d codes", m.Name, len(m.Views))
			}
			if m.Answered != garage.Yes || m.CodesRead != garage.Yes {
				t.Errorf("%s: answered %s, codes read %s", m.Name, m.Answered, m.CodesRead)
			}
		}
		if len(r.Modules) != 20 || codes != 300 || !r.Complete {
			t.Errorf("%d modules, %d codes, complete %v", len(r.Modules), codes, r.Complete)
		}
		keys := keysOf(v.Patterns())
		for _, want := range []string{diag.PatternBattery, diag.PatternNoResult} {
			if !slices.Contains(keys, want) {
				t.Errorf("patterns %v without %s", keys, want)
			}
		}
		t.Logf("read in %v, at least %v", v.Timing().Elapsed, v.Timing().Limit)
	})
}

func keysOf(patterns []diag.Pattern) (keys []string) {
	for _, p := range patterns {
		keys = append(keys, p.Key)
	}
	return keys
}

// TestSilentTwo: eleven modules answer and none has a code; two that an earlier visit knew don't, which is not the same
// as having none.
func TestSilentTwo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		var last *diag.Visit
		for _, place := range []adapter.Place{"practice:thirteen", "practice:thirteen-less-two"} {
			v := openVisit(t, s, place, practice.Driver())
			defer v.Close()
			look(t, v)
			last = v
		}
		answered, silent, codes := 0, 0, 0
		for _, m := range last.Modules() {
			codes += len(m.Views)
			switch m.Answered {
			case garage.Yes:
				answered++
			case garage.Silent:
				silent++
				if m.CodesRead == garage.Yes {
					t.Errorf("%s is silent, and its codes were read", m.Name)
				}
			}
		}
		if answered != 11 || silent != 2 || codes != 0 || len(last.Patterns()) != 0 {
			t.Errorf("%d answered, %d silent, %d codes, patterns %v", answered, silent, codes, last.Patterns())
		}
	})
}

// TestPatternsOfScenarios: the practice cars with a matter of their own tell it.
func TestPatternsOfScenarios(t *testing.T) {
	for place, want := range map[adapter.Place][]string{
		"practice:courier":       {diag.PatternBattery},
		"practice:quiet":         nil,
		"practice:low-supply":    {diag.PatternSupply, diag.PatternBattery},
		"practice:body-unheard":  {diag.PatternMissed},
		"practice:runner":        nil,
		"practice:silent-module": {diag.PatternSilent},
		"practice:flat-battery":  {diag.PatternBattery},
	} {
		synctest.Test(t, func(t *testing.T) {
			s := openStore(t)
			defer s.Close()
			v := openVisit(t, s, place, practice.Driver())
			defer v.Close()
			look(t, v)
			if got := keysOf(v.Patterns()); !slices.Equal(got, want) {
				t.Errorf("%s: %v, want %v: %+v", place, got, want, v.Patterns())
			}
		})
	}
}

// TestNameFromEmissionControl: a module without a name plate has the name that it tells by service 09 type 0A.
func TestNameFromEmissionControl(t *testing.T) {
	file := filepath.Join(t.TempDir(), "nameless.json")
	const doc = `{"version": 1, "base": "runner", "modules": {"engine": {"texts": {"F197": null}}, "gearbox": {"texts": {"F197": null}, "obd": null}}}`
	if err := os.WriteFile(file, []byte(doc), 0o600); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, adapter.Place("practice:"+file), practice.Driver())
		defer v.Close()
		look(t, v)
		got := map[string]string{}
		for _, m := range v.Modules() {
			got[m.Request.String()] = m.Name + ", " + m.NameSource
		}
		if got["7E0"] != "Engine control, read from the module" || got["7E1"] != "Gearbox, common practice" {
			t.Errorf("names: %v", got)
		}
	})
}
