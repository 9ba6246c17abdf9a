package garage

import (
	"bytes"
	"database/sql"
	"path/filepath"
	"strconv"
	"testing"

	"readback/diag/dtc"
	"readback/diag/link"
)

// manyCodes is a visit with 10 000 codes in 100 modules, each code with a snapshot.
func manyCodes(car int64) Visit {
	v := Visit{CarID: car, Kind: KindLook, Begun: begun, Ended: begun}
	for m := range 100 {
		a := link.Physical(link.ID29(0x18DA00F1|uint32(m)<<8), link.ID29(0x18DAF100|uint32(m)))
		module := Module{Address: a, Request: a.Request, Answer: a.Answer, Answered: Yes, CodesRead: Yes, Identification: map[string]string{"F187": "x"}}
		for c := range 100 {
			module.Codes = append(module.Codes, CodeRecord{
				Code: dtc.From3(byte(m), byte(c), 0x13), Raw: []byte{byte(m), byte(c), 0x13, 0x2F}, Status: ptr(dtc.Status(0x2F)),
				Snapshots: []Snapshot{{Record: 1, Raw: []byte{1, 1, 0xF4, 0x42, 0x31, 0x38}, Values: []Value{{Identifier: 0xF442, Text: "12.6 V", Raw: []byte{0x31, 0x38}}}}},
			})
		}
		v.Modules = append(v.Modules, module)
	}
	return v
}

func BenchmarkSave10000Codes(b *testing.B) {
	s := fresh(b)
	v := manyCodes(putCar(b, s, Car{Name: "Van"}).ID)
	for b.Loop() {
		putVisit(b, s, v)
	}
}

// BenchmarkPlainRows writes as many rows as a visit with 10 000 codes has, codes, snapshots and values, with prepared
// statements into plain tables of the same driver and settings: what a store can't be faster than.
func BenchmarkPlainRows(b *testing.B) {
	db, err := sql.Open("sqlite", dsn(filepath.Join(b.TempDir(), "plain.db")))
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(`CREATE TABLE code (id INTEGER PRIMARY KEY, module INTEGER, code INTEGER, raw BLOB, status INTEGER);
		CREATE TABLE snapshot (id INTEGER PRIMARY KEY, code INTEGER, record INTEGER, raw BLOB);
		CREATE TABLE value (id INTEGER PRIMARY KEY, snapshot INTEGER, identifier INTEGER, text TEXT, raw BLOB)`); err != nil {
		b.Fatal(err)
	}
	raw := []byte{1, 1, 0xF4, 0x42, 0x31, 0x38}
	insert := func(tx *sql.Tx, query string, args func(i int) []any) {
		st, err := tx.Prepare(query)
		if err != nil {
			b.Fatal(err)
		}
		defer st.Close()
		for i := range 10_000 {
			if _, err := st.Exec(args(i)...); err != nil {
				b.Fatal(err)
			}
		}
	}
	for b.Loop() {
		tx, err := db.Begin()
		if err != nil {
			b.Fatal(err)
		}
		insert(tx, `INSERT INTO code (module, code, raw, status) VALUES (?, ?, ?, ?)`, func(i int) []any { return []any{i / 100, i, raw[:4], 0x2F} })
		insert(tx, `INSERT INTO snapshot (code, record, raw) VALUES (?, ?, ?)`, func(i int) []any { return []any{i, 1, raw} })
		insert(tx, `INSERT INTO value (snapshot, identifier, text, raw) VALUES (?, ?, ?, ?)`, func(i int) []any { return []any{i, 0xF442, "12.6 V", raw[4:]} })
		if err := tx.Commit(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRead10000Codes(b *testing.B) {
	s := fresh(b)
	v := putVisit(b, s, manyCodes(putCar(b, s, Car{Name: "Van"}).ID))
	for b.Loop() {
		if _, err := s.Visit(b.Context(), v.ID); err != nil {
			b.Fatal(err)
		}
	}
}

// Opening checks every page: here of a store with 100 000 codes.
func BenchmarkOpenLargeStore(b *testing.B) {
	s, _ := large(b)
	path := s.Path()
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		s, err := Open(b.Context(), path)
		if err != nil {
			b.Fatal(err)
		}
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
	}
}

// One change is written down and synced before it is sent.
func BenchmarkBegin(b *testing.B) {
	s := fresh(b)
	car := putCar(b, s, Car{Name: "Van"})
	for b.Loop() {
		begin(b, s, clearing(car.ID, 0))
	}
}

// large is a store with 100 000 codes.
func large(b *testing.B) (*Store, Car) {
	b.Helper()
	s := fresh(b)
	car := putCar(b, s, Car{Name: "Van"})
	for range 10 {
		putVisit(b, s, manyCodes(car.ID))
	}
	return s, car
}

func BenchmarkBackUp100000Codes(b *testing.B) {
	s, _ := large(b)
	var out bytes.Buffer
	for b.Loop() {
		out.Reset()
		if _, err := s.BackUp(b.Context(), &out); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(contents(b, s.Path())))/float64(out.Len()), "times-smaller")
}

func BenchmarkRestore100000Codes(b *testing.B) {
	s, _ := large(b)
	file, dir := backUp(b, s), b.TempDir()
	n := 0
	for b.Loop() {
		n++
		if _, err := Restore(b.Context(), filepath.Join(dir, strconv.Itoa(n), "readback.db"), bytes.NewReader(file), int64(len(file))); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkExport100000Codes(b *testing.B) {
	s, car := large(b)
	var out bytes.Buffer
	for b.Loop() {
		out.Reset()
		if _, err := s.ExportCar(b.Context(), car.ID, &out); err != nil {
			b.Fatal(err)
		}
	}
	rows := len(unpackRows(b, out.Bytes()))
	b.ReportMetric(float64(rows)/float64(out.Len()), "times-smaller")
}

func BenchmarkImport100000Codes(b *testing.B) {
	s, car := large(b)
	file := exportCar(b, s, car.ID)
	for b.Loop() {
		to := fresh(b)
		importCar(b, to, file)
		if err := to.Close(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRescue100000Codes(b *testing.B) {
	s, _ := large(b)
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	dir := b.TempDir()
	n := 0
	for b.Loop() {
		n++
		if _, err := Rescue(b.Context(), s.Path(), filepath.Join(dir, strconv.Itoa(n)+".db")); err != nil {
			b.Fatal(err)
		}
	}
}
