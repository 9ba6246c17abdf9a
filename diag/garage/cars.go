package garage

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"readback/diag/link"
)

const carColumns = `id, name, vin, model, practice, place, odometer, made`

type scanner interface{ Scan(dest ...any) error }

func scanCar(row scanner) (c Car, err error) {
	err = row.Scan(&c.ID, &c.Name, &c.VIN, &c.Model, &c.Practice, &c.Place, &c.Odometer, moment{&c.Made})
	return c, err
}

// Cars are all cars, real ones first, each group by name.
func (s *Store) Cars(ctx context.Context) ([]Car, error) {
	return s.cars(ctx, "list cars", `SELECT `+carColumns+` FROM car ORDER BY practice, name COLLATE NOCASE, id`)
}

func (s *Store) cars(ctx context.Context, op, query string, args ...any) ([]Car, error) {
	cars := []Car{}
	err := s.read(ctx, op, func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			c, err := scanCar(rows)
			cars = append(cars, c)
			return err
		}, query, args...)
	})
	if err != nil {
		return nil, err
	}
	return cars, nil
}

// Car is the car with this number; the error wraps [ErrNotFound] when there is none.
func (s *Store) Car(ctx context.Context, id int64) (Car, error) {
	c, err := scanCar(s.db.QueryRowContext(ctx, `SELECT `+carColumns+` FROM car WHERE id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return Car{}, fmt.Errorf("garage: car %d: %w", id, ErrNotFound)
	}
	return c, s.fail("read car", err)
}

// FindCar finds a car by its identification number or, where that does not decide, by its name; capitals and blanks
// around them don't count. A car with another number is not found by its name. Practice cars are found only as
// practice cars, real ones only as real ones.
func (s *Store) FindCar(ctx context.Context, vin, name string, practice bool) (Car, bool, error) {
	vin, name = strings.TrimSpace(vin), strings.TrimSpace(name)
	found, err := s.cars(ctx, "find car", `SELECT `+carColumns+` FROM car
		WHERE practice = ?1 AND (?2 <> '' AND vin = ?2 COLLATE NOCASE
			OR ?3 <> '' AND name = ?3 COLLATE NOCASE AND (?2 = '' OR vin = ''))
		ORDER BY ?2 <> '' AND vin = ?2 COLLATE NOCASE DESC, id DESC LIMIT 1`, practice, vin, name)
	if err != nil || len(found) == 0 {
		return Car{}, false, err
	}
	return found[0], true, nil
}

// PutCar adds a car (ID zero) or changes one that is there. A real car never becomes a practice car, nor the other way
// round: the error then is [ErrMixed].
func (s *Store) PutCar(ctx context.Context, c Car) (Car, error) {
	c.Name, c.VIN, c.Made = strings.TrimSpace(c.Name), strings.TrimSpace(c.VIN), c.Made.UTC()
	if err := representable("garage: put car", c.Made); err != nil {
		return Car{}, err
	}
	err := s.write(ctx, "put car", func(tx *sql.Tx) error {
		if c.ID == 0 {
			r, err := tx.ExecContext(ctx, `INSERT INTO car (name, vin, model, practice, place, odometer, made) VALUES (?, ?, ?, ?, ?, ?, ?)`,
				c.Name, c.VIN, c.Model, c.Practice, c.Place, c.Odometer, nanos(c.Made))
			if err != nil {
				return err
			}
			c.ID, err = r.LastInsertId()
			return err
		}
		if err := sameKind(ctx, tx, c.ID, c.Practice); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `UPDATE car SET name = ?, vin = ?, model = ?, place = ?, odometer = ?, made = ? WHERE id = ?`,
			c.Name, c.VIN, c.Model, c.Place, c.Odometer, nanos(c.Made), c.ID)
		return err
	})
	if err != nil {
		return Car{}, err
	}
	return c, nil
}

// sameKind checks that the car is in the store and is a practice car or a real one, as asked.
func sameKind(ctx context.Context, tx *sql.Tx, car int64, practice bool) error {
	var is bool
	err := tx.QueryRowContext(ctx, `SELECT practice FROM car WHERE id = ?`, car).Scan(&is)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return fmt.Errorf("car %d: %w", car, ErrNotFound)
	case err != nil:
		return err
	case is != practice:
		return fmt.Errorf("car %d: %w", car, ErrMixed)
	}
	return nil
}

// PutNote adds a note to a code of a car. Earlier notes on the same code stay.
func (s *Store) PutNote(ctx context.Context, carID int64, code string, n Note) (Note, error) {
	n.Code, n.At = code, n.At.UTC()
	if err := representable("garage: put note", n.At); err != nil {
		return Note{}, err
	}
	err := s.write(ctx, "put note", func(tx *sql.Tx) error {
		if err := carExists(ctx, tx, carID); err != nil {
			return err
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO note (car, code, text, who, source, at) VALUES (?, ?, ?, ?, ?, ?)`,
			carID, n.Code, n.Text, n.Who, n.Where, nanos(n.At))
		if err != nil {
			return err
		}
		n.ID, err = r.LastInsertId()
		return err
	})
	if err != nil {
		return Note{}, err
	}
	return n, nil
}

// Notes are the notes on a car's codes, oldest first.
func (s *Store) Notes(ctx context.Context, carID int64) ([]Note, error) {
	notes := []Note{}
	err := s.read(ctx, "list notes", func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			var n Note
			err := rows.Scan(&n.ID, &n.Code, &n.Text, &n.Who, &n.Where, moment{&n.At})
			notes = append(notes, n)
			return err
		}, `SELECT id, code, text, who, source, at FROM note WHERE car = ? ORDER BY id`, carID)
	})
	if err != nil {
		return nil, err
	}
	return notes, nil
}

func carExists(ctx context.Context, tx *sql.Tx, car int64) error {
	var n int
	if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM car WHERE id = ?`, car).Scan(&n); err != nil {
		return err
	}
	if n == 0 {
		return fmt.Errorf("car %d: %w", car, ErrNotFound)
	}
	return nil
}

// NameModule gives a module of a car the owner's own name, which [Store.Modules] tells from then on. An empty name
// takes it back.
func (s *Store) NameModule(ctx context.Context, carID int64, a link.Address, name string) error {
	name = strings.TrimSpace(name)
	return s.write(ctx, "name module", func(tx *sql.Tx) error {
		if err := carExists(ctx, tx, carID); err != nil {
			return err
		}
		key := []any{carID, idText(a.Request), idText(a.Answer), a.Target, a.Source}
		if name == "" {
			_, err := tx.ExecContext(ctx, `DELETE FROM given_name WHERE car = ? AND request = ? AND answer = ? AND target = ? AND source = ?`, key...)
			return err
		}
		_, err := tx.ExecContext(ctx, `INSERT OR REPLACE INTO given_name (car, request, answer, target, source, name) VALUES (?, ?, ?, ?, ?, ?)`, append(key, name)...)
		return err
	})
}
