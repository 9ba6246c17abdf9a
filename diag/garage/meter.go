package garage

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// MeterReading is what a multimeter showed at one spot.
type MeterReading struct {
	Spot  string    `json:"spot"`  // "cable:6-7", "car:6-14"
	Value string    `json:"value"` // "60.4 Ω", "open", "12.68 V"
	At    time.Time `json:"at"`
}

// PutMeter keeps meter readings with a car. Earlier readings of the same spots stay.
func (s *Store) PutMeter(ctx context.Context, carID int64, readings []MeterReading) error {
	for _, r := range readings {
		if err := representable("garage: put meter readings", r.At); err != nil {
			return err
		}
	}
	return s.write(ctx, "put meter readings", func(tx *sql.Tx) error {
		if err := carExists(ctx, tx, carID); err != nil {
			return err
		}
		for _, r := range readings {
			if _, err := tx.ExecContext(ctx, `INSERT INTO meter (car, spot, value, at) VALUES (?, ?, ?, ?)`, carID, r.Spot, r.Value, nanos(r.At)); err != nil {
				return err
			}
		}
		return nil
	})
}

// Meter are the newest readings of each spot of a car.
func (s *Store) Meter(ctx context.Context, carID int64) ([]MeterReading, error) {
	out := []MeterReading{}
	err := s.read(ctx, "list meter readings", func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			var r MeterReading
			err := rows.Scan(&r.Spot, &r.Value, moment{&r.At})
			out = append(out, r)
			return err
		}, `SELECT spot, value, at FROM meter WHERE id IN (SELECT max(id) FROM meter WHERE car = ? GROUP BY spot) ORDER BY id`, carID)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// PutOffset keeps how far the voltmeter of the adapter at a place is off: volts are added to what it shows.
func (s *Store) PutOffset(ctx context.Context, place string, volts float64, at time.Time) error {
	if err := representable("garage: put meter offset", at); err != nil {
		return err
	}
	return s.write(ctx, "put meter offset", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT OR REPLACE INTO meter_offset (place, volts, at) VALUES (?, ?, ?)`, place, volts, nanos(at))
		return err
	})
}

// Offset is how far the voltmeter of the adapter at a place is off; false when nobody has measured it.
func (s *Store) Offset(ctx context.Context, place string) (volts float64, ok bool, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT volts FROM meter_offset WHERE place = ?`, place).Scan(&volts)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, false, nil
	}
	return volts, err == nil, s.fail("read meter offset", err)
}
