package garage

import (
	"crypto/sha256"
	"errors"
	"io"
	"os"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// changed is a store with one car, one visit and one change that was accepted.
func changed(t *testing.T) (s *Store, car, visit int64, change Entry) {
	t.Helper()
	s = fresh(t)
	c, err := s.PutCar(t.Context(), Car{Name: "Van", VIN: number})
	if err != nil {
		t.Fatal(err)
	}
	v, err := s.SaveVisit(t.Context(), fullVisit(c.ID))
	if err != nil {
		t.Fatal(err)
	}
	change = begin(t, s, clearing(c.ID, v.ID))
	if err := s.Finish(t.Context(), change.ID, Accepted, []string{"54"}, begun.Add(time.Second)); err != nil {
		t.Fatal(err)
	}
	return s, c.ID, v.ID, change
}

func TestMeter(t *testing.T) {
	s, car, _, _ := changed(t)
	if err := s.PutMeter(t.Context(), 99, nil); !errors.Is(err, ErrNotFound) {
		t.Errorf("readings without a car: %v", err)
	}
	at := begun.UTC()
	first := []MeterReading{{Spot: "car:6-14", Value: "120.0 Ω", At: at}, {Spot: "cable:6-7", Value: "0.3 Ω", At: at}}
	second := []MeterReading{{Spot: "car:6-14", Value: "60.4 Ω", At: at.Add(time.Hour)}}
	for _, r := range [][]MeterReading{first, second} {
		if err := s.PutMeter(t.Context(), car, r); err != nil {
			t.Fatal(err)
		}
	}
	got, err := s.Meter(t.Context(), car)
	if d := cmp.Diff([]MeterReading{first[1], second[0]}, got); d != "" || err != nil {
		t.Error(err, d)
	}
	if _, ok, err := s.Offset(t.Context(), "can:can0"); ok || err != nil {
		t.Error(ok, err)
	}
	for _, volts := range []float64{0.3, -0.2} {
		if err := s.PutOffset(t.Context(), "can:can0", volts, at); err != nil {
			t.Fatal(err)
		}
	}
	if volts, ok, err := s.Offset(t.Context(), "can:can0"); volts != -0.2 || !ok || err != nil {
		t.Error(volts, ok, err)
	}
}

func TestProof(t *testing.T) {
	s, car, visit, change := changed(t)
	plan := []ProofStep{{Step: "R1", Due: begun.Add(time.Minute)}, {Step: "R6", Due: begun.Add(7 * 24 * time.Hour)}, {Step: "R2", Due: begun.Add(time.Hour)}}
	if err := s.PlanProof(t.Context(), 99, plan); !errors.Is(err, ErrNotFound) {
		t.Errorf("a plan without a change: %v", err)
	}
	for range 2 { // a second plan changes nothing
		if err := s.PlanProof(t.Context(), change.ID, plan); err != nil {
			t.Fatal(err)
		}
	}
	steps, err := s.Proof(t.Context(), change.ID)
	if err != nil || len(steps) != 3 || steps[0].Step != "R1" || steps[1].Step != "R2" || steps[2].Step != "R6" || steps[0].CarID != car {
		t.Fatal(steps, err)
	}
	due := func(after time.Duration) (names []string) {
		got, err := s.DueProof(t.Context(), begun.Add(after))
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range got {
			names = append(names, p.Step)
		}
		return names
	}
	if got := due(time.Second); got != nil {
		t.Errorf("due too early: %v", got)
	}
	if d := cmp.Diff([]string{"R1", "R2"}, due(2*time.Hour)); d != "" {
		t.Error(d)
	}
	if err := s.ProofDone(t.Context(), steps[0].ID, visit, begun.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := s.LeaveProof(t.Context(), steps[1].ID); err != nil {
		t.Fatal(err)
	}
	if got := due(2 * time.Hour); got != nil {
		t.Errorf("due although done or left out: %v", got)
	}
	if d := cmp.Diff([]string{"R6"}, due(8*24*time.Hour)); d != "" {
		t.Error(d)
	}
	steps, _ = s.Proof(t.Context(), change.ID)
	if steps[0].Visit != visit || steps[0].Open() || steps[1].Open() || !steps[2].Open() {
		t.Errorf("%+v", steps)
	}
	for _, err := range []error{s.ProofDone(t.Context(), 99, visit, begun), s.ProofDone(t.Context(), steps[2].ID, 99, begun), s.LeaveProof(t.Context(), 99)} {
		if !errors.Is(err, ErrNotFound) {
			t.Error(err)
		}
	}
}

func TestRecordings(t *testing.T) {
	s, car, visit, change := changed(t)
	content := []byte("some frames")
	r, err := s.PutRecording(t.Context(), Recording{CarID: car, Visit: visit, Entry: change.ID, Frames: 3, Begun: begun, Ended: begun.Add(time.Minute)}, func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(s.RecordingPath(r))
	if sum := sha256.Sum256(content); err != nil || string(got) != string(content) || string(r.Digest) != string(sum[:]) {
		t.Errorf("%q, %v, digest %s", got, err, r.Digest)
	}
	list, err := s.Recordings(t.Context(), car)
	if d := cmp.Diff([]Recording{r}, list); d != "" || err != nil {
		t.Error(err, d)
	}
	broken := errors.New("broken")
	if _, err := s.PutRecording(t.Context(), Recording{CarID: car, Begun: begun}, func(w io.Writer) error { w.Write(content); return broken }); !errors.Is(err, broken) {
		t.Error(err)
	}
	if _, err := s.PutRecording(t.Context(), Recording{CarID: 99, Begun: begun}, func(io.Writer) error { return nil }); !errors.Is(err, ErrNotFound) {
		t.Error(err)
	}
	another := putCar(t, s, Car{Name: "Another"})
	if _, err := s.PutRecording(t.Context(), Recording{CarID: another.ID, Entry: change.ID, Begun: begun}, func(io.Writer) error { return nil }); err == nil {
		t.Error("a recording was put beside a change of another car")
	}
	files, err := os.ReadDir(s.recordingsFolder())
	if err != nil || len(files) != 1 {
		t.Errorf("failed recordings left %v behind (%v)", files, err)
	}
	// A name from elsewhere never leads out of the folder.
	if p := s.RecordingPath(Recording{File: "../../etc/passwd"}); p != s.RecordingPath(Recording{File: "passwd"}) {
		t.Error(p)
	}
}

func TestReportChain(t *testing.T) {
	s, car, visit, _ := changed(t)
	if _, ok, err := s.LastReport(t.Context(), car); ok || err != nil {
		t.Error(ok, err)
	}
	first, err := s.PutReport(t.Context(), Report{CarID: car, Visit: visit, Made: begun, Form: "html", Digest: Hex{1}})
	if err != nil {
		t.Fatal(err)
	}
	for _, previous := range []Hex{nil, {2}} {
		if _, err := s.PutReport(t.Context(), Report{CarID: car, Visit: visit, Made: begun, Form: "pdf", Digest: Hex{3}, Previous: previous}); !errors.Is(err, ErrChain) {
			t.Errorf("after %v: %v", previous, err)
		}
	}
	second, err := s.PutReport(t.Context(), Report{CarID: car, Visit: visit, Made: begun, Form: "pdf", Shared: true, Digest: Hex{3}, Previous: first.Digest})
	if err != nil {
		t.Fatal(err)
	}
	last, ok, err := s.LastReport(t.Context(), car)
	if d := cmp.Diff(second, last); d != "" || !ok || err != nil {
		t.Error(ok, err, d)
	}
	all, err := s.Reports(t.Context(), car)
	if err != nil || len(all) != 2 || all[1].ID != first.ID {
		t.Error(all, err)
	}
	if _, err := s.db.Exec(`DELETE FROM report`); err == nil {
		t.Error("the chain was shortened")
	}
}
