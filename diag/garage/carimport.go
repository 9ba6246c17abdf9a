package garage

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Imported tells what came from a car's file.
type Imported struct {
	Car         Car      `json:"car"`
	Joined      bool     `json:"joined"`      // the car was in the store; what was new was added to it
	Visits      int      `json:"visits"`      // visits that were added
	Already     int      `json:"already"`     // visits that were in the store already
	Altered     []int64  `json:"altered"`     // added visits that are not as they were first saved, by their numbers here
	Changes     int      `json:"changes"`     // rows of the journal that were added
	Recordings  int      `json:"recordings"`  // recordings whose files were added
	Missing     []string `json:"missing"`     // recordings that are named and whose files did not come as they were written
	ReportsLeft int      `json:"reportsLeft"` // reports that don't continue the chain of this car's reports, and were left out
}

// ImportCar takes a car from a file that [Store.ExportCar] wrote. When the store has a car with the same identification
// number, or with one of the visits and no other number, the file is joined to it: what is there already stays as it is
// and is not doubled; a number that was not known is filled in. Otherwise the car is added. A practice car is joined to
// practice cars only. Visits keep their checksums. It happens as a whole or not at all.
//
// A file that can't be taken is a [*FileError].
func (s *Store) ImportCar(ctx context.Context, r io.ReaderAt, size int64) (Imported, error) {
	got, err := s.importCar(ctx, r, size)
	var file *FileError
	switch {
	case errors.As(err, &file):
		return Imported{}, file
	case err != nil:
		return Imported{}, s.fail("import car", err)
	}
	return got, nil
}

func (s *Store) importCar(ctx context.Context, r io.ReaderAt, size int64) (got Imported, err error) {
	b, err := openBundle(r, size, carFormat, rowsName)
	if err != nil {
		return got, err
	}
	rows := b.file(rowsName)
	if rows.Size > mostRows {
		return got, &FileError{Fault: FaultTooLarge, Cause: fmt.Errorf("its rows have %d bytes, more than %d", rows.Size, mostRows)}
	}
	scratch, err := openScratch(ctx, b.m.Schema)
	if err != nil {
		return got, err
	}
	defer scratch.db.Close()
	if err := b.unpack(ctx, rows, func(r io.Reader) error { return scratch.fill(ctx, r) }); err != nil {
		return got, foreignRows(ctx, err)
	}
	car, altered, err := scratch.settleCar(ctx)
	if err != nil {
		return got, foreignRows(ctx, err)
	}
	work, err := workFolder(s.path, "importing")
	if err != nil {
		return got, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	came := b.recordings()
	for name, f := range came {
		if err := b.unpackTo(ctx, f, filepath.Join(work, name)); err != nil {
			return got, err
		}
	}
	m := merger{s: s, from: scratch, car: car, altered: altered, work: work, came: came, got: Imported{Altered: []int64{}, Missing: []string{}}}
	if err := m.merge(ctx); err != nil {
		for _, path := range m.placed {
			err = errors.Join(err, os.Remove(path))
		}
		return got, err
	}
	return m.got, nil
}

// foreignRows makes an error of the scratch store one of the file.
func foreignRows(ctx context.Context, err error) error {
	var file *FileError
	if errors.As(err, &file) || ctx.Err() != nil {
		return err
	}
	return &FileError{Fault: FaultDamaged, Cause: fmt.Errorf("its rows: %w", err)}
}

// openScratch makes an empty store in memory with the schema of a version. References are checked once it is filled.
func openScratch(ctx context.Context, version int) (*Store, error) {
	db, err := sql.Open("sqlite", "file::memory:?_txlock=immediate&_dqs=0&_defensive=1&_foreign_keys=0")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	s := &Store{db: db, path: "the file"}
	if err := s.migrateTo(ctx, version); err != nil {
		db.Close()
		return nil, err
	}
	return s, nil
}

// fill reads tables of rows into an empty scratch store. Names are looked up in its schema and never trusted.
func (s *Store) fill(ctx context.Context, r io.Reader) error {
	return s.write(ctx, "read rows", func(tx *sql.Tx) error {
		return readRows(r, func(p part, columns []string) (func([]any) error, func() error, error) {
			known, err := columnsOf(ctx, tx, p.name)
			if err != nil {
				return nil, nil, err
			}
			if len(known) == 0 || !slices.Equal(slices.Sorted(slices.Values(columns)), slices.Sorted(slices.Values(known))) {
				return nil, nil, fmt.Errorf("its columns are %q", columns)
			}
			insert, err := tx.PrepareContext(ctx, insertInto(p.name, columns))
			if err != nil {
				return nil, nil, err
			}
			return func(row []any) error {
				_, err := insert.ExecContext(ctx, row...)
				return err
			}, insert.Close, nil
		})
	})
}

// readRows reads the file of the rows. begin is told of each table, once, and takes its rows and its end.
func readRows(r io.Reader, begin func(p part, columns []string) (add func(row []any) error, end func() error, err error)) error {
	d := json.NewDecoder(r)
	if err := expect(d, json.Delim('{')); err != nil {
		return err
	}
	seen := map[string]bool{}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return err
		}
		p, ok := partNamed(fmt.Sprint(name))
		if !ok || seen[p.name] {
			return fmt.Errorf("a table %q that does not belong there", name)
		}
		seen[p.name] = true
		var columns []string
		err = expect(d, json.Delim('{'), "columns")
		if err == nil {
			err = d.Decode(&columns)
		}
		if err == nil {
			err = expect(d, "rows", json.Delim('['))
		}
		if err == nil {
			err = readTable(d, p, columns, begin)
		}
		if err != nil {
			return fmt.Errorf("table %s: %w", p.name, err)
		}
	}
	return expect(d, json.Delim('}'))
}

func readTable(d *json.Decoder, p part, columns []string, begin func(part, []string) (func([]any) error, func() error, error)) error {
	add, end, err := begin(p, columns)
	if err != nil {
		return err
	}
	for d.More() && err == nil {
		var cells []cell
		if err = d.Decode(&cells); err != nil {
			break
		}
		if len(cells) != len(columns) {
			err = fmt.Errorf("a row of %d values", len(cells))
			break
		}
		row := make([]any, len(cells))
		for i, c := range cells {
			row[i] = c.v
		}
		err = add(row)
	}
	if err := errors.Join(err, end()); err != nil {
		return err
	}
	return expect(d, json.Delim(']'), json.Delim('}'))
}

func expect(d *json.Decoder, want ...json.Token) error {
	for _, w := range want {
		t, err := d.Token()
		if err != nil {
			return err
		}
		if t != w {
			return fmt.Errorf("%v where %v should be", t, w)
		}
	}
	return nil
}

func columnsOf(ctx context.Context, tx *sql.Tx, table string) (names []string, err error) {
	err = each(ctx, tx, func(rows *sql.Rows) error {
		var name string
		err := rows.Scan(&name)
		names = append(names, name)
		return err
	}, `SELECT name FROM pragma_table_info(?)`, table)
	return names, err
}

func insertInto(table string, columns []string) string {
	return fmt.Sprintf("INSERT INTO %s (%s) VALUES (?%s)", table, strings.Join(columns, ", "), strings.Repeat(", ?", len(columns)-1))
}

// settleCar brings a filled scratch store up to date and reads all of it, as it would be read later. It tells the one
// car in it, and which of its visits are not as they were saved.
func (s *Store) settleCar(ctx context.Context) (Car, map[int64]bool, error) {
	if err := s.migrate(ctx); err != nil {
		return Car{}, nil, err
	}
	var loose int
	if err := s.db.QueryRowContext(ctx, `SELECT count(*) FROM pragma_foreign_key_check`).Scan(&loose); err != nil {
		return Car{}, nil, err
	}
	if loose > 0 {
		return Car{}, nil, fmt.Errorf("%d of them refer to rows that are not there", loose)
	}
	// Nobody alive has a change of this file in the air.
	if _, err := s.db.ExecContext(ctx, `UPDATE journal SET outcome = ?, holder = '' WHERE outcome = ?`, string(Unknown), string(Planned)); err != nil {
		return Car{}, nil, err
	}
	cars, err := s.Cars(ctx)
	switch {
	case err != nil:
		return Car{}, nil, err
	case len(cars) != 1:
		return Car{}, nil, fmt.Errorf("%d cars", len(cars))
	}
	_, altered, err := s.readCar(ctx, cars[0])
	if err != nil {
		return Car{}, nil, err
	}
	set := map[int64]bool{}
	for _, id := range altered {
		set[id] = true
	}
	return cars[0], set, nil
}

// merger adds the rows of a scratch store to a store.
type merger struct {
	s       *Store
	from    *Store
	car     Car
	altered map[int64]bool
	work    string
	came    map[string]bundleFile

	tx     *sql.Tx
	insert *sql.Stmt                  // a row of the table that is being added
	target map[string]map[int64]int64 // table -> number in the file -> number here
	there  map[string]map[int64]bool  // table -> number in the file, when the row was here already
	newest map[string]int64           // table -> the greatest number here before the first row was added
	forked bool                       // the file's reports and those here are two chains
	placed []string
	got    Imported
}

func (m *merger) merge(ctx context.Context) error {
	err := m.s.write(ctx, "add rows", func(tx *sql.Tx) error {
		m.tx, m.target, m.there, m.newest = tx, map[string]map[int64]int64{}, map[string]map[int64]bool{}, map[string]int64{}
		if err := m.findCar(ctx); err != nil {
			return err
		}
		for _, p := range parts {
			m.target[p.name], m.there[p.name] = map[int64]int64{}, map[int64]bool{}
			if err := m.table(ctx, p); err != nil {
				return fmt.Errorf("table %s: %w", p.name, err)
			}
		}
		var err error
		m.got.Car, err = scanCar(tx.QueryRowContext(ctx, `SELECT `+carColumns+` FROM car WHERE id = ?`, m.target["car"][m.car.ID]))
		return err
	})
	if err != nil || len(m.placed) == 0 {
		return err
	}
	return syncFolder(m.s.recordingsFolder())
}

// findCar looks for the car that the file's car is: of the same kind, with its identification number, or with one of
// its visits and no other number.
func (m *merger) findCar(ctx context.Context) error {
	var sums [][]byte
	err := m.from.read(ctx, "list checksums", func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			var sum []byte
			err := rows.Scan(&sum)
			sums = append(sums, sum)
			return err
		}, `SELECT checksum FROM visit`)
	})
	if err != nil {
		return err
	}
	find := func(query string, args ...any) (bool, error) {
		err := m.tx.QueryRowContext(ctx, query, args...).Scan(&m.got.Car.ID)
		if errors.Is(err, sql.ErrNoRows) {
			return false, nil
		}
		m.got.Joined = err == nil
		return m.got.Joined, err
	}
	found, err := find(`SELECT id FROM car WHERE practice = ? AND vin <> '' AND vin = ? COLLATE NOCASE ORDER BY id DESC LIMIT 1`, m.car.Practice, m.car.VIN)
	for i := 0; i < len(sums) && !found && err == nil; i++ {
		found, err = find(`SELECT c.id FROM car c JOIN visit v ON v.car = c.id WHERE c.practice = ? AND v.checksum = ? AND (c.vin = '' OR ? = '') LIMIT 1`, m.car.Practice, sums[i], m.car.VIN)
	}
	if err == nil && found && m.car.VIN != "" {
		_, err = m.tx.ExecContext(ctx, `UPDATE car SET vin = ? WHERE id = ? AND vin = ''`, m.car.VIN, m.got.Car.ID)
	}
	if err != nil {
		return err
	}
	return m.compareChains(ctx)
}

// compareChains tells how the file's reports stand to those of the car here.
func (m *merger) compareChains(ctx context.Context) error {
	digests := func(tx *sql.Tx, car int64) (list [][]byte, err error) {
		err = each(ctx, tx, func(rows *sql.Rows) error {
			var d []byte
			err := rows.Scan(&d)
			list = append(list, d)
			return err
		}, `SELECT digest FROM report WHERE car = ? ORDER BY id`, car)
		return list, err
	}
	here, err := digests(m.tx, m.got.Car.ID)
	if err != nil {
		return err
	}
	var came [][]byte
	err = m.from.read(ctx, "list reports", func(tx *sql.Tx) (err error) {
		came, err = digests(tx, m.car.ID)
		return err
	})
	for i := range min(len(here), len(came)) {
		m.forked = m.forked || !bytes.Equal(here[i], came[i])
	}
	return err
}

func (m *merger) table(ctx context.Context, p part) error {
	var columns []string
	var rows [][]any
	err := m.from.read(ctx, "read rows", func(tx *sql.Tx) (err error) {
		if columns, err = columnsOf(ctx, tx, p.name); err != nil {
			return err
		}
		order := strings.Join(columns[:min(2, len(columns))], ", ")
		return each(ctx, tx, func(r *sql.Rows) error {
			row, err := scanRow(r, len(columns))
			rows = append(rows, row)
			return err
		}, fmt.Sprintf("SELECT * FROM %s ORDER BY %s", p.name, order))
	})
	if err != nil {
		return err
	}
	if columns[0] == "id" {
		var newest int64
		if err := m.tx.QueryRowContext(ctx, "SELECT coalesce(max(id), 0) FROM "+p.name).Scan(&newest); err != nil {
			return err
		}
		m.newest[p.name] = newest
		m.insert, err = m.tx.PrepareContext(ctx, insertInto(p.name, columns[1:]))
	} else {
		m.insert, err = m.tx.PrepareContext(ctx, insertInto(p.name, columns))
	}
	if err != nil {
		return err
	}
	defer m.insert.Close()
	for _, row := range rows {
		if err := m.row(ctx, p, columns, row); err != nil {
			return err
		}
	}
	return nil
}

// row adds one row, or finds the one that is here already.
func (m *merger) row(ctx context.Context, p part, columns []string, row []any) error {
	at := func(column string) *any { return &row[slices.Index(columns, column)] }
	for i, r := range p.refs {
		v := at(r.column)
		if *v == nil {
			continue
		}
		old, _ := (*v).(int64)
		if i == 0 && p.same == nil && m.there[r.table][old] {
			if columns[0] == "id" {
				id, _ := row[0].(int64)
				m.there[p.name][id] = true
			}
			return nil
		}
		*v = m.target[r.table][old]
	}
	var old int64
	if columns[0] == "id" {
		old, _ = row[0].(int64)
	}
	if known, id, err := m.here(ctx, p, columns, row); err != nil || known {
		m.target[p.name][old], m.there[p.name][old] = id, true
		if p.name == "visit" && known {
			m.got.Already++
		}
		return err
	}
	switch p.name {
	case "visit":
		if sealed := at("sealed"); *sealed == nil {
			*sealed = m.car.ID
		}
		m.got.Visits++
	case "journal":
		m.got.Changes++
	case "recording":
		if err := m.place(ctx, at("file"), *at("digest")); err != nil {
			return err
		}
	case "report":
		if m.forked {
			m.got.ReportsLeft++
			return nil
		}
	}
	if columns[0] != "id" {
		_, err := m.insert.ExecContext(ctx, row...)
		return err
	}
	result, err := m.insert.ExecContext(ctx, row[1:]...)
	if err != nil {
		return err
	}
	id, err := result.LastInsertId()
	m.target[p.name][old] = id
	if p.name == "visit" && m.altered[old] {
		m.got.Altered = append(m.got.Altered, id)
	}
	return err
}

// here looks for a row that says the same, among those that were here before.
func (m *merger) here(ctx context.Context, p part, columns []string, row []any) (known bool, id int64, err error) {
	if p.name == "car" {
		return m.got.Joined, m.got.Car.ID, nil
	}
	if p.same == nil {
		return false, 0, nil
	}
	number, old := "0", ""
	if columns[0] == "id" {
		number, old = "id", fmt.Sprintf(" AND id <= %d", m.newest[p.name])
	}
	var args []any
	for _, c := range p.same {
		args = append(args, row[slices.Index(columns, c)])
	}
	query := fmt.Sprintf("SELECT %s FROM %s WHERE %s IS ?%s LIMIT 1", number, p.name, strings.Join(p.same, " IS ? AND "), old)
	err = m.tx.QueryRowContext(ctx, query, args...).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return false, 0, nil
	}
	return err == nil, id, err
}

// place moves the file of a recording to the others, under a name that nothing has yet.
func (m *merger) place(ctx context.Context, file *any, digest any) error {
	name, _ := (*file).(string)
	sum, _ := digest.([]byte)
	if !recordingName.MatchString(name) {
		return &FileError{Fault: FaultDamaged, Cause: fmt.Errorf("%q is not a name for a recording", name)}
	}
	free := name
	for n := 2; ; n++ {
		var taken int
		if err := m.tx.QueryRowContext(ctx, `SELECT count(*) FROM recording WHERE file = ?`, free).Scan(&taken); err != nil {
			return err
		}
		if taken == 0 && !exists(filepath.Join(m.s.recordingsFolder(), free)) {
			break
		}
		free = fmt.Sprintf("%s-%d.pcapng", name[:len("20060102-150405-01234567")], n)
	}
	*file = free
	if f, ok := m.came[name]; !ok || !bytes.Equal(f.Digest, sum) {
		m.got.Missing = append(m.got.Missing, name)
		return nil
	}
	if err := os.MkdirAll(m.s.recordingsFolder(), 0o700); err != nil {
		return err
	}
	to := filepath.Join(m.s.recordingsFolder(), free)
	if err := os.Rename(filepath.Join(m.work, name), to); err != nil {
		return err
	}
	m.placed = append(m.placed, to)
	m.got.Recordings++
	return nil
}
