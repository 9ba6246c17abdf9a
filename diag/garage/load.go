package garage

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"

	"readback/diag/link"
)

// Visit is a saved visit with its whole tree. The error wraps [ErrNotFound] when there is none of this number; it is an
// [*AlteredError], beside the visit as it is, when the visit no longer has the checksum it was saved with.
func (s *Store) Visit(ctx context.Context, id int64) (Visit, error) {
	var v Visit
	err := s.read(ctx, "read visit", func(tx *sql.Tx) (err error) {
		v, err = loadVisit(ctx, tx, id)
		return err
	})
	var altered *AlteredError
	if err != nil && !errors.As(err, &altered) {
		return Visit{}, err
	}
	return v, err
}

// LastVisit is the visit of a car that was saved last; ok is false when there is none.
func (s *Store) LastVisit(ctx context.Context, carID int64) (v Visit, ok bool, err error) {
	err = s.read(ctx, "read last visit", func(tx *sql.Tx) error {
		var id int64
		err := tx.QueryRowContext(ctx, `SELECT id FROM visit WHERE car = ? ORDER BY id DESC LIMIT 1`, carID).Scan(&id)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		if err != nil {
			return err
		}
		v, err = loadVisit(ctx, tx, id)
		ok = true
		return err
	})
	var altered *AlteredError
	if err != nil && !errors.As(err, &altered) {
		return Visit{}, false, err
	}
	return v, ok, err
}

func loadVisit(ctx context.Context, tx *sql.Tx, id int64) (Visit, error) {
	v := Visit{Modules: []Module{}}
	var sum []byte
	var sealed int64
	err := tx.QueryRowContext(ctx, `SELECT id, car, kind, begun, ended, complete, place, adapter, practice, supply, odometer, checksum, coalesce(sealed, car)
		FROM visit WHERE id = ?`, id).Scan(&v.ID, &v.CarID, &v.Kind, moment{&v.Begun}, moment{&v.Ended}, &v.Complete, &v.Place, &v.Adapter,
		&v.Practice, &v.Supply, &v.Odometer, &sum, &sealed)
	if errors.Is(err, sql.ErrNoRows) {
		return Visit{}, fmt.Errorf("visit %d: %w", id, ErrNotFound)
	}
	if err != nil {
		return Visit{}, err
	}
	t := tree{ctx: ctx, tx: tx, visit: id}
	for _, load := range []func(*Visit) error{t.modules, t.identification, t.codes, t.snapshots, t.values, t.extended} {
		if err := load(&v); err != nil {
			return Visit{}, err
		}
	}
	saved := v
	saved.CarID = sealed
	if is := checksum(saved); !bytes.Equal(is[:], sum) {
		return v, &AlteredError{Visit: id}
	}
	return v, nil
}

// tree reads the parts of one visit, each with one query, whose rows are all read into the same place. Rows come in the order
// of the parts before them, so that one step through the tree finds the owner of each.
type tree struct {
	ctx   context.Context
	tx    *sql.Tx
	visit int64

	codeAt     map[int64][2]int // code -> module and place
	snapshotAt map[int64][3]int // snapshot -> module, code and place
	moduleAt   map[int64]int
}

func (t *tree) each(scan func(*sql.Rows) error, query string) error {
	return each(t.ctx, t.tx, scan, query, t.visit)
}

const moduleColumns = `m.id, m.name, m.name_source, m.mode, m.ask, m.reply, m.functional, m.target, m.source, m.request, m.answer,
	m.protocol, m.safety, m.answered, m.refusal, m.availability, m.codes_read`

func scanModule(row scanner) (m Module, err error) {
	a := &m.Address
	err = row.Scan(&m.ID, &m.Name, &m.NameSource, &a.Mode, identifier{&a.Request}, identifier{&a.Answer}, &a.Functional, &a.Target, &a.Source,
		identifier{&m.Request}, identifier{&m.Answer}, &m.Protocol, &m.Safety, &m.Answered, &m.Refusal, &m.Availability, &m.CodesRead)
	m.Identification, m.Codes = map[string]string{}, []CodeRecord{}
	return m, err
}

func (t *tree) modules(v *Visit) error {
	t.moduleAt = map[int64]int{}
	return t.each(func(rows *sql.Rows) error {
		m, err := scanModule(rows)
		t.moduleAt[m.ID] = len(v.Modules)
		v.Modules = append(v.Modules, m)
		return err
	}, `SELECT `+moduleColumns+` FROM module m WHERE m.visit = ? ORDER BY m.place, m.id`)
}

func (t *tree) identification(v *Visit) error {
	return t.each(func(rows *sql.Rows) error {
		var module int64
		var key, value string
		if err := rows.Scan(&module, &key, &value); err != nil {
			return err
		}
		i, ok := t.moduleAt[module]
		if !ok {
			return errLoose
		}
		v.Modules[i].Identification[key] = value
		return nil
	}, `SELECT i.module, i.identifier, i.value FROM identification i JOIN module m ON m.id = i.module WHERE m.visit = ?`)
}

var errLoose = errors.New("a row belongs to nothing")

func (t *tree) codes(v *Visit) error {
	t.codeAt = map[int64][2]int{}
	c := CodeRecord{Snapshots: []Snapshot{}, Extended: []Extended{}}
	var module int64
	into := []any{&c.ID, &module, troubleCode{&c.Code}, &c.Raw, &c.Status, textList{&c.Lists}, &c.Severity}
	return t.each(func(rows *sql.Rows) error {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		i, ok := t.moduleAt[module]
		if !ok {
			return errLoose
		}
		t.codeAt[c.ID] = [2]int{i, len(v.Modules[i].Codes)}
		v.Modules[i].Codes = append(v.Modules[i].Codes, c)
		return nil
	}, `SELECT c.id, c.module, c.code, c.raw, c.status, c.lists, c.severity FROM code c JOIN module m ON m.id = c.module
		WHERE m.visit = ? ORDER BY m.place, c.place, c.id`)
}

func (t *tree) code(v *Visit, id int64) (*CodeRecord, error) {
	at, ok := t.codeAt[id]
	if !ok {
		return nil, errLoose
	}
	return &v.Modules[at[0]].Codes[at[1]], nil
}

func (t *tree) snapshots(v *Visit) error {
	t.snapshotAt = map[int64][3]int{}
	n := Snapshot{Values: []Value{}}
	var id, code int64
	into := []any{&id, &code, &n.Record, &n.Raw}
	return t.each(func(rows *sql.Rows) error {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		c, err := t.code(v, code)
		if err != nil {
			return err
		}
		at := t.codeAt[code]
		t.snapshotAt[id] = [3]int{at[0], at[1], len(c.Snapshots)}
		c.Snapshots = append(c.Snapshots, n)
		return nil
	}, `SELECT s.id, s.code, s.record, s.raw FROM snapshot s JOIN code c ON c.id = s.code JOIN module m ON m.id = c.module
		WHERE m.visit = ? ORDER BY m.place, c.place, s.place, s.id`)
}

func (t *tree) values(v *Visit) error {
	var snapshot int64
	var x Value
	into := []any{&snapshot, &x.Identifier, &x.Name, &x.Text, &x.Raw}
	return t.each(func(rows *sql.Rows) error {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		at, ok := t.snapshotAt[snapshot]
		if !ok {
			return errLoose
		}
		n := &v.Modules[at[0]].Codes[at[1]].Snapshots[at[2]]
		n.Values = append(n.Values, x)
		return nil
	}, `SELECT x.snapshot, x.identifier, x.name, x.text, x.raw FROM value x JOIN snapshot s ON s.id = x.snapshot
		JOIN code c ON c.id = s.code JOIN module m ON m.id = c.module WHERE m.visit = ? ORDER BY x.snapshot, x.place`)
}

func (t *tree) extended(v *Visit) error {
	var code int64
	var e Extended
	into := []any{&code, &e.Record, &e.Name, &e.Text, &e.Raw}
	return t.each(func(rows *sql.Rows) error {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		c, err := t.code(v, code)
		if err == nil {
			c.Extended = append(c.Extended, e)
		}
		return err
	}, `SELECT e.code, e.record, e.name, e.text, e.raw FROM extended e JOIN code c ON c.id = e.code JOIN module m ON m.id = c.module
		WHERE m.visit = ? ORDER BY e.code, e.place`)
}

// Modules are the modules that answered in some visit of the car, each as the newest of those visits found it, without
// its codes, and under the owner's own name where there is one. They come in the order of the visits, newest first; those
// whose answers only ever arrived damaged come last.
func (s *Store) Modules(ctx context.Context, carID int64) ([]Module, error) {
	known := []Module{}
	err := s.read(ctx, "list known modules", func(tx *sql.Tx) error {
		seen := map[link.Address]int{}
		err := each(ctx, tx, func(rows *sql.Rows) error {
			m, err := scanModule(rows)
			if _, twice := seen[m.Address]; !twice {
				seen[m.Address] = len(known)
				known = append(known, m)
			}
			return err
		}, `SELECT `+moduleColumns+` FROM module m JOIN visit v ON v.id = m.visit WHERE v.car = ? AND m.answered IN (?, ?)
			ORDER BY m.answered = ? DESC, v.id DESC, m.place, m.id`, carID, string(Yes), string(Damaged), string(Yes))
		if err != nil {
			return err
		}
		at := map[int64]int{}
		for i, m := range known {
			at[m.ID] = i
		}
		err = each(ctx, tx, func(rows *sql.Rows) error {
			var module int64
			var key, value string
			err := rows.Scan(&module, &key, &value)
			if i, ok := at[module]; ok {
				known[i].Identification[key] = value
			}
			return err
		}, `SELECT i.module, i.identifier, i.value FROM identification i JOIN module m ON m.id = i.module JOIN visit v ON v.id = m.visit
			WHERE v.car = ? AND m.answered = ?`, carID, string(Yes))
		if err != nil {
			return err
		}
		return each(ctx, tx, func(rows *sql.Rows) error {
			var request, answer link.ID
			var target, source uint8
			var name string
			err := rows.Scan(identifier{&request}, identifier{&answer}, &target, &source, &name)
			for i := range known {
				if a := known[i].Address; a.Request == request && a.Answer == answer && a.Target == target && a.Source == source {
					known[i].Name, known[i].NameSource = name, "by you"
				}
			}
			return err
		}, `SELECT request, answer, target, source, name FROM given_name WHERE car = ?`, carID)
	})
	if err != nil {
		return nil, err
	}
	return known, nil
}
