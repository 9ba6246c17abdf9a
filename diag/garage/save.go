package garage

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
)

// SaveVisit saves a visit with its whole tree in one transaction, and returns it with its numbers. A saved visit is
// never changed: the visit's ID must be zero.
func (s *Store) SaveVisit(ctx context.Context, v Visit) (Visit, error) {
	if v.ID != 0 {
		return Visit{}, fmt.Errorf("garage: save visit: visit %d is saved already and is never changed", v.ID)
	}
	if err := representable("garage: save visit", v.Begun, v.Ended); err != nil {
		return Visit{}, err
	}
	v = settled(v)
	sum := checksum(v)
	err := s.write(ctx, "save visit", func(tx *sql.Tx) error {
		if err := sameKind(ctx, tx, v.CarID, v.Practice); err != nil {
			return err
		}
		w, err := newTreeWriter(ctx, tx)
		if err != nil {
			return err
		}
		defer w.close()
		return w.visit(&v, sum[:])
	})
	if err != nil {
		return Visit{}, err
	}
	return v, nil
}

// settled is a copy of a visit as it will be read again: times by the calendar and in UTC, lists not nil. Its modules, codes
// and records are its own and may get numbers; their bytes are the caller's.
func settled(v Visit) Visit {
	v.Begun, v.Ended = v.Begun.UTC(), v.Ended.UTC()
	v.Modules = append(make([]Module, 0, len(v.Modules)), v.Modules...)
	for i := range v.Modules {
		m := &v.Modules[i]
		if m.Identification = maps.Clone(m.Identification); m.Identification == nil {
			m.Identification = map[string]string{}
		}
		m.Codes = append(make([]CodeRecord, 0, len(m.Codes)), m.Codes...)
		for j := range m.Codes {
			c := &m.Codes[j]
			c.Snapshots = append(make([]Snapshot, 0, len(c.Snapshots)), c.Snapshots...)
			c.Extended = append(make([]Extended, 0, len(c.Extended)), c.Extended...)
			for k := range c.Snapshots {
				n := &c.Snapshots[k]
				n.Values = append(make([]Value, 0, len(n.Values)), n.Values...)
			}
		}
	}
	return v
}

// treeWriter holds the statements that save one visit.
type treeWriter struct {
	ctx                                                           context.Context
	row                                                           context.Context // for a single row
	tx                                                            *sql.Tx
	module, identification, code, snapshot, value, extendedRecord *sql.Stmt
}

// newTreeWriter prepares the statements. The driver watches a context that may end in a goroutine for each row, which takes
// as long as writing the row; so whether the context has ended is asked between the rows.
func newTreeWriter(ctx context.Context, tx *sql.Tx) (*treeWriter, error) {
	w := &treeWriter{ctx: ctx, row: context.WithoutCancel(ctx), tx: tx}
	for _, p := range []struct {
		stmt **sql.Stmt
		sql  string
	}{
		{&w.module, `INSERT INTO module (visit, place, name, name_source, mode, ask, reply, functional, target, source, request, answer,
			protocol, safety, answered, refusal, availability, codes_read) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`},
		{&w.identification, `INSERT INTO identification (module, identifier, value) VALUES (?, ?, ?)`},
		{&w.code, `INSERT INTO code (module, place, code, raw, status, lists, severity) VALUES (?, ?, ?, ?, ?, ?, ?)`},
		{&w.snapshot, `INSERT INTO snapshot (code, place, record, raw) VALUES (?, ?, ?, ?)`},
		{&w.value, `INSERT INTO value (snapshot, place, identifier, name, text, raw) VALUES (?, ?, ?, ?, ?, ?)`},
		{&w.extendedRecord, `INSERT INTO extended (code, place, record, name, text, raw) VALUES (?, ?, ?, ?, ?, ?)`},
	} {
		stmt, err := tx.PrepareContext(ctx, p.sql)
		if err != nil {
			w.close()
			return nil, err
		}
		*p.stmt = stmt
	}
	return w, nil
}

func (w *treeWriter) close() {
	for _, stmt := range []*sql.Stmt{w.module, w.identification, w.code, w.snapshot, w.value, w.extendedRecord} {
		if stmt != nil {
			stmt.Close()
		}
	}
}

// exec runs a statement for one row.
func (w *treeWriter) exec(stmt *sql.Stmt, args ...any) (sql.Result, error) {
	if err := w.ctx.Err(); err != nil {
		return nil, err
	}
	r, err := stmt.ExecContext(w.row, args...)
	if err != nil && w.ctx.Err() != nil { // the transaction has been undone under it
		return nil, w.ctx.Err()
	}
	return r, err
}

// insert is exec, and returns the number of the new row.
func (w *treeWriter) insert(stmt *sql.Stmt, args ...any) (int64, error) {
	r, err := w.exec(stmt, args...)
	if err != nil {
		return 0, err
	}
	return r.LastInsertId()
}

func (w *treeWriter) visit(v *Visit, sum []byte) error {
	r, err := w.tx.ExecContext(w.ctx, `INSERT INTO visit (car, kind, begun, ended, complete, place, adapter, practice, supply, odometer, checksum)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		v.CarID, string(v.Kind), nanos(v.Begun), nanos(v.Ended), v.Complete, v.Place, v.Adapter, v.Practice, v.Supply, v.Odometer, sum)
	if err != nil {
		return err
	}
	if v.ID, err = r.LastInsertId(); err != nil {
		return err
	}
	for i := range v.Modules {
		if err := w.oneModule(v.ID, i, &v.Modules[i]); err != nil {
			return fmt.Errorf("module %s: %w", v.Modules[i].Address, err)
		}
	}
	return nil
}

func (w *treeWriter) oneModule(visit int64, place int, m *Module) (err error) {
	a := m.Address
	m.ID, err = w.insert(w.module, visit, place, m.Name, m.NameSource, a.Mode, idText(a.Request), idText(a.Answer), a.Functional, a.Target, a.Source,
		idText(m.Request), idText(m.Answer), m.Protocol, m.Safety, string(m.Answered), m.Refusal, m.Availability, string(m.CodesRead))
	if err != nil {
		return err
	}
	for _, identifier := range slices.Sorted(maps.Keys(m.Identification)) {
		if _, err := w.exec(w.identification, m.ID, identifier, m.Identification[identifier]); err != nil {
			return err
		}
	}
	for i := range m.Codes {
		if err := w.oneCode(m.ID, i, &m.Codes[i]); err != nil {
			return err
		}
	}
	return nil
}

func (w *treeWriter) oneCode(module int64, place int, c *CodeRecord) error {
	lists, err := texts(c.Lists)
	if err != nil {
		return err
	}
	if c.ID, err = w.insert(w.code, module, place, blob(c.Code.Bytes()), blob(c.Raw), c.Status, lists, c.Severity); err != nil {
		return err
	}
	for i, n := range c.Snapshots {
		id, err := w.insert(w.snapshot, c.ID, i, n.Record, blob(n.Raw))
		if err != nil {
			return err
		}
		for j, v := range n.Values {
			if _, err := w.exec(w.value, id, j, v.Identifier, v.Name, v.Text, blob(v.Raw)); err != nil {
				return err
			}
		}
	}
	for i, e := range c.Extended {
		if _, err := w.exec(w.extendedRecord, c.ID, i, e.Record, e.Name, e.Text, blob(e.Raw)); err != nil {
			return err
		}
	}
	return nil
}
