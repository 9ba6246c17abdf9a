package garage

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// ProofStep is one reading that is to be taken after a change, to tell whether it has lasted.
type ProofStep struct {
	ID    int64     `json:"id"`
	Entry int64     `json:"entry"` // row of the journal
	CarID int64     `json:"carId"`
	Step  string    `json:"step"` // "R1" to "R6"
	Due   time.Time `json:"due"`
	Visit int64     `json:"visit"` // the reading that was taken, 0 when none was
	Done  time.Time `json:"done"`  // zero while it is open
	Left  bool      `json:"left"`  // the owner has left it out
}

// Open tells whether the step is still to be done.
func (p ProofStep) Open() bool { return p.Done.IsZero() && !p.Left }

const proofColumns = `p.id, p.entry, j.car, p.step, p.due, coalesce(p.visit, 0), p.done, p.left_out`

func scanProof(row scanner) (p ProofStep, err error) {
	err = row.Scan(&p.ID, &p.Entry, &p.CarID, &p.Step, moment{&p.Due}, &p.Visit, moment{&p.Done}, &p.Left)
	return p, err
}

// PlanProof writes the steps that follow a change. Steps that are there already stay as they are.
func (s *Store) PlanProof(ctx context.Context, entryID int64, steps []ProofStep) error {
	for _, p := range steps {
		if err := representable("garage: plan proof", p.Due); err != nil {
			return err
		}
	}
	return s.write(ctx, "plan proof", func(tx *sql.Tx) error {
		if _, err := entry(ctx, tx, entryID); err != nil {
			return err
		}
		for _, p := range steps {
			if _, err := tx.ExecContext(ctx, `INSERT INTO proof (entry, step, due, left_out) VALUES (?, ?, ?, 0) ON CONFLICT DO NOTHING`, entryID, p.Step, nanos(p.Due)); err != nil {
				return err
			}
		}
		return nil
	})
}

// ProofDone notes the reading that was taken for a step.
func (s *Store) ProofDone(ctx context.Context, id, visitID int64, at time.Time) error {
	if err := representable("garage: proof done", at); err != nil {
		return err
	}
	return s.write(ctx, "proof done", func(tx *sql.Tx) error {
		p, err := proofStep(ctx, tx, id)
		if err != nil {
			return err
		}
		if err := visitOf(ctx, tx, visitID, p.CarID); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE proof SET visit = ?, done = ?, left_out = 0 WHERE id = ?`, visitID, nanos(at), id)
		return err
	})
}

// LeaveProof notes that the owner leaves a step out.
func (s *Store) LeaveProof(ctx context.Context, id int64) error {
	return s.write(ctx, "leave proof step", func(tx *sql.Tx) error {
		if _, err := proofStep(ctx, tx, id); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `UPDATE proof SET left_out = 1 WHERE id = ?`, id)
		return err
	})
}

func proofStep(ctx context.Context, tx *sql.Tx, id int64) (ProofStep, error) {
	p, err := scanProof(tx.QueryRowContext(ctx, `SELECT `+proofColumns+` FROM proof p JOIN journal j ON j.id = p.entry WHERE p.id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return ProofStep{}, fmt.Errorf("step %d: %w", id, ErrNotFound)
	}
	return p, err
}

// Proof are the steps after one change, in their order.
func (s *Store) Proof(ctx context.Context, entryID int64) ([]ProofStep, error) {
	return s.proofs(ctx, "list proof", `SELECT `+proofColumns+` FROM proof p JOIN journal j ON j.id = p.entry WHERE p.entry = ? ORDER BY p.due, p.id`, entryID)
}

// DueProof are the open steps of all cars that were due at a time, the one due longest first.
func (s *Store) DueProof(ctx context.Context, now time.Time) ([]ProofStep, error) {
	return s.proofs(ctx, "list due proof", `SELECT `+proofColumns+` FROM proof p JOIN journal j ON j.id = p.entry
		WHERE p.done IS NULL AND p.left_out = 0 AND p.due <= ? ORDER BY p.due, p.id`, nanos(now))
}

func (s *Store) proofs(ctx context.Context, op, query string, args ...any) ([]ProofStep, error) {
	out := []ProofStep{}
	err := s.read(ctx, op, func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			p, err := scanProof(rows)
			out = append(out, p)
			return err
		}, query, args...)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}
