package garage

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"readback/diag/dtc"
	"readback/diag/link"
)

// begun has nanoseconds and a zone: both must survive.
var begun = time.Date(2026, 11, 25, 10, 30, 15, 123456789, time.FixedZone("", 3600))

// number is a made-up identification number whose check digit is right; 0TN is nobody's maker's code.
const number = "0TNCE23E3P0004217"

func open(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func fresh(t testing.TB) *Store { return open(t, filepath.Join(t.TempDir(), "readback.db")) }

func putCar(t testing.TB, s *Store, c Car) Car {
	t.Helper()
	c, err := s.PutCar(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func putVisit(t testing.TB, s *Store, v Visit) Visit {
	t.Helper()
	v, err := s.SaveVisit(t.Context(), v)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func ptr[T any](v T) *T { return &v }

// fullVisit uses every field of a record, and every kind of answer.
func fullVisit(car int64) Visit {
	lock := link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
	return Visit{
		CarID: car, Kind: KindBefore, Begun: begun, Ended: begun.Add(4 * time.Second), Complete: true,
		Place: "practice:", Adapter: "practice car", Supply: 12.62, Odometer: "48213 km, read",
		Modules: []Module{
			{
				Name: "Charging", NameSource: "read from the module", Address: lock, Request: lock.Request, Answer: lock.Answer,
				Protocol: "UDS", Answered: Yes, CodesRead: Yes, Availability: ptr(dtc.Status(0x7F)),
				Identification: map[string]string{"F190": number, "F187": "", "F195": "01FF"},
				Codes: []CodeRecord{
					{
						Code: dtc.From3(0x0A, 0x08, 0x13), Raw: []byte{0x0A, 0x08, 0x13, 0x2F}, Status: ptr(dtc.Status(0x2F)), Severity: ptr(byte(0x40)),
						Snapshots: []Snapshot{
							{Record: 1, Raw: []byte{1, 2, 0xF4, 0x42, 0x31, 0x38, 0x12, 0x34, 0}, Values: []Value{
								{Identifier: 0xF442, Name: "Control module voltage", Text: "12.6 V", Raw: []byte{0x31, 0x38}},
								{Identifier: 0x1234, Raw: []byte{0}},
							}},
							{Record: 0xFE, Raw: []byte{0xFE}},
						},
						Extended: []Extended{{Record: 2, Name: "Times seen", Text: "3", Raw: []byte{3}}, {Record: 0x90, Raw: []byte{0, 0xFF}}},
					},
					{Code: dtc.From3(0xC1, 0x40, 0x87), Raw: []byte{0xC1, 0x40, 0x87, 0x50}, Status: ptr(dtc.Status(0x50))},
					{Code: dtc.From3(0x93, 0x12, 0x00), Raw: []byte{0x93, 0x12, 0x00, 0x28}, Status: ptr(dtc.Status(0x28))},
				},
			},
			{
				Name: "Engine", Address: link.Functional29(), Request: link.ID29(0x18DB33F1), Answer: link.ID29(0x18DAF110),
				Protocol: "OBD", Answered: Yes, CodesRead: Yes,
				Codes: []CodeRecord{{Code: dtc.From2(0x01, 0x33), Raw: []byte{0x01, 0x33}, Lists: []string{"stored", "permanent"}}, {Raw: []byte{1}}},
			},
			{
				Address: link.Address{Mode: link.Mixed, Request: link.ID11(0x740), Answer: link.ID11(0x760), Target: 0x2C, Source: 0x2D},
				Safety:  true, Answered: Refused, Refusal: "7F 19 11", CodesRead: NotAsked,
			},
			{Address: link.Physical(link.ID11(0x7E7), link.ID{}), Answered: Silent, CodesRead: NotAsked},
		},
	}
}

// sameVisit compares records without the numbers of their rows; an empty list and none are the same.
var sameVisit = cmp.Options{
	cmpopts.EquateEmpty(), cmp.Comparer(func(a, b dtc.Code) bool { return a == b }),
	cmpopts.IgnoreFields(Visit{}, "ID"), cmpopts.IgnoreFields(Module{}, "ID"), cmpopts.IgnoreFields(CodeRecord{}, "ID"),
}

func TestVisitRoundTrip(t *testing.T) {
	s := fresh(t)
	car := putCar(t, s, Car{Name: "Van", VIN: number})
	want := fullVisit(car.ID)
	want.Ended = time.Now()
	saved := putVisit(t, s, want)
	if saved.ID == 0 || saved.Modules[0].ID == 0 || saved.Modules[0].Codes[0].ID == 0 {
		t.Error("a saved visit has no numbers")
	}
	if want.Modules[0].ID != 0 || want.Modules[0].Codes[0].ID != 0 {
		t.Error("saving changed the caller's visit")
	}
	got, err := s.Visit(t.Context(), saved.ID)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got, sameVisit); d != "" {
		t.Error("read back:", d)
	}
	if d := cmp.Diff(saved, got, cmpopts.EquateEmpty(), cmp.Comparer(func(a, b dtc.Code) bool { return a == b })); d != "" {
		t.Error("what SaveVisit returned differs from what is read:", d)
	}
	if got.Modules[2].Codes == nil || got.Modules[2].Identification == nil || got.Modules[0].Codes[1].Snapshots == nil {
		t.Error("an empty list is nil, and null in JSON")
	}
	if saved.Begun != got.Begun || saved.Ended != got.Ended {
		t.Errorf("saved at %v, read %v", saved.Ended, got.Ended)
	}
	if !got.Begun.Equal(begun) || got.Begun.Location() != time.UTC {
		t.Errorf("begun %v", got.Begun)
	}
	last, ok, err := s.LastVisit(t.Context(), car.ID)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	if d := cmp.Diff(got, last, cmp.Comparer(func(a, b dtc.Code) bool { return a == b })); d != "" {
		t.Error("last visit:", d)
	}
}

func TestVisitIsNeverChanged(t *testing.T) {
	s := fresh(t)
	car := putCar(t, s, Car{Name: "Van"})
	v := putVisit(t, s, fullVisit(car.ID))
	if _, err := s.SaveVisit(t.Context(), v); err == nil {
		t.Error("a saved visit was saved over")
	}
	for _, table := range []string{"visit", "module", "identification", "code", "snapshot", "value", "extended"} {
		if _, err := s.db.Exec(`DELETE FROM ` + table); err == nil || !strings.Contains(err.Error(), "never removed") {
			t.Errorf("removing rows of %s: %v", table, err)
		}
	}
	for _, change := range []string{
		`UPDATE visit SET complete = 1`, `UPDATE module SET name = 'x'`, `UPDATE identification SET value = 'x'`, `UPDATE code SET status = 0`,
		`UPDATE snapshot SET record = 9`, `UPDATE value SET text = 'x'`, `UPDATE extended SET raw = x'00'`,
	} {
		if _, err := s.db.Exec(change); err == nil || !strings.Contains(err.Error(), "never changed") {
			t.Errorf("%s: %v", change, err)
		}
	}
}

// Somebody who changes a record behind the triggers is found out by its checksum, whatever part it was.
func TestAlteredVisit(t *testing.T) {
	for table, change := range map[string]string{
		"visit": `UPDATE visit SET supply = 13`, "module": `UPDATE module SET answered = 'yes'`, "identification": `UPDATE identification SET value = 'x'`,
		"code": `UPDATE code SET status = 0 WHERE status = 47`, "snapshot": `UPDATE snapshot SET raw = x'00'`,
		"value": `UPDATE value SET raw = x'00FF'`, "extended": `UPDATE extended SET text = '1'`,
	} {
		t.Run(table, func(t *testing.T) {
			s := fresh(t)
			v := putVisit(t, s, fullVisit(putCar(t, s, Car{Name: "Van"}).ID))
			if _, err := s.db.Exec(`DROP TRIGGER ` + table + `_kept; ` + change); err != nil {
				t.Fatal(err)
			}
			got, err := s.Visit(t.Context(), v.ID)
			var altered *AlteredError
			if !errors.As(err, &altered) || altered.Visit != v.ID || len(got.Modules) != 4 {
				t.Errorf("visit with %d modules, error %v", len(got.Modules), err)
			}
		})
	}
}

func TestVisitRefusals(t *testing.T) {
	s := fresh(t)
	car := putCar(t, s, Car{Name: "Van"})
	v := fullVisit(car.ID)
	v.Practice = true
	if _, err := s.SaveVisit(t.Context(), v); !errors.Is(err, ErrMixed) {
		t.Errorf("a practice visit of a real car: %v", err)
	}
	v = fullVisit(car.ID + 1)
	if _, err := s.SaveVisit(t.Context(), v); !errors.Is(err, ErrNotFound) {
		t.Errorf("a visit of no car: %v", err)
	}
	v = fullVisit(car.ID)
	v.Ended = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	if _, err := s.SaveVisit(t.Context(), v); err == nil || !strings.Contains(err.Error(), "9999") {
		t.Errorf("a visit in the year 9999: %v", err)
	}
	if _, err := s.Visit(t.Context(), 1); !errors.Is(err, ErrNotFound) {
		t.Errorf("a visit that is not there: %v", err)
	}
	if _, ok, err := s.LastVisit(t.Context(), car.ID); ok || err != nil {
		t.Errorf("the last of no visits: %v, %v", ok, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.SaveVisit(ctx, fullVisit(car.ID)); !errors.Is(err, context.Canceled) {
		t.Errorf("saving after the end of the context: %v", err)
	}
	if list, err := s.Visits(t.Context(), car.ID); err != nil || len(list) != 0 {
		t.Errorf("refused visits were kept: %v, %v", list, err)
	}
}

func TestDefaultPath(t *testing.T) {
	t.Setenv(HomeVariable, filepath.Join("some", "folder"))
	got, err := DefaultPath()
	if want := filepath.Join("some", "folder", "readback.db"); err != nil || got != want {
		t.Errorf("path %q, %v, want %q", got, err, want)
	}
	t.Setenv(HomeVariable, "")
	if runtime.GOOS == "linux" {
		t.Setenv("XDG_CONFIG_HOME", "/somewhere")
		if got, err := DefaultPath(); err != nil || got != "/somewhere/readback/readback.db" {
			t.Errorf("path %q, %v", got, err)
		}
	}
}

func TestOpenMakesFolderAndFile(t *testing.T) {
	// Characters that mean something in a file: address must not.
	path := filepath.Join(t.TempDir(), "a b?c#d%20é&e=f", "readback.db")
	s := open(t, path)
	putCar(t, s, Car{Name: "Van"})
	for p, want := range map[string]os.FileMode{path: 0o600, filepath.Dir(path): 0o700} {
		info, err := os.Stat(p)
		if err != nil {
			t.Fatal(err)
		}
		if runtime.GOOS != "windows" && info.Mode().Perm() != want {
			t.Errorf("%s has mode %o, want %o", p, info.Mode().Perm(), want)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Errorf("closing twice: %v", err)
	}
	left, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range left {
		if strings.Contains(e.Name(), "-open-") {
			t.Errorf("a lease is left behind: %s", e.Name())
		}
	}
}

func TestOpenInFolderThatCannotBeUsed(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, []byte("not a folder"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), filepath.Join(file, "readback.db")); err == nil || !strings.Contains(err.Error(), file) {
		t.Errorf("a file for a folder: %v", err)
	}
	closed := filepath.Join(dir, "closed")
	if err := os.Mkdir(closed, 0o500); err != nil {
		t.Fatal(err)
	}
	if runtime.GOOS == "windows" || os.Geteuid() == 0 {
		return // this user may write everywhere; what a refused write looks like is checked where it can be refused
	}
	_, err := Open(t.Context(), filepath.Join(closed, "readback.db"))
	if !errors.Is(err, os.ErrPermission) || !strings.Contains(err.Error(), closed) || !strings.Contains(err.Error(), "can't be written") {
		t.Errorf("error %v", err)
	}
}
