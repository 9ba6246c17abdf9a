package garage

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// filled is the bytes of a store whose larger tables have several pages, and all its rows.
func filled(t *testing.T) ([]byte, map[string][]string) {
	t.Helper()
	s, car := used(t)
	for i := range 12 {
		v := fullVisit(car.ID)
		v.Begun = begun.Add(time.Duration(i) * time.Hour)
		v.Modules[0].Identification["F18A"] = strings.Repeat("long ", 400*(i%3)) // some rows need overflow pages
		putVisit(t, s, v)
	}
	if err := s.NameModule(t.Context(), car.ID, fullVisit(car.ID).Modules[1].Address, "Motor"); err != nil {
		t.Fatal(err)
	}
	all := dump(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return []byte(contents(t, s.Path())), all
}

// rescueBytes rescues from a file of these bytes, and checks that it stays as it is.
func rescueBytes(t *testing.T, what string, b []byte) (Rescued, *Store, error) {
	t.Helper()
	dir := t.TempDir()
	from, to := filepath.Join(dir, "damaged.db"), filepath.Join(dir, "new", "readback.db")
	if err := os.WriteFile(from, b, 0o600); err != nil {
		t.Fatal(err)
	}
	got, err := Rescue(t.Context(), from, to)
	if contents(t, from) != string(b) {
		t.Fatalf("%s: the damaged file was changed", what)
	}
	if err != nil {
		if left := listing(t, dir); len(left) != 1 {
			t.Errorf("%s: left %d files", what, len(left))
		}
		return got, nil, err
	}
	return got, open(t, to), nil
}

// The reader of pages agrees with the database on every row of a whole store.
func TestRescueWhole(t *testing.T) {
	b, want := filled(t)
	got, s, err := rescueBytes(t, "whole", b)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, dump(t, s)); d != "" {
		t.Error(d)
	}
	if got.Whole != 14 || len(got.Broken)+len(got.StandIns)+got.Unreached != 0 || got.String() != "" {
		t.Errorf("%+v", got)
	}
	for _, table := range got.Tables {
		if table.Saved != len(want[table.Name]) || table.Lost != 0 {
			t.Errorf("%+v, want %d", table, len(want[table.Name]))
		}
	}
	for version := 1; version <= schemaVersion; version++ {
		got, s, err := rescueBytes(t, "older", []byte(contents(t, fixture(t, version))))
		if err != nil || got.Whole != 2 {
			t.Errorf("version %d: %+v, %v", version, got, err)
			continue
		}
		if version > 1 {
			checkOldJournal(t, s, 1)
		}
	}
}

// Every sixth block of 512 bytes, or every block where it is asked for, is lost in turn. All rows are saved but those of the page with the lost block and those that
// belong to them; what is lost is counted.
func TestRescueEveryBlock(t *testing.T) {
	good, want := filled(t)
	random := rand.New(rand.NewPCG(3, 4))
	leansOn := map[string][]string{} // every table that rows of a table refer to, at any distance
	for _, p := range parts {
		for _, ref := range p.refs {
			leansOn[p.name] = append(append(leansOn[p.name], ref.table), leansOn[ref.table]...)
		}
	}
	// Tables that leave no row out and note the greatest number they gave.
	counted := []string{"car", "visit", "journal", "note", "meter", "recording", "proof", "report"}
	rows, saved, opened := 0, 0, 0
	every := 6
	if os.Getenv(thoroughVariable) != "" {
		every = 1
	}
	for block := range len(good) / blockSize {
		// The sample walks through all places within the pages of the file.
		if block%every != block/every%every {
			continue
		}
		bad := bytes.Clone(good)
		for i := range blockSize {
			bad[block*blockSize+i] = []byte{0, 0xFF, byte(random.Uint32())}[block%3]
		}
		what := fmt.Sprint("block ", block)
		if openDamaged(t, what, bad) {
			opened++
		}
		got, s, err := rescueBytes(t, what, bad)
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		touched := tablesOn(t, good, block*blockSize/pageSize+1)
		now := dump(t, s)
		for _, table := range got.Tables {
			all := len(want[table.Name])
			rows, saved = rows+all, saved+table.Saved
			if len(now[table.Name]) != table.Saved+map[bool]int{true: len(got.StandIns)}[table.Name == "car"] {
				t.Errorf("%s: %s: %d rows, %+v", what, table.Name, len(now[table.Name]), table)
			}
			if slices.Contains(counted, table.Name) && !touched["sqlite_sequence"] && table.Saved+table.Lost != all {
				t.Errorf("%s: %+v of %d", what, table, all)
			}
			affected := touched[table.Name] || slices.ContainsFunc(leansOn[table.Name], func(name string) bool { return touched[name] })
			if !affected {
				if d := cmp.Diff(want[table.Name], now[table.Name]); d != "" {
					t.Errorf("%s, which is of %v: %s: %s", what, touched, table.Name, d)
				}
			}
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d blocks of %d pages: the database opened %d of them; rescue saved %d of %d rows, %.2f %%", len(good)/blockSize, len(good)/pageSize, opened, saved, rows, 100*float64(saved)/float64(rows))
	if float64(saved) < 0.97*float64(rows) {
		t.Errorf("saved %d of %d rows", saved, rows)
	}
}

// tablesOn asks the database which table a page of a good store belongs to.
func tablesOn(t *testing.T, good []byte, page int) map[string]bool {
	t.Helper()
	path := filepath.Join(t.TempDir(), "good.db")
	if err := os.WriteFile(path, good, 0o600); err != nil {
		t.Fatal(err)
	}
	db := openRaw(t, path)
	defer db.Close()
	rows, err := db.Query(`SELECT name FROM dbstat WHERE pageno = ?`, page)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	on := map[string]bool{}
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		on[name] = true
	}
	return on
}

// Without its first page, and without the pages that list the tables, rows are told apart by what they hold.
func TestRescueWithoutHead(t *testing.T) {
	good, want := filled(t)
	bad := bytes.Clone(good)
	for page := 1; page <= len(good)/pageSize; page++ {
		if tablesOn(t, good, page)["sqlite_schema"] {
			clear(bad[(page-1)*pageSize : page*pageSize])
		}
	}
	got, s, err := rescueBytes(t, "no head", bad)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, dump(t, s)); d != "" || got.Whole != 14 || got.Unreached == 0 {
		t.Errorf("%+v: %s", got, d)
	}
}

// The only page of cars is lost: visits get a stand-in of their kind.
func TestRescueWithoutCars(t *testing.T) {
	good, _ := filled(t)
	for page := 1; page <= len(good)/pageSize; page++ {
		if tablesOn(t, good, page)["car"] {
			clear(good[(page-1)*pageSize : page*pageSize])
		}
	}
	got, s, err := rescueBytes(t, "no cars", good)
	if err != nil {
		t.Fatal(err)
	}
	cars, err := s.Cars(t.Context())
	if err != nil || len(cars) != 1 || cars[0].Practice || cars[0].Name != "Rescued car 2" || got.Whole != 14 || !slices.Equal(got.StandIns, []int64{2}) {
		t.Errorf("%+v, %+v, %v", got, cars, err)
	}
	if !strings.Contains(got.String(), "car: 0 saved, 2 lost") {
		t.Errorf("told %q", got)
	}
}

// What a program had begun when it died is not in the rescued store.
func TestRescueHalfWritten(t *testing.T) {
	path, want := hotStore(t)
	file, journal := contents(t, path), contents(t, path+"-journal")
	to := filepath.Join(t.TempDir(), "readback.db")
	got, err := Rescue(t.Context(), path, to)
	if err != nil || len(got.Broken) != 0 {
		t.Fatal(got, err)
	}
	if d := cmp.Diff(want, dump(t, open(t, to))); d != "" {
		t.Error(d)
	}
	if contents(t, path) != file || contents(t, path+"-journal") != journal {
		t.Error("the damaged file or its journal was changed")
	}
	if _, s, err := rescueBytes(t, "without its journal", []byte(file)); err == nil && cmp.Equal(want, dump(t, s)) {
		t.Error("nothing was half written: the test tested nothing")
	}
	for n := 0; n < len(journal); n += 1009 { // a journal that is damaged itself leads nowhere
		pages(file).undone([]byte(journal[:n]))
		bad := []byte(journal)
		bad[n] ^= 0xFF
		pages(file).undone(bad)
	}
}

func TestRescueRefuses(t *testing.T) {
	good, _ := filled(t)
	var e *FileError
	for name, b := range map[string][]byte{"nothing": nil, "a text": []byte("Dear workshop"), "zeros": make([]byte, 8*pageSize), "less than a page": good[:pageSize-1]} {
		if _, _, err := rescueBytes(t, name, b); !errors.As(err, &e) || e.Fault != FaultForeign {
			t.Errorf("%s: %v", name, err)
		}
	}
	dir := t.TempDir()
	path := filepath.Join(dir, "readback.db")
	if err := os.WriteFile(path, good, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Rescue(t.Context(), path, path); err == nil || contents(t, path) != string(good) {
		t.Errorf("rescued onto itself: %v", err)
	}
	if _, err := Rescue(t.Context(), filepath.Join(dir, "none"), filepath.Join(dir, "new")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	for n := range 200 {
		_, err := Rescue(endingAt(t.Context(), n), path, filepath.Join(dir, fmt.Sprint(n)))
		if err == nil {
			return
		}
	}
	t.Error("it never came to its end")
}

// The examples of the published description of the format: variable-length numbers, and serial types.
func TestRecords(t *testing.T) {
	for _, c := range []struct {
		b    []byte
		want int64
	}{{[]byte{0x7F}, 0x7F}, {[]byte{0x81, 0}, 128}, {[]byte{0x82, 0x04}, 260}, {bytes.Repeat([]byte{0xFF}, 9), -1}, {[]byte{0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 5}, 5}} {
		if got, rest, err := varint(c.b); err != nil || got != c.want || len(rest) != 0 {
			t.Errorf("% X: %d, %v", c.b, got, err)
		}
	}
	for _, bad := range [][]byte{nil, {0x80}, bytes.Repeat([]byte{0x80}, 8)} {
		if _, _, err := varint(bad); err == nil {
			t.Errorf("% X was taken for a number", bad)
		}
	}
	b := []byte{12, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 16, 0xFE, 0xFF, 0xFE, 0xFF, 0xFF, 0xFD, 0x80, 0, 0, 0}
	b[11] = 16 // a BLOB of 2 bytes
	b = append(b, 0x80, 0, 0, 0, 0, 0)
	b = append(b, 0x80, 0, 0, 0, 0, 0, 0, 0)
	b = binary.BigEndian.AppendUint64(b, math.Float64bits(12.62))
	b = append(b, 0xAA, 0xBB)
	got, err := record(b)
	want := []any{nil, int64(-2), int64(-2), int64(-3), int64(math.MinInt32), int64(-1 << 47), int64(math.MinInt64), 12.62, int64(0), int64(1), []byte{0xAA, 0xBB}}
	if d := cmp.Diff(want, got); err != nil || d != "" {
		t.Error(err, d)
	}
	for n := range len(b) {
		if _, err := record(b[:n]); err == nil {
			t.Errorf("%d of %d bytes were taken for a record", n, len(b))
		}
	}
}

// No bytes lead the reader of pages astray for ever or beyond the file.
func FuzzPages(f *testing.F) {
	f.Add([]byte{leafTable, 0, 0, 0, 1, 0, 0, 0, 0x0F, 0xF0}, []byte{5, 1, 2, 1, 7}, uint16(0x0FF0))
	f.Add([]byte{interiorIndex, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 2, 0x0F, 0xF0}, []byte{0, 0, 0, 2, 3, 2, 1, 7}, uint16(0x0FF0))
	f.Fuzz(func(t *testing.T, start, cell []byte, at uint16) {
		file := make(pages, 3*pageSize)
		copy(file[pageSize:], start)
		copy(file[pageSize+int(at)%pageSize:], cell)
		copy(file[2*pageSize:], cell)
		for n := range 5 {
			file.rows(n)
			seen := map[int]bool{}
			file.tree(n, func(page int) bool { was := seen[page]; seen[page] = true; return !was })
		}
	})
}
