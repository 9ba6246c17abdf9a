package garage

import (
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// fixture makes the store of an old schema version from its text in testdata.
func fixture(t *testing.T, version int) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", fmt.Sprintf("v%d.sql", version)))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "readback.db")
	execute(t, path, string(text))
	return path
}

// execute runs statements on a file that no Store has open.
func execute(t *testing.T, path, statements string) {
	t.Helper()
	db := openRaw(t, path)
	defer db.Close()
	if _, err := db.Exec(statements); err != nil {
		t.Fatal(err)
	}
}

// openRaw opens a file without any of what a Store does.
func openRaw(t *testing.T, path string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// schema is every table, index and trigger of a store with its definition.
func schema(t *testing.T, s *Store) map[string]string {
	t.Helper()
	rows, err := s.db.Query(`SELECT type || ' ' || name, sql FROM sqlite_schema WHERE sql IS NOT NULL`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	all := map[string]string{}
	for rows.Next() {
		var name, text string
		if err := rows.Scan(&name, &text); err != nil {
			t.Fatal(err)
		}
		all[name] = text
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}

// There is a fixture of every version: a new version can't be released without one.
func TestMigrate(t *testing.T) {
	want := schema(t, fresh(t))
	for version := 1; version <= schemaVersion; version++ {
		t.Run(fmt.Sprint("from version ", version), func(t *testing.T) {
			s := open(t, fixture(t, version))
			if d := cmp.Diff(want, schema(t, s)); d != "" {
				t.Error("schema differs from a fresh store:", d)
			}
			car, ok, err := s.FindCar(t.Context(), number, "", false)
			if err != nil || !ok {
				t.Fatal(ok, err)
			}
			if d := cmp.Diff(Car{ID: 1, Name: "Van", VIN: number, Model: "Tarn Courier E", Place: "can:can0", Odometer: "48213 km, typed", Made: begun.UTC()}, car); d != "" {
				t.Error(d)
			}
			visits, err := s.Visits(t.Context(), car.ID)
			if err != nil || len(visits) != 2 {
				t.Fatal(visits, err)
			}
			for _, v := range visits {
				got, err := s.Visit(t.Context(), v.ID) // the checksum covers it
				if err != nil {
					t.Fatal(err)
				}
				if d := cmp.Diff(fullVisit(car.ID), got, sameVisit); d != "" {
					t.Error(d)
				}
			}
			notes, err := s.Notes(t.Context(), car.ID)
			if err != nil || len(notes) != 1 || notes[0].Text != "plug was loose" {
				t.Errorf("notes %v, %v", notes, err)
			}
			modules, err := s.Modules(t.Context(), car.ID)
			if err != nil || len(modules) != 2 || modules[0].Name != "Charge flap" {
				t.Errorf("modules %v, %v", modules, err)
			}
			if version >= 2 {
				checkOldJournal(t, s, car.ID)
			}
			if version >= 3 {
				cards, err := s.Cards(t.Context(), car.ID)
				want := []Card{{ID: 1, Title: "Forget the codes", Module: "Charging", Request: "7E5#0414FFFFFF555555", Words: "one two three",
					Expect: "54", Who: "a workshop", Where: "the counter", At: time.Unix(1_700_000_000, 0).UTC()}}
				if d := cmp.Diff(want, cards); d != "" || err != nil {
					t.Errorf("cards %v: %s", err, d)
				}
				checkOldExtras(t, s, car.ID)
			}
			if version >= 4 {
				own, err := s.Identifiers(t.Context(), car.ID)
				if d := cmp.Diff([]uint16{0xDD01}, own); d != "" || err != nil {
					t.Error(err, d)
				}
				if wiring, err := s.Wiring(t.Context(), car.ID); wiring != "own 5-3 6-7 14-2" || err != nil {
					t.Error(wiring, err)
				}
			}
			begin(t, s, clearing(car.ID, visits[0].ID))
		})
	}
}

// checkOldExtras checks what version 3 added beside the cards.
func checkOldExtras(t *testing.T, s *Store, car int64) {
	t.Helper()
	at := time.Unix(1_700_000_000, 0).UTC()
	meter, err := s.Meter(t.Context(), car)
	if d := cmp.Diff([]MeterReading{{Spot: "car:6-14", Value: "60.4 Ω", At: at}}, meter); d != "" || err != nil {
		t.Error(err, d)
	}
	if volts, ok, err := s.Offset(t.Context(), "can:can0"); volts != 0.25 || !ok || err != nil {
		t.Error(volts, ok, err)
	}
	recordings, err := s.Recordings(t.Context(), car)
	if d := cmp.Diff([]Recording{{ID: 1, CarID: car, Visit: 2, Entry: 1, File: "20231114-221320-00112233.pcapng", Frames: 12, Digest: Hex{0, 0x11, 0x22, 0x33}, Begun: at}}, recordings); d != "" || err != nil {
		t.Error(err, d)
	}
	proof, err := s.Proof(t.Context(), 1)
	if d := cmp.Diff([]ProofStep{{ID: 1, Entry: 1, CarID: car, Step: "R1", Due: at, Visit: 2, Done: at.Add(time.Second)}}, proof); d != "" || err != nil {
		t.Error(err, d)
	}
	report, ok, err := s.LastReport(t.Context(), car)
	if d := cmp.Diff(Report{ID: 1, CarID: car, Visit: 2, Made: at, Form: "html", Digest: Hex{0, 0x11}}, report); d != "" || !ok || err != nil {
		t.Error(ok, err, d)
	}
}

func checkOldJournal(t *testing.T, s *Store, car int64) {
	t.Helper()
	lost := clearing(car, 2)
	lost.ID, lost.Begun, lost.Outcome = 2, begun.UTC(), Unknown // it was left planned
	done := clearing(car, 1)
	done.ID, done.Begun, done.Ended, done.ReadBack, done.Outcome = 1, begun.UTC(), begun.UTC().Add(1e9), 2, Accepted
	done.Answers = []string{"7ED 54 after 12 ms"}
	if d := cmp.Diff([]Entry{lost, done}, journal(t, s, car), cmpopts.EquateEmpty()); d != "" {
		t.Error(d)
	}
}

func TestNewerSchema(t *testing.T) {
	path := fixture(t, schemaVersion)
	execute(t, path, `PRAGMA user_version = 99`)
	before := contents(t, path)
	_, err := Open(t.Context(), path)
	var newer *NewerError
	if !errors.As(err, &newer) || newer.Version != 99 || newer.Known != schemaVersion {
		t.Fatalf("error %v", err)
	}
	if contents(t, path) != before {
		t.Error("a store of a newer program was changed")
	}
}

// A step that fails leaves the store at the version it had.
func TestMigrationIsWhole(t *testing.T) {
	path := fixture(t, 1)
	execute(t, path, `CREATE TABLE journal (in_the_way INTEGER)`)
	if _, err := Open(t.Context(), path); err == nil {
		t.Fatal("the step can't have worked")
	}
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var version, cars int
	if err := db.QueryRow(`SELECT user_version, (SELECT count(*) FROM car) FROM pragma_user_version`).Scan(&version, &cars); err != nil {
		t.Fatal(err)
	}
	if version != 1 || cars != 2 {
		t.Errorf("version %d with %d cars", version, cars)
	}
}

func contents(t testing.TB, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
