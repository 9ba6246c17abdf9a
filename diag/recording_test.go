package diag_test

import (
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/explain"
	"readback/diag/link"
	"readback/diag/trace"
)

// What was said in a visit is kept beside the logbook, belongs to its reading and its change, and can be read again.
func TestRecordingKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:", practice.Driver())
		look(t, v)
		r := prepare(t, v, "")
		var said []string
		for _, e := range v.Conversation() {
			if e.Level == trace.Frame {
				said = append(said, explain.Canonical(link.IDOf(e.Frames[0]), e.Frames[0].Data[:e.Frames[0].Length]))
			}
		}
		for range 2 { // closing twice keeps it once
			if err := v.Close(); err != nil {
				t.Fatal(err)
			}
		}
		all, err := s.Recordings(t.Context(), v.Car().ID)
		if err != nil || len(all) != 1 {
			t.Fatalf("%d recordings, %v", len(all), err)
		}
		if k := all[0]; k.Visit != r.Visit || k.Entry != r.Entry || k.Frames != len(said) {
			t.Errorf("%+v, for visit %d, change %d, %d frames", k, r.Visit, r.Entry, len(said))
		}
		var read []string
		for e, err := range trace.ReadFile(s.RecordingPath(all[0])) {
			if err != nil {
				t.Fatal(err)
			}
			read = append(read, explain.Canonical(link.IDOf(e.Frames[0]), e.Frames[0].Data[:e.Frames[0].Length]))
		}
		if !slices.Equal(said, read) {
			t.Errorf("%d frames were said, %d can be read, and they differ", len(said), len(read))
		}
		if !slices.Contains(read, "7E5#0414FFFFFF555555") {
			t.Error("the change is not in the recording")
		}
	})
}

// The practice car's dates can lie ahead; another car's can't. The gate still goes by the clock.
func TestCalendar(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		const week = 7 * 24 * time.Hour
		v, err := diag.Open(t.Context(), diag.Options{Place: "practice:", Drivers: []adapter.Driver{practice.Driver()}, Store: s, Ahead: week})
		if err != nil {
			t.Fatal(err)
		}
		defer v.Close()
		look(t, v)
		first, _ := v.Record()
		if d := time.Until(first.Begun); d < week-time.Minute || d > week+time.Minute {
			t.Errorf("the reading is dated %s ahead", d)
		}
		r := prepare(t, v, "")
		if !r.Sent {
			t.Fatalf("not sent: %s %+v", r.Reason, r.Refused)
		}
		for _, step := range []struct {
			name string
			done bool
		}{{diag.ProofWeek, true}, {diag.ProofWeek, false}, {"R9", false}} {
			if err := v.MarkProof(t.Context(), step.name); (err == nil) != step.done {
				t.Errorf("%s: %v", step.name, err)
			}
		}
		due, err := s.DueProof(t.Context(), time.Now().Add(week+time.Hour))
		if err != nil || len(due) != 2 {
			t.Errorf("an hour after the erase %d steps are due, %v", len(due), err)
		}
		if _, err := diag.Open(t.Context(), diag.Options{Place: "can:can0", Store: s, Ahead: week}); !errors.Is(err, diag.ErrCalendar) {
			t.Errorf("a real car's dates: %v", err)
		}
	})
}
