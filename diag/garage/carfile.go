package garage

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// rowsName is the file of the rows in a car's file: a JSON object of tables, each an object with the names of its
// columns and its rows as lists. Bytes, and texts that are not UTF-8, are {"bytes": hex digits}.
const rowsName = "car.json"

// mostRows is how large that file may be, in bytes.
const mostRows = 512 << 20

// part is one table of what belongs to a car.
type part struct {
	name string
	refs []ref    // what its rows refer to; the first is what they belong to
	same []string // columns that tell that a row is there already; none for the parts of a visit, which come with it
}

type ref struct{ column, table string }

// parts are all tables that belong to cars, each after those that it refers to.
var parts = []part{
	{name: "car"},
	{"note", []ref{{"car", "car"}}, []string{"car", "code", "text", "who", "source", "at"}},
	{"given_name", []ref{{"car", "car"}}, []string{"car", "request", "answer", "target", "source"}},
	{"visit", []ref{{"car", "car"}}, []string{"car", "checksum"}},
	{"module", []ref{{"visit", "visit"}}, nil},
	{"identification", []ref{{"module", "module"}}, nil},
	{"code", []ref{{"module", "module"}}, nil},
	{"snapshot", []ref{{"code", "code"}}, nil},
	{"value", []ref{{"snapshot", "snapshot"}}, nil},
	{"extended", []ref{{"code", "code"}}, nil},
	{"journal", []ref{{"car", "car"}, {"before", "visit"}, {"read_back", "visit"}}, []string{"car", "begun", "request", "place"}},
	{"card", []ref{{"car", "car"}}, []string{"car", "request", "title"}},
	{"meter", []ref{{"car", "car"}}, []string{"car", "spot", "value", "at"}},
	{"setup", []ref{{"car", "car"}}, []string{"car", "kind", "value"}},
	{"recording", []ref{{"car", "car"}, {"visit", "visit"}, {"entry", "journal"}}, []string{"car", "digest"}},
	{"proof", []ref{{"entry", "journal"}, {"visit", "visit"}}, []string{"entry", "step"}},
	{"report", []ref{{"car", "car"}, {"visit", "visit"}}, []string{"car", "digest"}},
}

func partNamed(name string) (part, bool) {
	for _, p := range parts {
		if p.name == name {
			return p, true
		}
	}
	return part{}, false
}

// ofCar is the condition that chooses the rows of one car, whose number is the only argument.
func (p part) ofCar() string {
	if len(p.refs) == 0 {
		return "id = ?"
	}
	owner, _ := partNamed(p.refs[0].table)
	return fmt.Sprintf("%s IN (SELECT id FROM %s WHERE %s)", p.refs[0].column, owner.name, owner.ofCar())
}

// Exported tells what went into a car's file.
type Exported struct {
	Visits     int      `json:"visits"`
	Recordings int      `json:"recordings"`
	Missing    []string `json:"missing"` // recordings that the store names and whose files are not there any more
}

// ExportCar writes everything that the store holds of a car into one file: the car, its visits with their checksums,
// the journal, notes, cards, readings, recordings. After an error what was written is worth nothing.
func (s *Store) ExportCar(ctx context.Context, carID int64, w io.Writer) (Exported, error) {
	b := newBundleWriter(w, carFormat)
	var facts Exported
	var names []string
	err := s.read(ctx, "export car", func(tx *sql.Tx) error {
		if err := carExists(ctx, tx, carID); err != nil {
			return err
		}
		if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM visit WHERE car = ?`, carID).Scan(&facts.Visits); err != nil {
			return err
		}
		err := each(ctx, tx, func(rows *sql.Rows) error {
			var name string
			err := rows.Scan(&name)
			names = append(names, name)
			return err
		}, `SELECT file FROM recording WHERE car = ? ORDER BY id`, carID)
		if err != nil {
			return err
		}
		return b.add(rowsName, func(w io.Writer) error { return writeRows(ctx, tx, carID, w) })
	})
	if err == nil {
		facts.Recordings, facts.Missing, err = addRecordings(ctx, b, s.recordingsFolder(), names)
	}
	if err == nil {
		err = b.close()
	}
	if err != nil {
		return Exported{}, s.fail(fmt.Sprintf("export car %d", carID), err)
	}
	return facts, nil
}

func writeRows(ctx context.Context, tx *sql.Tx, carID int64, w io.Writer) error {
	for i, p := range parts {
		opening := ",\n"
		if i == 0 {
			opening = "{\n"
		}
		if err := writeTable(ctx, tx, p, carID, opening, w); err != nil {
			return fmt.Errorf("table %s: %w", p.name, err)
		}
	}
	_, err := io.WriteString(w, "\n}\n")
	return err
}

func writeTable(ctx context.Context, tx *sql.Tx, p part, carID int64, opening string, w io.Writer) error {
	rows, err := tx.QueryContext(ctx, fmt.Sprintf("SELECT * FROM %s WHERE %s", p.name, p.ofCar()), carID)
	if err != nil {
		return err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return err
	}
	names, err := json.Marshal(columns)
	if err != nil {
		return err
	}
	if _, err := fmt.Fprintf(w, `%s%q: {"columns": %s, "rows": [`, opening, p.name, names); err != nil {
		return err
	}
	separator := "\n"
	for rows.Next() {
		row, err := scanRow(rows, len(columns))
		if err != nil {
			return err
		}
		cells := make([]cell, len(row))
		for i, v := range row {
			cells[i] = cell{v}
		}
		line, err := json.Marshal(cells)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(w, "%s%s", separator, line); err != nil {
			return err
		}
		separator = ",\n"
	}
	if err := rows.Err(); err != nil {
		return err
	}
	_, err = io.WriteString(w, "]}")
	return err
}

func scanRow(rows *sql.Rows, columns int) ([]any, error) {
	row, into := make([]any, columns), make([]any, columns)
	for i := range row {
		into[i] = &row[i]
	}
	err := rows.Scan(into...)
	for i, v := range row {
		if b, ok := v.([]byte); ok {
			row[i] = blob(b)
		}
	}
	return row, err
}

// cell is one stored value as JSON: null, a whole number, a number, a text, or an object that says what it is.
type cell struct{ v any }

type oddCell struct {
	Bytes *Hex   `json:"bytes,omitempty"`
	Text  *Hex   `json:"text,omitempty"` // a text that is not UTF-8
	Real  string `json:"real,omitempty"` // a number that JSON has no digits for, or no way to tell from a whole one
}

func (c cell) MarshalJSON() ([]byte, error) {
	switch v := c.v.(type) {
	case nil, int64:
		return json.Marshal(v)
	case float64:
		if v == math.Trunc(v) || math.IsInf(v, 0) || math.IsNaN(v) {
			return json.Marshal(oddCell{Real: strconv.FormatFloat(v, 'g', -1, 64)})
		}
		return json.Marshal(v)
	case string:
		if !utf8.ValidString(v) {
			h := Hex(v)
			return json.Marshal(oddCell{Text: &h})
		}
		return json.Marshal(v)
	case []byte:
		h := Hex(v)
		return json.Marshal(oddCell{Bytes: &h})
	}
	return nil, fmt.Errorf("a value is stored as %T", c.v)
}

var errCell = errors.New("not a value of a store")

func (c *cell) UnmarshalJSON(b []byte) error {
	switch b[0] {
	case 'n':
		c.v = nil
		return nil
	case '"':
		var s string
		err := json.Unmarshal(b, &s)
		c.v = s
		return err
	case '{':
		var o oddCell
		if err := json.Unmarshal(b, &o); err != nil {
			return err
		}
		return c.odd(o)
	}
	if n, err := strconv.ParseInt(string(b), 10, 64); err == nil {
		c.v = n
		return nil
	}
	f, err := strconv.ParseFloat(string(b), 64)
	if err != nil || !strings.ContainsAny(string(b), ".eE") {
		return errCell
	}
	c.v = f
	return nil
}

func (c *cell) odd(o oddCell) error {
	switch {
	case o.Bytes != nil && o.Text == nil && o.Real == "":
		c.v = blob(*o.Bytes)
	case o.Text != nil && o.Bytes == nil && o.Real == "":
		c.v = string(*o.Text)
	case o.Real != "" && o.Bytes == nil && o.Text == nil:
		f, err := strconv.ParseFloat(o.Real, 64)
		if err != nil {
			return errCell
		}
		c.v = f
	default:
		return errCell
	}
	return nil
}
