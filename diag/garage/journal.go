package garage

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

const entryColumns = `id, car, coalesce(before, 0), coalesce(read_back, 0), place, request, summary, words, latches, begun, ended, outcome, answers, seen`

func scanEntry(row scanner) (e Entry, err error) {
	err = row.Scan(&e.ID, &e.CarID, &e.Before, &e.ReadBack, &e.Place, &e.Request, &e.Summary, &e.Words, &e.Latches,
		moment{&e.Begun}, moment{&e.Ended}, &e.Outcome, textList{&e.Answers}, &e.Seen)
	if e.Answers == nil {
		e.Answers = []string{}
	}
	return e, err
}

// Begin writes a change into the journal before it is sent. It returns only when the row is on the disk; on an error
// nothing may be sent. The outcome is [Planned] whatever e says; Begun is now when it is zero.
func (s *Store) Begin(ctx context.Context, e Entry) (Entry, error) {
	switch {
	case e.ID != 0:
		return Entry{}, fmt.Errorf("garage: begin: entry %d is in the journal already", e.ID)
	case e.Request == "":
		return Entry{}, errors.New("garage: begin: an entry without a request")
	case e.Begun.IsZero():
		e.Begun = time.Now()
	}
	if err := representable("garage: begin", e.Begun); err != nil {
		return Entry{}, err
	}
	e.Begun, e.Ended = e.Begun.UTC(), time.Time{}
	e.Outcome, e.Answers, e.ReadBack, e.Seen = Planned, []string{}, 0, false
	err := s.write(ctx, "begin", func(tx *sql.Tx) error {
		if err := carExists(ctx, tx, e.CarID); err != nil {
			return err
		}
		if err := visitOf(ctx, tx, e.Before, e.CarID); err != nil {
			return err
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO journal (car, before, place, request, summary, words, latches, begun, outcome, answers, seen, holder)
			VALUES (?, nullif(?, 0), ?, ?, ?, ?, ?, ?, ?, '[]', 0, ?)`,
			e.CarID, e.Before, e.Place, e.Request, e.Summary, e.Words, e.Latches, nanos(e.Begun), string(Planned), s.lease.token)
		if err != nil {
			return err
		}
		e.ID, err = r.LastInsertId()
		return err
	})
	if err != nil {
		return Entry{}, err
	}
	return e, nil
}

// visitOf checks that a visit, where one is named, is a visit of this car.
func visitOf(ctx context.Context, tx *sql.Tx, visit, car int64) error {
	if visit == 0 {
		return nil
	}
	var of int64
	err := tx.QueryRowContext(ctx, `SELECT car FROM visit WHERE id = ?`, visit).Scan(&of)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return fmt.Errorf("visit %d: %w", visit, ErrNotFound)
	case err != nil:
		return err
	case of != car:
		return fmt.Errorf("visit %d is a visit of car %d, not of car %d", visit, of, car)
	}
	return nil
}

// Finish writes what became of a change, once. An entry that was taken for [Unknown] may still get its outcome.
// [NeverSent] is for a change that is known not to have left, no less. The error is [ErrFinished] when the entry has
// its outcome.
func (s *Store) Finish(ctx context.Context, id int64, o Outcome, answers []string, ended time.Time) error {
	switch o {
	case NeverSent, Accepted, Declined, NoAnswer, Unknown:
	default:
		return fmt.Errorf("garage: finish entry %d: %q is not an outcome", id, o)
	}
	if err := representable("garage: finish", ended); err != nil {
		return err
	}
	list, err := texts(answers)
	if err != nil {
		return fmt.Errorf("garage: finish entry %d: %w", id, err)
	}
	return s.write(ctx, "finish", func(tx *sql.Tx) error {
		e, err := entry(ctx, tx, id)
		switch {
		case err != nil:
			return err
		case e.Outcome != Planned && e.Outcome != Unknown:
			return fmt.Errorf("entry %d (%s): %w", id, e.Outcome, ErrFinished)
		}
		_, err = tx.ExecContext(ctx, `UPDATE journal SET outcome = ?, answers = ?, ended = ?, holder = '' WHERE id = ?`, string(o), list, nanos(ended), id)
		return err
	})
}

func entry(ctx context.Context, tx *sql.Tx, id int64) (Entry, error) {
	e, err := scanEntry(tx.QueryRowContext(ctx, `SELECT `+entryColumns+` FROM journal WHERE id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return Entry{}, fmt.Errorf("entry %d: %w", id, ErrNotFound)
	}
	return e, err
}

// LinkReadBack names the visit that read the car again after a change.
func (s *Store) LinkReadBack(ctx context.Context, id, visitID int64) error {
	return s.write(ctx, "link read-back", func(tx *sql.Tx) error {
		e, err := entry(ctx, tx, id)
		if err != nil {
			return err
		}
		if err := visitOf(ctx, tx, visitID, e.CarID); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE journal SET read_back = nullif(?, 0) WHERE id = ?`, visitID, id)
		return err
	})
}

// MarkSeen notes that the owner has been told of an entry.
func (s *Store) MarkSeen(ctx context.Context, id int64) error {
	return s.write(ctx, "mark seen", func(tx *sql.Tx) error {
		if _, err := entry(ctx, tx, id); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `UPDATE journal SET seen = 1 WHERE id = ?`, id)
		return err
	})
}

// Unknown are the changes whose outcome nobody knows and of which the owner has not been told, oldest first. A change
// that a living program, this one included, has in the air at this moment is not among them.
func (s *Store) Unknown(ctx context.Context) ([]Entry, error) {
	if err := s.settle(ctx); err != nil {
		return nil, err
	}
	return s.entries(ctx, "list open questions", `SELECT `+entryColumns+` FROM journal WHERE outcome = ? AND seen = 0 ORDER BY id`, string(Unknown))
}

// Journal are the changes of a car, newest first.
func (s *Store) Journal(ctx context.Context, carID int64) ([]Entry, error) {
	return s.entries(ctx, "read journal", `SELECT `+entryColumns+` FROM journal WHERE car = ? ORDER BY id DESC`, carID)
}

func (s *Store) entries(ctx context.Context, op, query string, args ...any) ([]Entry, error) {
	list := []Entry{}
	err := s.read(ctx, op, func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			e, err := scanEntry(rows)
			list = append(list, e)
			return err
		}, query, args...)
	})
	if err != nil {
		return nil, err
	}
	return list, nil
}

// settle turns the planned entries of programs that are no longer alive into unknown ones: the row was on the disk
// before anything was sent, so the change may have left or not. It never says "not sent".
func (s *Store) settle(ctx context.Context) error {
	return s.write(ctx, "settle journal", func(tx *sql.Tx) error {
		holders := map[string]bool{}
		err := each(ctx, tx, func(rows *sql.Rows) error {
			var h string
			err := rows.Scan(&h)
			holders[h] = true
			return err
		}, `SELECT DISTINCT holder FROM journal WHERE outcome = ?`, string(Planned))
		if err != nil {
			return err
		}
		delete(holders, s.lease.token)
		for h := range holders {
			if aliveLease(s.path, h) {
				continue
			}
			if _, err := tx.ExecContext(ctx, `UPDATE journal SET outcome = ?, holder = '' WHERE outcome = ? AND holder = ?`,
				string(Unknown), string(Planned), h); err != nil {
				return err
			}
		}
		return nil
	})
}
