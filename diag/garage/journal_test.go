package garage

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

func clearing(car, before int64) Entry {
	return Entry{CarID: car, Before: before, Place: "can:can0", Request: "7E5#0414FFFFFF555555", Summary: "Erase the codes of Charging",
		Words: "amber delta kite", Latches: `[{"latch":"standing","inLine":true}]`, Begun: begun}
}

func begin(t testing.TB, s *Store, e Entry) Entry {
	t.Helper()
	e, err := s.Begin(t.Context(), e)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func journal(t testing.TB, s *Store, car int64) []Entry {
	t.Helper()
	list, err := s.Journal(t.Context(), car)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func unknown(t testing.TB, s *Store) (ids []int64) {
	t.Helper()
	list, err := s.Unknown(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		if e.Outcome != Unknown || e.Seen {
			t.Errorf("among the open questions: %+v", e)
		}
		ids = append(ids, e.ID)
	}
	return ids
}

func TestJournalRoundTrip(t *testing.T) {
	s := fresh(t)
	car := putCar(t, s, Car{Name: "Van"})
	before, after := putVisit(t, s, fullVisit(car.ID)), putVisit(t, s, fullVisit(car.ID))
	want := clearing(car.ID, before.ID)
	want.Outcome, want.Seen = Accepted, true // Begin knows better
	e := begin(t, s, want)
	want.ID, want.Outcome, want.Seen, want.Begun = e.ID, Planned, false, begun.UTC()
	if d := cmp.Diff([]Entry{want}, journal(t, s, car.ID), cmpopts.EquateEmpty()); d != "" {
		t.Error("begun:", d)
	}
	if d := cmp.Diff(want, e, cmpopts.EquateEmpty()); d != "" {
		t.Error("returned:", d)
	}
	want.Outcome, want.Ended, want.Answers = Accepted, begun.Add(time.Second).UTC(), []string{"7ED 54 after 12 ms"}
	if err := s.Finish(t.Context(), e.ID, Accepted, want.Answers, want.Ended); err != nil {
		t.Fatal(err)
	}
	if err := s.LinkReadBack(t.Context(), e.ID, after.ID); err != nil {
		t.Fatal(err)
	}
	want.ReadBack = after.ID
	second := begin(t, s, clearing(car.ID, 0))
	got := journal(t, s, car.ID)
	if len(got) != 2 || got[0].ID != second.ID {
		t.Fatalf("journal %+v", got)
	}
	if d := cmp.Diff(want, got[1]); d != "" {
		t.Error("finished:", d)
	}
}

func TestJournalRefusals(t *testing.T) {
	s := fresh(t)
	car, other := putCar(t, s, Car{Name: "Van"}), putCar(t, s, Car{Name: "Other"})
	foreign := putVisit(t, s, fullVisit(other.ID))
	for what, e := range map[string]Entry{
		"an entry twice":           {ID: 7, CarID: car.ID, Request: "7E0#0114"},
		"an entry without request": {CarID: car.ID},
		"no such car":              {CarID: 99, Request: "7E0#0114"},
		"no such visit":            {CarID: car.ID, Before: 99, Request: "7E0#0114"},
		"a visit of another car":   {CarID: car.ID, Before: foreign.ID, Request: "7E0#0114"},
		"a time beyond storing":    {CarID: car.ID, Request: "7E0#0114", Begun: time.Date(1600, 1, 1, 0, 0, 0, 0, time.UTC)},
	} {
		if _, err := s.Begin(t.Context(), e); err == nil {
			t.Errorf("%s was begun", what)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Begin(ctx, clearing(car.ID, 0)); !errors.Is(err, context.Canceled) {
		t.Errorf("begun after the end of the context: %v", err)
	}
	if got := journal(t, s, car.ID); len(got) != 0 {
		t.Fatalf("refused entries were kept: %+v", got)
	}

	e := begin(t, s, clearing(car.ID, 0))
	for _, o := range []Outcome{Planned, "", "done"} {
		if err := s.Finish(t.Context(), e.ID, o, nil, begun); err == nil {
			t.Errorf("outcome %q was taken", o)
		}
	}
	if err := s.Finish(t.Context(), e.ID+1, Accepted, nil, begun); !errors.Is(err, ErrNotFound) {
		t.Errorf("finishing nothing: %v", err)
	}
	if err := s.LinkReadBack(t.Context(), e.ID, foreign.ID); err == nil {
		t.Error("another car's visit became the read-back")
	}
	if err := s.Finish(t.Context(), e.ID, NoAnswer, nil, begun); err != nil {
		t.Fatal(err)
	}
	if err := s.Finish(t.Context(), e.ID, Accepted, nil, begun); !errors.Is(err, ErrFinished) {
		t.Errorf("finished twice: %v", err)
	}
	if err := s.MarkSeen(t.Context(), e.ID+1); !errors.Is(err, ErrNotFound) {
		t.Errorf("marking nothing: %v", err)
	}
	for _, change := range []string{`UPDATE journal SET request = 'x'`, `UPDATE journal SET outcome = 'accepted'`, `DELETE FROM journal`} {
		if _, err := s.db.Exec(change); err == nil {
			t.Errorf("%s went through", change)
		}
	}
}

func TestUnknownAfterClose(t *testing.T) {
	path := filepath.Join(t.TempDir(), "readback.db")
	s := open(t, path)
	car := putCar(t, s, Car{Name: "Van"})
	lost, never, doubted := begin(t, s, clearing(car.ID, 0)), begin(t, s, clearing(car.ID, 0)), begin(t, s, clearing(car.ID, 0))
	for id, o := range map[int64]Outcome{never.ID: NeverSent, doubted.ID: Unknown} {
		if err := s.Finish(t.Context(), id, o, nil, begun); err != nil {
			t.Fatal(err)
		}
	}
	if d := cmp.Diff([]int64{doubted.ID}, unknown(t, s)); d != "" {
		t.Error("while one is in the air:", d)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}

	s = open(t, path)
	if d := cmp.Diff([]int64{lost.ID, doubted.ID}, unknown(t, s)); d != "" {
		t.Error("after a start:", d)
	}
	// The answer may still become known; what the owner has seen is not asked again.
	if err := s.Finish(t.Context(), lost.ID, Declined, []string{"7F 14 22"}, begun); err != nil {
		t.Fatal(err)
	}
	if err := s.MarkSeen(t.Context(), doubted.ID); err != nil {
		t.Fatal(err)
	}
	if got := unknown(t, s); len(got) != 0 {
		t.Errorf("open questions left: %v", got)
	}
}

// Two programs have the store open. What one has in the air is no open question to the other, until the one dies.
func TestTwoPrograms(t *testing.T) {
	path := filepath.Join(t.TempDir(), "readback.db")
	one := open(t, path)
	car := putCar(t, one, Car{Name: "Van"})
	inAir := begin(t, one, clearing(car.ID, 0))

	two := open(t, path)
	if got := unknown(t, two); len(got) != 0 {
		t.Fatalf("the second program doubts what the first has in the air: %v", got)
	}
	if got := journal(t, two, car.ID); len(got) != 1 || got[0].Outcome != Planned {
		t.Fatalf("journal %+v", got)
	}
	putVisit(t, two, fullVisit(car.ID))
	putVisit(t, one, fullVisit(car.ID))
	if list, err := one.Visits(t.Context(), car.ID); err != nil || len(list) != 2 {
		t.Fatalf("%d visits, %v", len(list), err)
	}
	if err := one.Close(); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]int64{inAir.ID}, unknown(t, two)); d != "" {
		t.Error("after the first has gone:", d)
	}
}

func TestBusyStore(t *testing.T) {
	path := filepath.Join(t.TempDir(), "readback.db")
	one, two := open(t, path), open(t, path)
	if _, err := two.db.Exec(`PRAGMA busy_timeout = 1`); err != nil {
		t.Fatal(err)
	}
	tx, err := one.db.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	_, err = two.PutCar(t.Context(), Car{Name: "Van"})
	var busy *BusyError
	if !errors.As(err, &busy) || busy.Path != path || !strings.Contains(err.Error(), "another program") {
		t.Errorf("error %v", err)
	}
}

func TestOpenWaitsAndGivesUp(t *testing.T) {
	path := filepath.Join(t.TempDir(), "readback.db")
	door, err := tryLock(path + "-opening")
	if err != nil {
		t.Fatal(err)
	}
	defer door.release()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Open(ctx, path); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
	if _, err := waitLock(t.Context(), path+"-opening", 1); !errors.Is(err, errLocked) {
		t.Errorf("error %v", err)
	}
	var busy *BusyError
	if err := openError(path, errLocked); !errors.As(err, &busy) {
		t.Errorf("error %v", err)
	}
}
