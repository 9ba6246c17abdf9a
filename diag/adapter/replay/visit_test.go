package replay_test

import (
	"encoding/json"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/adapter/replay"
	"readback/diag/bus"
	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/trace"
)

// seen is what the owner sees of a look.
type seen struct {
	Modules  []diag.ModuleView
	Patterns []diag.Pattern
	Explains string
	requests int
	took     time.Duration
}

const question = "7E5 04 14 FF FF FF 55 55 55"

// lookAt looks at the car at a place, and keeps the recording at path, where one is given.
func lookAt(t *testing.T, p adapter.Place, path string) (s seen) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		store, err := garage.Open(t.Context(), filepath.Join(t.TempDir(), "readback.db"))
		if err != nil {
			t.Fatal(err)
		}
		defer store.Close()
		v, err := diag.Open(t.Context(), diag.Options{Place: p, Drivers: []adapter.Driver{practice.Driver(), replay.Driver()}, Store: store})
		if err != nil {
			t.Fatal(err)
		}
		defer v.Close()
		begun := time.Now()
		for _, err := range v.Look(t.Context(), "") {
			if err != nil {
				t.Fatal(err)
			}
		}
		x, err := json.Marshal(v.Explain(question, ""))
		if err != nil {
			t.Fatal(err)
		}
		s = seen{Modules: v.Modules(), Patterns: v.Patterns(), Explains: string(x), took: time.Since(begun)}
		for _, e := range v.Conversation() {
			if e.Level == trace.Message && e.Direction == bus.Out {
				s.requests++
			}
		}
		if path != "" {
			if err := trace.WriteFile(t.Context(), path, v.Conversation()); err != nil {
				t.Fatal(err)
			}
		}
	})
	return s
}

var codes = cmp.Comparer(func(a, b dtc.Code) bool { return a == b })

// TestVisit: a look at the practice car, recorded and walked again without the car, shows the same modules, codes and
// patterns, and explains a request in the same words.
func TestVisit(t *testing.T) {
	path := filepath.Join(t.TempDir(), "look.pcapng")
	want := lookAt(t, "practice:", path)
	if len(want.Modules) != 11 {
		t.Fatalf("%d modules", len(want.Modules))
	}
	for _, scheme := range []string{replay.Scheme, replay.SchemeFast} {
		got := lookAt(t, adapter.Place(scheme+":"+path), "")
		if d := cmp.Diff(want.Modules, got.Modules, codes); d != "" {
			t.Errorf("%s: modules: %s", scheme, d)
		}
		if d := cmp.Diff(want.Patterns, got.Patterns, codes); d != "" {
			t.Errorf("%s: patterns: %s", scheme, d)
		}
		if got.Explains != want.Explains {
			t.Errorf("%s: explained as\n%s, was\n%s", scheme, got.Explains, want.Explains)
		}
		t.Logf("%s: %d requests in %v; at first %d in %v", scheme, got.requests, got.took, want.requests, want.took)
	}
}
