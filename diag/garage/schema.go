package garage

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"os"
)

// schemaFiles holds one step for each schema version, from the one before it. A step that was ever released is never
// edited: testdata holds a store of each version, and a change to an old step shows there.
//
//go:embed schema/*.sql
var schemaFiles embed.FS

// schemaVersion is the newest version, kept in the file as SQLite's user_version.
const schemaVersion = 4

// applicationID marks the file as ours (SQLite's application_id), the letters RdBk.
const applicationID = 0x5264426B

var errForeign = errors.New("it is not a store of this program")

// check reads the whole file: its header, every page and every reference.
func (s *Store) check(ctx context.Context) error {
	var id, version, tables, page int
	err := s.db.QueryRowContext(ctx, `SELECT (SELECT application_id FROM pragma_application_id), (SELECT user_version FROM pragma_user_version), (SELECT count(*) FROM sqlite_schema),
		(SELECT page_size FROM pragma_page_size)`).Scan(&id, &version, &tables, &page)
	if err != nil {
		// SQLite has only its general error code for a header that it can't make sense of.
		if err := s.checkError(ctx, err); !generic(err) {
			return err
		}
		return &DamagedError{Path: s.path, Cause: err}
	}
	// Only now has a transaction that was cut off been rolled back: the length of the file was not sure before.
	if err := checkSize(s.path, page); err != nil {
		return &DamagedError{Path: s.path, Cause: err}
	}
	switch fresh := id == 0 && version == 0 && tables == 0; {
	case fresh:
		return nil
	case id != applicationID:
		return &DamagedError{Path: s.path, Cause: errForeign}
	case version > schemaVersion:
		return &NewerError{Path: s.path, Version: version, Known: schemaVersion}
	case version < 1:
		return &DamagedError{Path: s.path, Cause: fmt.Errorf("its schema version is %d", version)}
	}
	var verdict string
	if err := s.db.QueryRowContext(ctx, `PRAGMA integrity_check(1)`).Scan(&verdict); err != nil {
		return s.checkError(ctx, err)
	}
	if verdict != "ok" {
		return &DamagedError{Path: s.path, Cause: errors.New(verdict)}
	}
	var loose int
	if err := s.db.QueryRowContext(ctx, `SELECT count(*) FROM pragma_foreign_key_check`).Scan(&loose); err != nil {
		return s.checkError(ctx, err)
	}
	if loose > 0 {
		return &DamagedError{Path: s.path, Cause: fmt.Errorf("%d rows refer to rows that are not there", loose)}
	}
	return nil
}

// checkSize looks for a file that does not end with a page: SQLite fills a last page that was cut short with zeros, and
// takes a remnant shorter than any page for an empty file. It does not open the file: closing it would, on Unix, drop
// the locks that SQLite holds on it in this process.
func checkSize(path string, page int) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	if n := info.Size(); n%int64(page) != 0 {
		return fmt.Errorf("it has %d bytes, which is no whole number of pages of %d", n, page)
	}
	return nil
}

// checkError is fail, but for the end of the context, which the database tells in its own words.
func (s *Store) checkError(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return fmt.Errorf("garage: open store %s: %w", s.path, ctx.Err())
	}
	return s.fail("check store", err)
}

// migrate brings the schema to schemaVersion in one transaction.
func (s *Store) migrate(ctx context.Context) error { return s.migrateTo(ctx, schemaVersion) }

func (s *Store) migrateTo(ctx context.Context, target int) error {
	return s.write(ctx, "update schema", func(tx *sql.Tx) error {
		var version int
		if err := tx.QueryRowContext(ctx, `SELECT user_version FROM pragma_user_version`).Scan(&version); err != nil {
			return err
		}
		for v := version + 1; v <= target; v++ {
			step, err := schemaFiles.ReadFile(fmt.Sprintf("schema/%d.sql", v))
			if err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, string(step)); err != nil {
				return fmt.Errorf("version %d: %w", v, err)
			}
		}
		if version >= target {
			return nil
		}
		_, err := tx.ExecContext(ctx, fmt.Sprintf(`PRAGMA application_id = %d; PRAGMA user_version = %d`, applicationID, target))
		return err
	})
}

// write runs do in one write transaction; an error undoes all of it.
func (s *Store) write(ctx context.Context, op string, do func(*sql.Tx) error) error {
	return s.transact(ctx, op, nil, do)
}

// read runs do in one transaction that sees one state of the store.
func (s *Store) read(ctx context.Context, op string, do func(*sql.Tx) error) error {
	return s.transact(ctx, op, &sql.TxOptions{ReadOnly: true}, do)
}

func (s *Store) transact(ctx context.Context, op string, o *sql.TxOptions, do func(*sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, o)
	if err != nil {
		return s.fail(op, err)
	}
	if err := do(tx); err != nil {
		tx.Rollback()
		return s.fail(op, err)
	}
	return s.fail(op, tx.Commit())
}
