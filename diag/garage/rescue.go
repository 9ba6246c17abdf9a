package garage

import (
	"cmp"
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

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"readback/diag/link"
)

// MaxRescued is the size of the largest store that is rescued, in bytes: it is read as a whole, for a row may lie on any of
// its pages. A store has no more than a few kilobytes for each visit and module; what is recorded lies beside it.
const MaxRescued = 1 << 30

// Rescued tells what could be read of a damaged store.
type Rescued struct {
	Tables    []RescuedTable `json:"tables"`
	Whole     int            `json:"whole"`     // visits that have the checksum they were saved with
	Broken    []int64        `json:"broken"`    // visits of which a part is lost or altered
	StandIns  []int64        `json:"standIns"`  // cars whose own row is lost: they have a made-up name and no identification number
	Pages     int            `json:"pages"`     // of the damaged file
	Unreached int            `json:"unreached"` // pages with rows that no table leads to any more, and that were told apart by what they hold
}

// RescuedTable are the rows of one table.
type RescuedTable struct {
	Name  string `json:"name"`
	Saved int    `json:"saved"`
	Lost  int    `json:"lost"` // rows that are known to be lost; there may be more where nothing tells of them
}

// Rescue copies what can be read of a damaged store into a new one. It reads the file page by page, without the
// database, and never changes it; what a dead program had begun is left out when its rollback journal lies beside the
// file. Rows keep their numbers. A visit of which a part is lost is kept and no longer has its checksum; a row whose car,
// visit or module is lost goes with it, but a lost car that visits belong to gets a stand-in. Recordings are found again
// when the new store is in the folder of the old one.
//
// There must be nothing at newPath. When nothing at all can be read the error is a [*FileError].
func Rescue(ctx context.Context, damagedPath, newPath string) (Rescued, error) {
	got, err := rescue(ctx, damagedPath, newPath)
	var file *FileError
	switch {
	case errors.As(err, &file):
		return Rescued{}, file
	case err != nil:
		return Rescued{}, classify(newPath, fmt.Errorf("garage: rescue %s: %w", damagedPath, err))
	}
	return got, nil
}

func rescue(ctx context.Context, damagedPath, newPath string) (got Rescued, err error) {
	if exists(newPath) {
		return got, fmt.Errorf("%s is there already", newPath)
	}
	b, err := wholeFile(damagedPath)
	if err != nil {
		return got, err
	}
	if journal, err := wholeFile(damagedPath + "-journal"); err == nil {
		b = pages(b).undone(journal)
	}
	if err := os.MkdirAll(filepath.Dir(newPath), 0o700); err != nil {
		return got, err
	}
	work, err := workFolder(newPath, "rescuing")
	if err != nil {
		return got, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	rows := filepath.Join(work, storeName)
	s, err := Open(ctx, rows)
	if err != nil {
		return got, err
	}
	r := rescuer{from: b, s: s}
	if err := errors.Join(r.run(ctx), s.Close()); err != nil {
		return got, err
	}
	if exists(newPath) {
		return got, fmt.Errorf("%s is there already", newPath)
	}
	if err := os.Rename(rows, newPath); err != nil {
		return got, err
	}
	return r.got, syncFolder(filepath.Dir(newPath))
}

// wholeFile reads a file of at most MaxRescued bytes.
func wholeFile(path string) ([]byte, error) {
	switch info, err := os.Stat(path); {
	case err != nil:
		return nil, err
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s is no file", path)
	case info.Size() > MaxRescued:
		return nil, tooMuch(MaxRescued)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return readMost(f, MaxRescued)
}

// readMost reads all of r, unless it has more than most bytes.
func readMost(r io.Reader, most int64) ([]byte, error) {
	b, err := io.ReadAll(io.LimitReader(r, most+1))
	if err == nil && int64(len(b)) > most {
		err = tooMuch(most)
	}
	return b, err
}

func tooMuch(most int64) error {
	return &FileError{Fault: FaultTooLarge, Cause: fmt.Errorf("it has more than %d bytes", most)}
}

type rescuer struct {
	from pages
	s    *Store
	tx   *sql.Tx

	shapes []shape
	found  map[string][]storedRow
	bad    map[string]int   // cells of a table that can't be read
	newest map[string]int64 // the greatest number that a table ever gave, as the database noted it
	got    Rescued
}

// shape is what a row of a table looks like.
type shape struct {
	part
	columns []column
	least   int // columns that every row has: rows that were written before a column was added do without it
	numbers bool
}

type column struct {
	name, kind string
	needed     bool
}

func (r *rescuer) run(ctx context.Context) error {
	return r.s.write(ctx, "rescue", func(tx *sql.Tx) error {
		r.tx = tx
		if err := r.readShapes(ctx); err != nil {
			return err
		}
		if err := r.readPages(ctx); err != nil {
			return err
		}
		total := 0
		for _, t := range r.shapes {
			total += len(r.found[t.name])
		}
		if total == 0 {
			return &FileError{Fault: FaultForeign, Cause: errors.New("nothing in it can be read as a part of a store")}
		}
		for _, t := range r.shapes {
			if err := r.save(ctx, t); err != nil {
				return fmt.Errorf("table %s: %w", t.name, err)
			}
		}
		return r.judge(ctx)
	})
}

// readShapes asks the new store what the rows of each table look like.
func (r *rescuer) readShapes(ctx context.Context) error {
	for _, p := range append(slices.Clone(parts), part{name: "meter_offset"}) {
		t := shape{part: p}
		err := each(ctx, r.tx, func(rows *sql.Rows) error {
			var c column
			var key int
			err := rows.Scan(&c.name, &c.kind, &c.needed, &key)
			c.needed = c.needed || key > 0
			t.columns = append(t.columns, c)
			return err
		}, `SELECT name, type, "notnull", pk FROM pragma_table_info(?)`, p.name)
		if err != nil {
			return err
		}
		t.numbers = t.columns[0].name == "id"
		if t.least = len(t.columns); p.name == "visit" {
			t.least-- // sealed came with version 3
		}
		r.shapes = append(r.shapes, t)
	}
	return nil
}

// fits tells whether a row of a page can be one of this table, and gives it the form it is stored in.
func (t shape) fits(kind byte, row storedRow) ([]any, bool) {
	n := len(row.values)
	if t.numbers != (kind == leafTable) || n < t.least || n > len(t.columns) {
		return nil, false
	}
	values := append(slices.Clone(row.values), make([]any, len(t.columns)-n)...)
	for i, c := range t.columns {
		if i == 0 && t.numbers {
			if values[0] != nil { // the row's number stands for it
				return nil, false
			}
			values[0] = row.id
			continue
		}
		switch v := values[i].(type) {
		case nil:
			if c.needed {
				return nil, false
			}
		case int64:
			if c.kind == "REAL" {
				values[i] = float64(v) // the database keeps whole numbers short
			} else if c.kind != "INTEGER" || !inRange(c.name, v) {
				return nil, false
			}
		case float64:
			if c.kind != "REAL" {
				return nil, false
			}
		case string:
			if c.kind != "TEXT" || !readable(t.name, c.name, v) {
				return nil, false
			}
		case []byte:
			if c.kind != "BLOB" || t.name == "code" && c.name == "code" && len(v) != 0 && len(v) != 2 && len(v) != 3 {
				return nil, false
			}
		}
	}
	return values, true
}

// inRange tells whether a number can be read again into its field.
func inRange(column string, v int64) bool {
	switch column {
	case "mode", "target", "source", "availability", "status", "severity", "record":
		return v >= 0 && v <= 0xFF
	case "identifier":
		return v >= 0 && v <= 0xFFFF
	}
	return true
}

// readable tells whether a text can be read again into its field.
func readable(table, column, text string) bool {
	switch column {
	case "ask", "reply", "request", "answer":
		if table != "module" && table != "given_name" || text == "" {
			return true
		}
		_, err := link.ParseID(text)
		return err == nil
	case "lists", "answers":
		return json.Unmarshal([]byte(text), new([]string)) == nil
	}
	return true
}

// readPages sorts the rows of all pages by the tables that they belong to.
func (r *rescuer) readPages(ctx context.Context) error {
	r.found, r.bad, r.newest = map[string][]storedRow{}, map[string]int{}, map[string]int64{}
	r.got.Pages = r.from.count()
	of := r.reach()
	for n := 1; n <= r.got.Pages; n++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		rows, lost := r.from.rows(n)
		if len(rows)+lost == 0 {
			continue
		}
		_, kind := head(n, r.from.page(n))
		t, ok := r.tableOf(of[n], kind, rows)
		if !ok {
			continue
		}
		if of[n] == "" {
			r.got.Unreached++
		}
		r.bad[t.name] += lost
		for _, row := range rows {
			values, ok := t.fits(kind, row)
			if !ok {
				r.bad[t.name]++
				continue
			}
			r.found[t.name] = append(r.found[t.name], storedRow{row.id, values})
		}
	}
	return nil
}

// reach tells for each page which table leads to it, as far as the list of tables and the pages between can be read.
// It also collects the numbers that tables have given.
func (r *rescuer) reach() map[int]string {
	of := map[int]string{}
	for n := 1; n <= r.got.Pages; n++ {
		page := r.from.page(n)
		if page == nil {
			continue
		}
		if _, kind := head(n, page); kind != leafTable {
			continue
		}
		rows, _ := r.from.rows(n)
		for _, row := range rows {
			switch v := row.values; len(v) {
			case 5: // type, name, table, root page, definition
				kind, _ := v[0].(string)
				name, _ := v[1].(string)
				root, _ := v[3].(int64)
				if _, definition := v[4].(string); kind != "table" && kind != "index" || root < 1 || kind == "table" && !definition {
					continue
				}
				if kind == "index" {
					name = "index"
				}
				r.from.tree(int(root), func(page int) bool {
					if of[page] != "" {
						return false
					}
					of[page] = name
					return true
				})
			case 2: // table, the greatest number given
				if name, ok := v[0].(string); ok {
					last, _ := v[1].(int64)
					r.newest[name] = last
				}
			}
		}
	}
	return of
}

// tableOf tells which table a page belongs to: the one that leads to it when its rows look like that, else the one that
// most of its rows look like.
func (r *rescuer) tableOf(name string, kind byte, rows []storedRow) (best shape, ok bool) {
	if name == "index" {
		return shape{}, false
	}
	most := 0
	for _, t := range r.shapes {
		n := 0
		for _, row := range rows {
			if _, fits := t.fits(kind, row); fits {
				n++
			}
		}
		switch {
		case t.name == name && (n > 0 || len(rows) == 0):
			return t, true
		case t.name == "value" && !slices.ContainsFunc(rows, wideIdentifier):
			// Values and extended records look alike, but the number of a record has one byte and that of a value two.
		case n > most:
			best, most, ok = t, n, true
		}
	}
	return best, ok
}

func wideIdentifier(row storedRow) bool {
	if len(row.values) < 3 {
		return false
	}
	id, _ := row.values[2].(int64)
	return id > 0xFF
}

// save adds the rows of one table.
func (r *rescuer) save(ctx context.Context, t shape) error {
	rows := r.found[t.name]
	slices.SortStableFunc(rows, func(a, b storedRow) int { return cmp.Compare(a.id, b.id) })
	if t.name == "visit" {
		if err := r.standIns(ctx, rows); err != nil {
			return err
		}
	}
	var names []string
	for _, c := range t.columns {
		names = append(names, c.name)
	}
	insert, err := r.tx.PrepareContext(ctx, insertInto(t.name, names))
	if err != nil {
		return err
	}
	defer insert.Close()
	result := RescuedTable{Name: t.name}
	greatest := r.newest[t.name]
	refused := 0
	for _, row := range rows {
		greatest = max(greatest, row.id)
		if err := r.dropLostReferences(ctx, t, row.values); err != nil {
			return err
		}
		_, err := insert.ExecContext(ctx, row.values...)
		var e *sqlite.Error
		switch {
		case errors.As(err, &e) && e.Code()&0xFF == lib.SQLITE_CONSTRAINT:
			refused++
			continue
		case err != nil:
			return err
		}
		result.Saved++
	}
	result.Lost = r.bad[t.name] + refused
	if t.numbers && t.name != "card" {
		// Rows are never removed from these tables: a number that is not there was lost.
		result.Lost = max(result.Lost, int(min(greatest, 1<<31))-result.Saved)
	}
	r.got.Tables = append(r.got.Tables, result)
	return nil
}

// standIns makes cars for visits whose car is lost.
func (r *rescuer) standIns(ctx context.Context, visits []storedRow) error {
	for _, v := range visits {
		car, practice := v.values[1], v.values[8]
		result, err := r.tx.ExecContext(ctx, `INSERT INTO car (id, name, vin, model, practice, place, odometer)
			SELECT ?1, ?2, '', '', ?3, '', '' WHERE ?3 IN (0, 1) AND NOT EXISTS (SELECT 1 FROM car WHERE id = ?1)`, car, fmt.Sprintf("Rescued car %v", car), practice)
		if err != nil {
			return err
		}
		if n, err := result.RowsAffected(); err != nil {
			return err
		} else if n > 0 {
			id, _ := car.(int64)
			r.got.StandIns = append(r.got.StandIns, id)
		}
	}
	return nil
}

// dropLostReferences forgets what a row refers to beside what it belongs to, where that is lost.
func (r *rescuer) dropLostReferences(ctx context.Context, t shape, values []any) error {
	for i, ref := range t.refs {
		at := slices.IndexFunc(t.columns, func(c column) bool { return c.name == ref.column })
		if i == 0 || t.columns[at].needed || values[at] == nil {
			continue
		}
		var n int
		if err := r.tx.QueryRowContext(ctx, "SELECT count(*) FROM "+ref.table+" WHERE id = ?", values[at]).Scan(&n); err != nil {
			return err
		}
		if n == 0 {
			values[at] = nil
		}
	}
	return nil
}

// judge compares every visit with its checksum.
func (r *rescuer) judge(ctx context.Context) error {
	r.got.Broken = []int64{}
	for _, row := range r.found["visit"] {
		switch _, err := loadVisit(ctx, r.tx, row.id); {
		case err == nil:
			r.got.Whole++
		case ctx.Err() != nil:
			return ctx.Err()
		case !errors.Is(err, ErrNotFound):
			r.got.Broken = append(r.got.Broken, row.id)
		}
	}
	return nil
}

// String is one line for each table of which something is lost.
func (r Rescued) String() string {
	var b strings.Builder
	for _, t := range r.Tables {
		if t.Lost > 0 {
			fmt.Fprintf(&b, "%s: %d saved, %d lost\n", t.Name, t.Saved, t.Lost)
		}
	}
	return b.String()
}
