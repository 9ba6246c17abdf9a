package garage

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func exportCar(t testing.TB, s *Store, car int64) []byte {
	t.Helper()
	var b bytes.Buffer
	if _, err := s.ExportCar(t.Context(), car, &b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func importCar(t testing.TB, s *Store, b []byte) Imported {
	t.Helper()
	got, err := s.ImportCar(t.Context(), bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// whole is everything that is told of a car, without the numbers of its rows.
func whole(t testing.TB, s *Store, car int64) string {
	t.Helper()
	ctx := t.Context()
	c, err := s.Car(ctx, car)
	c.ID = 0
	said := []any{c}
	list, err1 := s.Visits(ctx, car)
	for i, v := range list {
		full, err := s.Visit(ctx, v.ID)
		if err != nil {
			t.Fatal(err)
		}
		for j := range full.Modules {
			full.Modules[j].ID = 0
			for k := range full.Modules[j].Codes {
				full.Modules[j].Codes[k].ID = 0
			}
		}
		full.ID, full.CarID, list[i].ID, list[i].CarID = 0, 0, 0, 0
		for _, m := range full.Modules {
			said = append(said, fmt.Sprintf("%+v", m.Address))
			for _, c := range m.Codes {
				said = append(said, c.Code.String())
			}
		}
		said = append(said, list[i], full)
	}
	entries, err2 := s.Journal(ctx, car)
	for _, e := range entries {
		steps, err := s.Proof(ctx, e.ID)
		if err != nil {
			t.Fatal(err)
		}
		for i := range steps {
			steps[i].ID, steps[i].Entry, steps[i].CarID = 0, 0, 0
		}
		e.ID, e.CarID, e.Before, e.ReadBack = 0, 0, min(e.Before, 1), min(e.ReadBack, 1)
		said = append(said, e, steps)
	}
	notes, err3 := s.Notes(ctx, car)
	modules, err4 := s.Modules(ctx, car)
	cards, err5 := s.Cards(ctx, car)
	meter, err6 := s.Meter(ctx, car)
	recordings, err7 := s.Recordings(ctx, car)
	reports, err8 := s.Reports(ctx, car)
	own, err9 := s.Identifiers(ctx, car)
	wiring, err10 := s.Wiring(ctx, car)
	if err := errors.Join(err9, err10, err, err1, err2, err3, err4, err5, err6, err7, err8); err != nil {
		t.Fatal(err)
	}
	for i := range notes {
		notes[i].ID = 0
	}
	for i := range cards {
		cards[i].ID = 0
	}
	for i := range recordings {
		r := &recordings[i]
		said = append(said, contents(t, s.RecordingPath(*r)))
		r.ID, r.CarID, r.Visit, r.Entry = 0, 0, min(r.Visit, 1), min(r.Entry, 1)
	}
	for i := range reports {
		reports[i].ID, reports[i].CarID, reports[i].Visit = 0, 0, 0
	}
	for i := range modules {
		modules[i].ID = 0
	}
	text, err := json.MarshalIndent(append(said, notes, modules, cards, meter, own, wiring, recordings, reports), "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func TestCarToAnotherStore(t *testing.T) {
	s, car := used(t)
	want, file := whole(t, s, car.ID), exportCar(t, s, car.ID)
	other := fresh(t)
	for range 4 { // so that the numbers differ
		v := fullVisit(putCar(t, other, Car{Name: "Another"}).ID)
		v.Adapter = "another"
		v = putVisit(t, other, v)
		begin(t, other, clearing(v.CarID, v.ID))
	}
	before := dump(t, other)
	got := importCar(t, other, file)
	if got.Car.ID != 5 || got.Joined || got.Visits != 2 || got.Changes != 1 || got.Recordings != 2 || len(got.Missing)+len(got.Altered)+got.Already+got.ReportsLeft != 0 {
		t.Errorf("%+v", got)
	}
	if d := cmp.Diff(want, whole(t, other, got.Car.ID)); d != "" {
		t.Error(d)
	}
	sums := func(s *Store, car int64) string {
		var list string
		if err := s.db.QueryRow(`SELECT group_concat(hex(checksum)) FROM (SELECT checksum FROM visit WHERE car = ? ORDER BY id)`, car).Scan(&list); err != nil {
			t.Fatal(err)
		}
		return list
	}
	if a, b := sums(s, car.ID), sums(other, got.Car.ID); a != b {
		t.Errorf("checksums %s became %s", a, b)
	}

	// A second time: nothing is doubled.
	after := dump(t, other)
	again := importCar(t, other, file)
	if !again.Joined || again.Car.ID != 5 || again.Visits != 0 || again.Already != 2 || again.Changes != 0 || again.Recordings != 0 {
		t.Errorf("%+v", again)
	}
	if d := cmp.Diff(after, dump(t, other)); d != "" {
		t.Error("the second time:", d)
	}
	for table, rows := range before {
		if d := cmp.Diff(rows, after[table][:len(rows)]); d != "" {
			t.Errorf("%s: what was there was changed: %s", table, d)
		}
	}

	// And back again, with one more visit and one more report: only these are added.
	more := fullVisit(5)
	more.Begun = begun.Add(time.Hour)
	more = putVisit(t, other, more)
	last, _, err := other.LastReport(t.Context(), 5)
	if err == nil {
		_, err = other.PutReport(t.Context(), Report{CarID: 5, Visit: more.ID, Made: begun, Form: "pdf", Digest: Hex{1, 2}, Previous: last.Digest})
	}
	if err != nil {
		t.Fatal(err)
	}
	home := importCar(t, s, exportCar(t, other, 5))
	if !home.Joined || home.Car.ID != car.ID || home.Visits != 1 || home.Already != 2 || home.ReportsLeft != 0 {
		t.Errorf("%+v", home)
	}
	if d := cmp.Diff(whole(t, other, 5), whole(t, s, car.ID)); d != "" {
		t.Error(d)
	}

	// Two chains of reports can't be joined: this one goes on otherwise, the file's is left out.
	for i, store := range []*Store{s, other} {
		last, _, err := store.LastReport(t.Context(), []int64{car.ID, 5}[i])
		if err == nil {
			_, err = store.PutReport(t.Context(), Report{CarID: last.CarID, Visit: last.Visit, Made: begun, Form: "pdf", Digest: Hex{9, byte(i)}, Previous: last.Digest})
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if got := importCar(t, s, exportCar(t, other, 5)); got.ReportsLeft != 1 {
		t.Errorf("%+v", got)
	}
}

func TestWhichCarIsJoined(t *testing.T) {
	s := fresh(t)
	file := func(c Car) []byte {
		from := fresh(t)
		c = putCar(t, from, c)
		v := fullVisit(c.ID)
		v.Practice = c.Practice
		putVisit(t, from, v)
		return exportCar(t, from, c.ID)
	}
	practice := importCar(t, s, file(Car{Name: "Van", VIN: number, Practice: true}))
	unnumbered := importCar(t, s, file(Car{Name: "Van"}))
	real := importCar(t, s, file(Car{Name: "Van", VIN: number}))
	if practice.Joined || unnumbered.Joined {
		t.Errorf("%+v %+v", practice, unnumbered)
	}
	// The same visit of the same kind, and no other number: that is the same car, whose number was read later.
	if !real.Joined || real.Car.ID != unnumbered.Car.ID {
		t.Errorf("%+v", real)
	}
	for _, c := range []struct {
		car    Car
		joined int64
	}{
		{Car{Name: "other name", VIN: strings.ToLower(number), Practice: true}, practice.Car.ID},
		{Car{Name: "Van"}, unnumbered.Car.ID},
	} {
		if got := importCar(t, s, file(c.car)); !got.Joined || got.Car.ID != c.joined || got.Visits != 0 || got.Already != 1 {
			t.Errorf("%+v: %+v", c.car, got)
		}
	}
	if real.Car.VIN != number {
		t.Errorf("its number was not filled in: %+v", real.Car)
	}
	if got := importCar(t, s, file(Car{Name: "Van", VIN: "1TNCE23E3P0004217"})); got.Joined {
		t.Errorf("a car of another number was joined: %+v", got)
	}
	cars, err := s.Cars(t.Context())
	if err != nil || len(cars) != 3 || cars[1].Practice || !cars[2].Practice {
		t.Errorf("%+v %v", cars, err)
	}
}

// What was altered before it was exported arrives as it is, and is told.
func TestAlteredVisitTravels(t *testing.T) {
	s, car := used(t)
	execute(t, s.Path(), `DROP TRIGGER visit_kept; UPDATE visit SET odometer = '1 km' WHERE id = 1`)
	other := fresh(t)
	got := importCar(t, other, exportCar(t, s, car.ID))
	var altered *AlteredError
	if len(got.Altered) != 1 {
		t.Fatalf("%+v", got)
	}
	if _, err := other.Visit(t.Context(), got.Altered[0]); !errors.As(err, &altered) {
		t.Errorf("error %v", err)
	}
}

// A file of every earlier schema can be taken.
func TestImportOlderSchema(t *testing.T) {
	for version := 1; version <= schemaVersion; version++ {
		path := fixture(t, version)
		file := pack(t, carFormat, func(m *manifest) { m.Schema = version }, map[string]string{rowsName: oldRows(t, path)})
		s := fresh(t)
		putCar(t, s, Car{Name: "Another"})
		got := importCar(t, s, file)
		if got.Visits != 2 || got.Joined || len(got.Altered) != 0 {
			t.Errorf("version %d: %+v", version, got)
		}
		list := journal(t, s, got.Car.ID)
		if want := map[int]int{1: 0}; version == 1 && len(list) != want[version] || version > 1 && (len(list) != 2 || list[0].Outcome != Unknown || list[1].Outcome != Accepted) {
			t.Errorf("version %d: journal %+v", version, list)
		}
	}
}

// oldRows is the file of the rows that a program with an older schema would have written.
func oldRows(t *testing.T, path string) string {
	t.Helper()
	old := &Store{db: openRaw(t, path), path: path}
	tx, err := old.db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	var out bytes.Buffer
	opening := "{"
	for _, p := range parts {
		if columns, err := columnsOf(t.Context(), tx, p.name); err != nil || len(columns) == 0 {
			continue
		}
		if err := writeTable(t.Context(), tx, p, 1, opening, &out); err != nil {
			t.Fatal(err)
		}
		opening = ","
	}
	return out.String() + "}"
}

// Every table of the store is in the plan of what belongs to a car, with all its references, but for what belongs to
// an adapter.
func TestPartsAreTheSchema(t *testing.T) {
	s := fresh(t)
	rows, err := s.db.Query(`SELECT t.name, f."from", f."table" FROM sqlite_schema t LEFT JOIN pragma_foreign_key_list(t.name) f
		WHERE t.type = 'table' AND t.name NOT LIKE 'sqlite_%' AND t.name <> 'meter_offset' ORDER BY 1, 2`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var want, got []string
	for rows.Next() {
		var table string
		var from, to *string
		if err := rows.Scan(&table, &from, &to); err != nil {
			t.Fatal(err)
		}
		if from == nil {
			want = append(want, table)
		} else {
			want = append(want, table+"."+*from+" "+*to)
		}
	}
	seen := map[string]bool{}
	for _, p := range parts {
		if len(p.refs) == 0 {
			got = append(got, p.name)
		}
		for _, r := range p.refs {
			got = append(got, p.name+"."+r.column+" "+r.table)
			if !seen[r.table] {
				t.Errorf("%s comes before %s", p.name, r.table)
			}
		}
		seen[p.name] = true
	}
	slices.Sort(got)
	slices.Sort(want)
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestCells(t *testing.T) {
	for _, v := range []any{nil, int64(0), int64(math.MinInt64), int64(math.MaxInt64), 12.62, 12.0, 0.0, math.Copysign(0, -1), math.Inf(-1), 5e-324, "", "a\x00\"<", "\xff\xfe", []byte{}, []byte{0, 0xFF}} {
		b, err := json.Marshal(cell{v})
		var back cell
		if err == nil {
			err = json.Unmarshal(b, &back)
		}
		if err != nil || !cmp.Equal(v, back.v) {
			t.Errorf("%#v became %s and %#v, %v", v, b, back.v, err)
		}
	}
	for _, bad := range []string{`true`, `[]`, `{}`, `{"bytes": "0"}`, `{"bytes": "00", "text": "00"}`, `{"real": "x"}`, `99999999999999999999`} {
		var c cell
		if err := json.Unmarshal([]byte(bad), &c); err == nil {
			t.Errorf("%s was taken as %#v", bad, c.v)
		}
	}
}

func TestImportRefuses(t *testing.T) {
	s, car := used(t)
	good := exportCar(t, s, car.ID)
	text := unpackRows(t, good)
	edited := func(old, new string) []byte {
		t.Helper()
		if !strings.Contains(text, old) {
			t.Fatalf("no %q in the rows", old)
		}
		return pack(t, carFormat, nil, map[string]string{rowsName: strings.Replace(text, old, new, 1)})
	}
	bare := func(text string) []byte { return pack(t, carFormat, nil, map[string]string{rowsName: text}) }
	other := fresh(t)
	before := dump(t, other)
	for _, c := range []struct {
		name  string
		b     []byte
		fault Fault
	}{
		{"nothing", nil, FaultForeign},
		{"a back-up", backUp(t, s), FaultForeign},
		{"newer", pack(t, carFormat, func(m *manifest) { m.Schema = schemaVersion + 1 }, map[string]string{rowsName: text}), FaultNewer},
		{"cut", good[:len(good)/2], FaultDamaged},
		{"a bomb", bare(strings.Repeat(" ", 100<<20)), FaultTooLarge},
		{"no rows", bare("{}"), FaultDamaged},
		{"rows that end", bare(text[:len(text)-20]), FaultDamaged},
		{"a list", bare("[]"), FaultDamaged},
		{"no JSON", bare("car"), FaultDamaged},
		{"a table that is none of ours", edited(`"note": {`, `"sqlite_schema": {`), FaultDamaged},
		{"a table twice", edited(`"note": {`, `"car": {`), FaultDamaged},
		{"a column that is none of ours", edited(`"odometer"`, `"odometer) VALUES (1); DROP TABLE car; --"`), FaultDamaged},
		{"a column less", edited(`,"odometer"`, ``), FaultDamaged},
		{"a value less", edited(`"48213 km, typed",`, ``), FaultDamaged},
		{"another type", edited(`"48213 km, typed"`, `{"bytes":"00"}`), FaultDamaged},
		{"an identifier that is none", edited(`"7E5","7ED"`, `"XYZ","7ED"`), FaultDamaged},
		{"practice and real mixed", edited(`"practice car",0`, `"practice car",1`), FaultDamaged},
		{"a reference to nothing", edited("[1,1,0,", "[1,77,0,"), FaultDamaged},
		{"a recording's way out of the folder", edited(`.pcapng"`, `/../../x.pcapng"`), FaultDamaged},
	} {
		_, err := other.ImportCar(t.Context(), bytes.NewReader(c.b), int64(len(c.b)))
		var e *FileError
		if !errors.As(err, &e) || e.Fault != c.fault {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if d := cmp.Diff(before, dump(t, other)); d != "" {
		t.Error(d)
	}
	if left := listing(t, filepath.Dir(other.Path())); len(left) != 1 {
		t.Errorf("left beside the store: %d files", len(left))
	}
	if _, err := s.ExportCar(t.Context(), 99, &bytes.Buffer{}); !errors.Is(err, ErrNotFound) {
		t.Errorf("export of no car: %v", err)
	}
}

func unpackRows(t testing.TB, file []byte) string {
	t.Helper()
	b, err := openBundle(bytes.NewReader(file), int64(len(file)), carFormat, rowsName)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), rowsName)
	if err := b.unpackTo(t.Context(), b.file(rowsName), path); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// An import that is stopped anywhere adds nothing and leaves nothing.
func TestImportFails(t *testing.T) {
	from, car := used(t)
	b := exportCar(t, from, car.ID)
	s := fresh(t)
	before := dump(t, s)
	check := func(what string, err error) {
		t.Helper()
		if d := cmp.Diff(before, dump(t, s)); d != "" {
			t.Fatalf("%s: %v: %s", what, err, d)
		}
		if left := listing(t, filepath.Dir(s.Path())); len(left) != 1 {
			t.Fatalf("%s: %v: %d files left", what, err, len(left))
		}
	}
	for n := 0; ; n++ {
		_, err := s.ImportCar(t.Context(), &failingReader{bytes.NewReader(b), n}, int64(len(b)))
		if err == nil {
			break
		}
		if !errors.Is(err, errShort) {
			t.Fatalf("reading %d: %v", n, err)
		}
		check(fmt.Sprint("reading ", n), err)
	}
	s = fresh(t)
	for n := 0; ; n++ {
		_, err := s.ImportCar(endingAt(t.Context(), n), bytes.NewReader(b), int64(len(b)))
		if err == nil {
			break
		}
		if !errors.Is(err, context.Canceled) {
			t.Fatalf("question %d: %v", n, err)
		}
		check(fmt.Sprint("question ", n), err)
	}
}

// Whatever the rows: one car that can be read again and goes into a store, or an error.
func FuzzImport(f *testing.F) {
	from, car := used(f)
	text := unpackRows(f, exportCar(f, from, car.ID))
	for _, rows := range []string{text, text[:len(text)/2], `{"car": {"columns": ["id"], "rows": [[1]]}}`, "{}",
		`{"car": {"columns": ["id","name","vin","model","practice","place","odometer","made"], "rows": [[1,"a","","",0,"","",null]]}}`} {
		f.Add([]byte(rows))
	}
	f.Fuzz(func(t *testing.T, rows []byte) {
		n, nothing := 0, func() error { return nil }
		if readRows(bytes.NewReader(rows), func(part, []string) (func([]any) error, func() error, error) {
			return func([]any) error { n++; return nil }, nothing, nil
		}) != nil || n == 0 {
			return
		}
		scratch, err := openScratch(t.Context(), schemaVersion)
		if err != nil {
			t.Fatal(err)
		}
		defer scratch.db.Close()
		if err := scratch.fill(t.Context(), bytes.NewReader(rows)); err != nil {
			return
		}
		if _, _, err := scratch.settleCar(t.Context()); err != nil {
			return
		}
		b := pack(t, carFormat, nil, map[string]string{rowsName: string(rows)})
		s := fresh(t)
		got, err := s.ImportCar(t.Context(), bytes.NewReader(b), int64(len(b)))
		var e *FileError
		if err != nil && !errors.As(err, &e) {
			t.Fatal(err)
		}
		if err == nil {
			if _, _, err := s.readCar(t.Context(), got.Car); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	})
}

// tornAfter is a car file whose recording is whole by length and digest, and followed by damage.
func tornAfter(t testing.TB, recording string) []byte {
	t.Helper()
	var out bytes.Buffer
	b := newBundleWriter(&out, carFormat)
	if err := b.add(rowsName, bytesWriter("{}")); err != nil {
		t.Fatal(err)
	}
	// RFC 1951, 3.2.3: a stored block of one byte, then a block of the reserved type.
	packed := []byte{0x00, 0x01, 0x00, 0xFE, 0xFF, 'x', 0x07}
	w, err := b.zip.CreateRaw(&zip.FileHeader{Name: recording, Method: zip.Deflate, CRC32: crc32.ChecksumIEEE([]byte("x")),
		CompressedSize64: uint64(len(packed)), UncompressedSize64: 1})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(packed); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256([]byte("x"))
	b.m.Files = append(b.m.Files, bundleFile{recording, 1, sum[:]})
	if err := b.close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestDamageAfterTheLastByte(t *testing.T) {
	recording := recordingsPlace + "20231114-221320-00112233.pcapng"
	file := tornAfter(t, recording)
	b, err := openBundle(bytes.NewReader(file), int64(len(file)), carFormat, rowsName)
	if err != nil {
		t.Fatal(err)
	}
	for _, part := range b.m.Files {
		var fault *FileError
		err := b.unpack(t.Context(), part, func(r io.Reader) error { _, err := io.ReadAll(r); return err })
		if part.Name == recording && (!errors.As(err, &fault) || fault.Fault != FaultDamaged) || part.Name != recording && err != nil {
			t.Errorf("%q: %v", part.Name, err)
		}
	}
}

// Whatever the file: its parts as its manifest says, or an error of its type.
func FuzzBundle(f *testing.F) {
	recording := recordingsPlace + "20231114-221320-00112233.pcapng"
	f.Add(pack(f, carFormat, nil, map[string]string{rowsName: "{}", recording: "x"}))
	f.Add(pack(f, carFormat, func(m *manifest) { m.Version = 9 }, map[string]string{rowsName: "{}"}))
	f.Add(plainZip(f, "../out", "x"))
	f.Add(plainZip(f, manifestName, `{"format": "readback car", "version": 1, "schema": 1, "files": [{"name": "car.json", "size": 99999999999}]}`))
	f.Add(tornAfter(f, recording))
	f.Add([]byte("PK\x03\x04"))
	f.Add([]byte("PK\x01\x02000000000000000000000000\b\x00\t\x00\x00\x0000000000000000000000000000000PK\x01\x0200000000000000000000000\x00\r\x00\t" +
		"\x00\x00\x00000000000\x00\x00\x00manifest.json000000000PK\x05\x06000000\x02\x00\x83\x00\x00\x000000\x00\x00")) // a place before the beginning
	f.Fuzz(func(t *testing.T, file []byte) {
		var e *FileError
		b, err := openBundle(bytes.NewReader(file), int64(len(file)), carFormat, rowsName)
		if err != nil {
			if !errors.As(err, &e) {
				t.Fatal(err)
			}
			return
		}
		for _, part := range b.m.Files {
			n := 0
			err := b.unpack(t.Context(), part, func(r io.Reader) error {
				text, err := io.ReadAll(r)
				n = len(text)
				return err
			})
			if err == nil && int64(n) != part.Size || err != nil && !errors.As(err, &e) || int64(n) > part.Size {
				t.Fatalf("%q: %d of %d bytes, %v", part.Name, n, part.Size, err)
			}
		}
	})
}
