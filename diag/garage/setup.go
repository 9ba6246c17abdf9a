package garage

import (
	"context"
	"database/sql"
	"fmt"
	"strconv"
	"time"
)

// Kinds of what an owner sets up for a car.
const (
	setupIdentifier = "identifier"
	setupWiring     = "wiring"
)

// PutIdentifiers keeps identifiers of service 22 (ISO 14229-1) that the owner of a car knows. Those that are kept already
// stay as they are.
func (s *Store) PutIdentifiers(ctx context.Context, carID int64, ids []uint16, at time.Time) error {
	values := make([]string, len(ids))
	for i, id := range ids {
		values[i] = fmt.Sprintf("%04X", id)
	}
	return s.putSetup(ctx, carID, setupIdentifier, values, at, `INSERT OR IGNORE`)
}

// Identifiers are the identifiers that are kept with a car, in the order in which they came.
func (s *Store) Identifiers(ctx context.Context, carID int64) ([]uint16, error) {
	out := []uint16{}
	err := s.read(ctx, "list identifiers", func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			var text string
			if err := rows.Scan(&text); err != nil {
				return err
			}
			id, err := strconv.ParseUint(text, 16, 16)
			out = append(out, uint16(id))
			return err
		}, `SELECT value FROM setup WHERE car = ? AND kind = ? ORDER BY id`, carID, setupIdentifier)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// PutWiring keeps how the wires of a car's cable go, in words of the caller's. Those that were kept before stay in the store.
func (s *Store) PutWiring(ctx context.Context, carID int64, wiring string, at time.Time) error {
	return s.putSetup(ctx, carID, setupWiring, []string{wiring}, at, `INSERT OR REPLACE`)
}

// Wiring is the newest that [Store.PutWiring] kept, "" when nothing is kept.
func (s *Store) Wiring(ctx context.Context, carID int64) (wiring string, err error) {
	err = s.read(ctx, "read wiring", func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error { return rows.Scan(&wiring) },
			`SELECT value FROM setup WHERE car = ? AND kind = ? ORDER BY coalesce(at, 0) DESC, id DESC LIMIT 1`, carID, setupWiring)
	})
	return wiring, err
}

func (s *Store) putSetup(ctx context.Context, carID int64, kind string, values []string, at time.Time, insert string) error {
	operation := "put " + kind
	if err := representable("garage: "+operation, at); err != nil {
		return err
	}
	return s.write(ctx, operation, func(tx *sql.Tx) error {
		if err := carExists(ctx, tx, carID); err != nil {
			return err
		}
		for _, v := range values {
			if _, err := tx.ExecContext(ctx, insert+` INTO setup (car, at, kind, value) VALUES (?, ?, ?, ?)`, carID, nanos(at), kind, v); err != nil {
				return err
			}
		}
		return nil
	})
}
