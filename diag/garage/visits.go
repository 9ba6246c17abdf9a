package garage

import (
	"context"
	"database/sql"
	"slices"

	"readback/diag/dtc"
	"readback/diag/link"
)

// Visits are the visits of a car, newest first.
func (s *Store) Visits(ctx context.Context, carID int64) ([]Summary, error) {
	list := []Summary{}
	err := s.read(ctx, "list visits", func(tx *sql.Tx) (err error) {
		list, err = summaries(ctx, tx, carID, `DESC`)
		return err
	})
	if err != nil {
		return nil, err
	}
	return list, nil
}

// summaries counts in one pass over the car's modules and codes. order is ASC or DESC.
func summaries(ctx context.Context, tx *sql.Tx, carID int64, order string) ([]Summary, error) {
	list := []Summary{}
	at := map[int64]int{}
	err := each(ctx, tx, func(rows *sql.Rows) error {
		var v Summary
		err := rows.Scan(&v.ID, &v.CarID, &v.Kind, moment{&v.Begun}, moment{&v.Ended}, &v.Complete, &v.Practice, &v.Supply, &v.Modules, &v.Silent)
		at[v.ID] = len(list)
		list = append(list, v)
		return err
	}, `SELECT v.id, v.car, v.kind, v.begun, v.ended, v.complete, v.practice, v.supply,
			count(*) FILTER (WHERE m.answered = 'yes'), count(*) FILTER (WHERE m.answered = 'silent')
		FROM visit v LEFT JOIN module m ON m.visit = v.id WHERE v.car = ? GROUP BY v.id ORDER BY v.id `+order, carID)
	if err != nil {
		return nil, err
	}
	err = each(ctx, tx, func(rows *sql.Rows) error {
		var visit int64
		var status, availability *dtc.Status
		var n int
		if err := rows.Scan(&visit, &status, &availability, &n); err != nil {
			return err
		}
		v := &list[at[visit]]
		present, now := judge(status, availability)
		if present {
			v.Codes += n
		}
		if now {
			v.Now += n
		}
		return nil
	}, `SELECT m.visit, c.status, m.availability, count(*) FROM code c JOIN module m ON m.id = c.module JOIN visit v ON v.id = m.visit
		WHERE v.car = ? GROUP BY m.visit, c.status, m.availability`, carID)
	return list, err
}

// CodeHistory is what every visit of a car says of every code that was ever a fault in it. Codes come in the order in
// which they were first seen.
func (s *Store) CodeHistory(ctx context.Context, carID int64) (History, error) {
	h := History{Visits: []Summary{}, Codes: []CodeLine{}}
	err := s.read(ctx, "read code history", func(tx *sql.Tx) (err error) {
		if h.Visits, err = summaries(ctx, tx, carID, `ASC`); err != nil {
			return err
		}
		h.Codes, err = codeLines(ctx, tx, carID, h.Visits)
		return err
	})
	if err != nil {
		return History{}, err
	}
	return h, nil
}

// lineKey is one code of one module; moduleKey one module in one visit.
type lineKey struct {
	address link.Address
	code    dtc.Code
}

type moduleKey struct {
	address link.Address
	visit   int
}

func codeLines(ctx context.Context, tx *sql.Tx, carID int64, visits []Summary) ([]CodeLine, error) {
	place := map[int64]int{}
	for i, v := range visits {
		place[v.ID] = i
	}
	read := map[moduleKey]Answered{}
	way := map[moduleKey]string{}
	names := map[link.Address]string{}
	owner := map[int64]moduleKey{}
	availability := map[int64]*dtc.Status{}
	err := each(ctx, tx, func(rows *sql.Rows) error {
		var visit int64
		var m Module
		a := &m.Address
		if err := rows.Scan(&visit, &m.ID, &m.Name, &a.Mode, identifier{&a.Request}, identifier{&a.Answer}, &a.Functional, &a.Target, &a.Source,
			&m.CodesRead, &m.Availability, &m.Protocol); err != nil {
			return err
		}
		k := moduleKey{*a, place[visit]}
		read[k], way[k], owner[m.ID], availability[m.ID] = m.CodesRead, m.Protocol, k, m.Availability
		if m.Name != "" {
			names[*a] = m.Name
		}
		return nil
	}, `SELECT m.visit, m.id, m.name, m.mode, m.ask, m.reply, m.functional, m.target, m.source, m.codes_read, m.availability, m.protocol
		FROM module m JOIN visit v ON v.id = m.visit WHERE v.car = ? ORDER BY m.visit, m.place`, carID)
	if err != nil {
		return nil, err
	}

	lines := []CodeLine{}
	at := map[lineKey]int{}
	ways := map[lineKey][]string{}
	err = each(ctx, tx, func(rows *sql.Rows) error {
		var module int64
		var c CodeRecord
		if err := rows.Scan(&module, troubleCode{&c.Code}, &c.Status, textList{&c.Lists}); err != nil {
			return err
		}
		m := owner[module]
		k := lineKey{m.address, c.Code}
		i, known := at[k]
		if !known {
			i = len(lines)
			at[k] = i
			lines = append(lines, CodeLine{Module: names[m.address], Address: m.address, Code: c.Code, Marks: emptyMarks(m.address, read, len(visits))})
		}
		ways[k] = append(ways[k], way[m])
		mark := &lines[i].Marks[m.visit]
		mark.Listed, mark.Status, mark.Lists = true, c.Status, c.Lists
		mark.Present, mark.Now = judge(c.Status, availability[module])
		return nil
	}, `SELECT c.module, c.code, c.status, c.lists FROM code c JOIN module m ON m.id = c.module JOIN visit v ON v.id = m.visit
		WHERE v.car = ? ORDER BY m.visit, m.place, c.place`, carID)
	if err != nil {
		return nil, err
	}
	for i, l := range lines {
		for n := range l.Marks {
			// A list by other services names codes in another form, and fewer of them: it can't say that this one was absent.
			if mark := &lines[i].Marks[n]; mark.Read == Yes && !slices.Contains(ways[lineKey{l.Address, l.Code}], way[moduleKey{l.Address, n}]) {
				mark.Read = NotAsked
			}
		}
	}
	return onceFaults(lines), nil
}

// emptyMarks says for each visit whether the module's codes were read.
func emptyMarks(a link.Address, read map[moduleKey]Answered, visits int) []Mark {
	marks := make([]Mark, visits)
	for i := range marks {
		marks[i].Read = NotAsked
		if r, ok := read[moduleKey{a, i}]; ok {
			marks[i].Read = r
		}
	}
	return marks
}

// onceFaults keeps the codes that were a fault in some visit; a module may list hundreds that were never tested.
func onceFaults(lines []CodeLine) []CodeLine {
	kept := lines[:0]
	for _, l := range lines {
		for _, m := range l.Marks {
			if m.Present {
				kept = append(kept, l)
				break
			}
		}
	}
	return kept
}
