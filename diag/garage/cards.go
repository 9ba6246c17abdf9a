package garage

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"
)

// Card is one request that is kept with its story: what it is for, who proposed it, what it should be answered.
// It says what somebody believes; before it is used, its bytes are explained afresh.
type Card struct {
	ID      int64     `json:"id"`
	Title   string    `json:"title"`
	Module  string    `json:"module"`  // the module it is for, in words
	Request string    `json:"request"` // canonical text, 7E5#0414FFFFFF555555
	Words   string    `json:"words"`   // its read-back words as they were told, separated by spaces
	Expect  string    `json:"expect"`  // the payload of the answer that is expected, as hex digits; "" when not known
	Who     string    `json:"who"`     // who proposed it
	Where   string    `json:"where"`   // where that was: a page, a meeting, a workshop
	At      time.Time `json:"at"`      // when it was written down
}

// trimmed is the card without blanks around its texts.
func (c Card) trimmed() Card {
	for _, s := range []*string{&c.Title, &c.Module, &c.Request, &c.Words, &c.Expect, &c.Who, &c.Where} {
		*s = strings.TrimSpace(*s)
	}
	c.At = c.At.UTC()
	return c
}

// PutCard keeps a card with a car. A card with the same request and title takes the place of the one that is there.
func (s *Store) PutCard(ctx context.Context, carID int64, c Card) (Card, error) {
	c = c.trimmed()
	if err := representable("garage: put card", c.At); err != nil {
		return Card{}, err
	}
	err := s.write(ctx, "put card", func(tx *sql.Tx) error {
		if err := carExists(ctx, tx, carID); err != nil {
			return err
		}
		return tx.QueryRowContext(ctx, `INSERT INTO card (car, title, module, request, words, expect, who, source, at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT (car, request, title) DO UPDATE SET module = excluded.module, words = excluded.words, expect = excluded.expect,
				who = excluded.who, source = excluded.source, at = excluded.at
			RETURNING id`,
			carID, c.Title, c.Module, c.Request, c.Words, c.Expect, c.Who, c.Where, nanos(c.At)).Scan(&c.ID)
	})
	if err != nil {
		return Card{}, err
	}
	return c, nil
}

// Cards are the cards of a car, by title.
func (s *Store) Cards(ctx context.Context, carID int64) ([]Card, error) {
	cards := []Card{}
	err := s.read(ctx, "list cards", func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			var c Card
			err := rows.Scan(&c.ID, &c.Title, &c.Module, &c.Request, &c.Words, &c.Expect, &c.Who, &c.Where, moment{&c.At})
			cards = append(cards, c)
			return err
		}, `SELECT id, title, module, request, words, expect, who, source, at FROM card WHERE car = ? ORDER BY title COLLATE NOCASE, id`, carID)
	})
	if err != nil {
		return nil, err
	}
	return cards, nil
}

// RemoveCard takes a card away. The error wraps [ErrNotFound] when there is none with this number.
func (s *Store) RemoveCard(ctx context.Context, id int64) error {
	return s.write(ctx, "remove card", func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, `DELETE FROM card WHERE id = ?`, id)
		if err != nil {
			return err
		}
		if n, err := r.RowsAffected(); err != nil || n == 0 {
			return fmt.Errorf("card %d: %w", id, ErrNotFound)
		}
		return nil
	})
}
