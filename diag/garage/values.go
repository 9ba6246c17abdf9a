package garage

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"readback/diag/dtc"
	"readback/diag/link"
)

// nanos is a time as it is stored: nanoseconds since 1970 UTC, NULL for the zero time.
func nanos(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UnixNano()
}

// moment reads a stored time.
type moment struct{ t *time.Time }

func (m moment) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*m.t = time.Time{}
	case int64:
		*m.t = time.Unix(0, v).UTC()
	default:
		return fmt.Errorf("a time is stored as %T", src)
	}
	return nil
}

// representable refuses times that nanoseconds since 1970 can't hold (years before 1678 and after 2261).
func representable(what string, times ...time.Time) error {
	for _, t := range times {
		if !t.IsZero() && !time.Unix(0, t.UnixNano()).Equal(t) {
			return fmt.Errorf("%s: the year %d can't be stored", what, t.Year())
		}
	}
	return nil
}

func idText(id link.ID) string {
	if id.IsZero() {
		return ""
	}
	return id.String()
}

// identifier reads a stored CAN identifier.
type identifier struct{ id *link.ID }

func (i identifier) Scan(src any) error {
	s, ok := src.(string)
	if !ok {
		return fmt.Errorf("an identifier is stored as %T", src)
	}
	if s == "" {
		*i.id = link.ID{}
		return nil
	}
	var err error
	*i.id, err = link.ParseID(s)
	return err
}

// texts is a list of texts as it is stored, a JSON array.
func texts(list []string) (string, error) {
	if len(list) == 0 {
		return "[]", nil
	}
	b, err := json.Marshal(list)
	return string(b), err
}

// textList reads such a list.
type textList struct{ list *[]string }

func (l textList) Scan(src any) error {
	s, ok := src.(string)
	if !ok {
		return fmt.Errorf("a list is stored as %T", src)
	}
	*l.list = nil
	if s == "[]" {
		return nil
	}
	return json.Unmarshal([]byte(s), l.list)
}

// troubleCode reads a stored trouble code.
type troubleCode struct{ code *dtc.Code }

func (c troubleCode) Scan(src any) error {
	b, ok := src.([]byte)
	switch {
	case ok && len(b) == 0:
		*c.code = dtc.Code{}
	case ok && len(b) == 2:
		*c.code = dtc.From2(b[0], b[1])
	case ok && len(b) == 3:
		*c.code = dtc.From3(b[0], b[1], b[2])
	default:
		return fmt.Errorf("a trouble code is stored as %T of %d bytes", src, len(b))
	}
	return nil
}

// blob keeps an empty value from becoming NULL.
func blob(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

// each runs a query and scan for each of its rows.
func each(ctx context.Context, tx *sql.Tx, scan func(*sql.Rows) error, query string, args ...any) error {
	rows, err := tx.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}
