//go:build linux || darwin

package diag_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/elm"
	"readback/diag/adapter/practice"
	"readback/diag/explain"
	"readback/diag/garage"
)

// rungs notes what a link test tells, without the tries.
type rungs []string

func (r *rungs) tell(x adapter.Rung) {
	if x.State != adapter.RungTrying {
		*r = append(*r, fmt.Sprintf("%s %s", x.Step, x.State))
	}
}

// noOBD is the file of a practice car none of whose modules answers the services of SAE J1979.
func noOBD(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "without.json")
	if err := os.WriteFile(path, []byte(`{"version": 1, "base": "courier", "modules": {"drive": null}}`), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// The two steps that opening leaves open, on a sound car, on one that is silent to all, through an adapter that sends no
// flow control, and on an older line.
func TestLinkTest(t *testing.T) {
	for _, c := range []struct {
		name   string
		place  adapter.Place
		driver adapter.Driver
		want   string
		key    diag.Symptom // of the error
	}{
		{"raw", "practice:runner", practice.Driver(), "module held, long held", ""},
		{"serial", "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: "runner"}, "module held, long held", ""},
		{"nobody answers all", "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: noOBD(t)}, "module unknown", ""},
		{"an older line", "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: "pony"}, "module held, long held", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				if d, ok := c.driver.(pipeDriver); ok {
					d.t = t
					c.driver = d
				}
				v := openVisit(t, s, c.place, c.driver)
				defer v.Close()
				var told rungs
				err := v.LinkTest(t.Context(), told.tell)
				if got := strings.Join(told, ", "); got != c.want || err != nil {
					t.Errorf("%s, %v", got, err)
				}
			})
		})
	}
}

// An adapter that can't be trusted with a change says so before anything is sent, and the journal has no row of it.
func TestChangeRefusedByGrade(t *testing.T) {
	for car, reason := range map[string]string{
		"adapter-not-exact":   "exactly as shown",
		"adapter-no-flow":     "first part",
		"adapter-loses-bytes": "lost bytes",
	} {
		t.Run(car, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: car})
				defer v.Close()
				for _, err := range v.Look(t.Context(), "") {
					if err != nil {
						t.Logf("look: %v", err) // what such an adapter makes of it
					}
				}
				a := v.Adapter()
				if !strings.Contains(a.ReadOnly, reason) || a.Grade.Word == adapter.GradeAll {
					t.Fatalf("%s, read only: %q", a.Grade.Word, a.ReadOnly)
				}
				e := v.Explain("7E5 04 14 FF FF FF 55 55 55", explain.Wish(""))
				for _, err := range v.Send(t.Context(), e) {
					if err != nil {
						t.Error(err)
					}
				}
				r := v.Result()
				if r.Sent || r.Outcome != "" && r.Outcome != garage.NeverSent || !strings.Contains(r.Reason, reason) || !strings.Contains(r.Reason, "Nothing was sent.") {
					t.Errorf("sent %v, %q", r.Sent, r.Reason)
				}
				if n := v.Tally().Changes; n != 0 {
					t.Errorf("%d changes", n)
				}
			})
		})
	}
}

// An adapter that can't be used ends at its own step, with a row that says so.
func TestUnfitAdapters(t *testing.T) {
	for _, car := range []string{"adapter-no-prompt", "adapter-no-headers", "adapter-dies"} {
		t.Run(car, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				var told rungs
				_, err := diag.Open(t.Context(), diag.Options{Place: "serial:pipe", Store: s, Tell: told.tell,
					Drivers: []adapter.Driver{pipeDriver{Driver: elm.Driver(), t: t, car: car}}})
				var open *adapter.OpenError
				if !errors.As(err, &open) || open.Step != adapter.StepAdapter {
					t.Fatal(err)
				}
				if row, ok := diag.TroubleOf(err); !ok || row.Key != diag.CommandsRefused {
					t.Errorf("%s, %v", row.Key, ok)
				}
			})
		})
	}
}

// A whole look through every practice adapter that opens: the modules that are found, their codes, and the grade. Eleven
// modules and twelve codes are the van's.
func TestLookThroughFaultyAdapters(t *testing.T) {
	for name, want := range map[string]struct {
		modules, codes int
		word           adapter.GradeWord
	}{
		"echo": {11, 12, adapter.GradeAll}, "no-spaces": {11, 12, adapter.GradeAll}, "wide-spaces": {11, 12, adapter.GradeAll},
		"line-feeds": {11, 12, adapter.GradeAll}, "stray": {11, 12, adapter.GradeAll}, "split-lines": {11, 12, adapter.GradeAll},
		"slow": {11, 12, adapter.GradeAll}, "fast": {11, 12, adapter.GradeAll}, "false-fast": {11, 12, adapter.GradeAll},
		"interleaves": {11, 12, adapter.GradeAll}, "damages": {11, 12, adapter.GradeAll}, "restarts": {11, 12, adapter.GradeAll},
		"sleeps": {11, 12, adapter.GradeAll}, "blocked": {11, 12, adapter.GradeAll}, "stops": {11, 12, adapter.GradeAll},
		"false-version": {11, 12, adapter.GradeMost}, "hangs": {11, 12, adapter.GradeMost}, "small-buffer": {11, 12, adapter.GradeMost},
		"narrow":    {10, 12, adapter.GradeMost}, // the module with a 29-bit identifier can't be asked
		"not-exact": {11, 12, adapter.GradeReads}, "overflows": {11, 12, adapter.GradeReads},
		"refuses-all": {3, 5, adapter.GradeReads}, // those whose identifiers are the standard's
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				v := openVisit(t, s, "serial:pipe", pipeDriver{Driver: elm.Driver(), t: t, car: "adapter-" + name})
				defer v.Close()
				look(t, v)
				codes := 0
				for _, m := range v.Modules() {
					codes += len(m.Views)
				}
				if r, _ := v.Record(); !r.Complete || len(r.Modules) != want.modules || codes != want.codes {
					t.Errorf("%d modules, %d codes, complete %v", len(r.Modules), codes, r.Complete)
				}
				if g := v.Adapter().Grade; g.Word != want.word {
					t.Errorf("it %s: %v", g.Word, g.Cannot)
				}
			})
		})
	}
}
