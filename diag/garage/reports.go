package garage

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// Report is one report that was written, in the chain of the car's reports.
type Report struct {
	ID       int64     `json:"id"`
	CarID    int64     `json:"carId"`
	Visit    int64     `json:"visit"`
	Made     time.Time `json:"made"`
	Form     string    `json:"form"`     // "html" or "pdf"
	Shared   bool      `json:"shared"`   // with what names the owner or the car taken out
	Digest   Hex       `json:"digest"`   // SHA-256 of the file
	Previous Hex       `json:"previous"` // digest of the report before it, nil for the first
}

// LastReport is the newest report of a car; false when there is none.
func (s *Store) LastReport(ctx context.Context, carID int64) (Report, bool, error) {
	all, err := s.reports(ctx, `SELECT id, car, visit, made, form, shared, digest, previous FROM report WHERE car = ? ORDER BY id DESC LIMIT 1`, carID)
	if err != nil || len(all) == 0 {
		return Report{}, false, err
	}
	return all[0], true, nil
}

// Reports are the reports of a car, newest first.
func (s *Store) Reports(ctx context.Context, carID int64) ([]Report, error) {
	return s.reports(ctx, `SELECT id, car, visit, made, form, shared, digest, previous FROM report WHERE car = ? ORDER BY id DESC`, carID)
}

func (s *Store) reports(ctx context.Context, query string, carID int64) ([]Report, error) {
	out := []Report{}
	err := s.read(ctx, "list reports", func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			var r Report
			err := rows.Scan(&r.ID, &r.CarID, &r.Visit, moment{&r.Made}, &r.Form, &r.Shared, (*[]byte)(&r.Digest), (*[]byte)(&r.Previous))
			out = append(out, r)
			return err
		}, query, carID)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// PutReport adds a report to the chain of a car. Previous must be the digest of the newest one: another report that
// was written meanwhile makes the error [ErrChain].
func (s *Store) PutReport(ctx context.Context, r Report) (Report, error) {
	if err := representable("garage: put report", r.Made); err != nil {
		return Report{}, err
	}
	r.Made = r.Made.UTC()
	err := s.write(ctx, "put report", func(tx *sql.Tx) error {
		if err := carExists(ctx, tx, r.CarID); err != nil {
			return err
		}
		if err := visitOf(ctx, tx, r.Visit, r.CarID); err != nil {
			return err
		}
		var last []byte
		err := tx.QueryRowContext(ctx, `SELECT digest FROM report WHERE car = ? ORDER BY id DESC LIMIT 1`, r.CarID).Scan(&last)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if string(last) != string(r.Previous) {
			return ErrChain
		}
		return tx.QueryRowContext(ctx, `INSERT INTO report (car, visit, made, form, shared, digest, previous) VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING id`,
			r.CarID, r.Visit, nanos(r.Made), r.Form, r.Shared, []byte(r.Digest), []byte(r.Previous)).Scan(&r.ID)
	})
	if err != nil {
		return Report{}, err
	}
	return r, nil
}
