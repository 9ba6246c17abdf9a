package garage

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// HomeVariable names the environment variable that overrides the folder of the store.
const HomeVariable = "READBACK_HOME"

// DefaultPath is where the store is when nobody says otherwise: readback/readback.db in the user's folder for
// configuration, or readback.db in the folder that the environment variable READBACK_HOME names.
func DefaultPath() (string, error) {
	if home := os.Getenv(HomeVariable); home != "" {
		return filepath.Join(home, "readback.db"), nil
	}
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("garage: no folder for the store (set %s to one): %w", HomeVariable, err)
	}
	return filepath.Join(dir, "readback", "readback.db"), nil
}

// Store is an open store. Its methods may be called from several goroutines, and several programs may have the same
// file open; each of them waits up to five seconds for another's write and then returns a [*BusyError].
type Store struct {
	db    *sql.DB
	path  string
	lease *lease

	closing sync.Once
	closed  error
}

// openWait is how long Open waits for another program that is opening the same store.
const openWait = 10 * time.Second

// Open opens the store at path, and makes its folder (0700) and file (0600) where they are missing. An older schema is
// brought up to date in one transaction. Journal entries that a dead program left planned become [Unknown].
//
// The error is a [*DamagedError] when the file can't be read to its end: it is then kept under another name, and a
// second Open begins an empty store; a [*NewerError] when a newer program wrote it; a [*BusyError] when another
// program holds it.
func Open(ctx context.Context, path string) (*Store, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("garage: open store: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, fmt.Errorf("garage: open store: its folder can't be made: %w", err)
	}
	// One program at a time opens a store: what follows looks at files beside it and may rename it.
	door, err := waitLock(ctx, path+"-opening", openWait)
	if err != nil {
		return nil, openError(path, err)
	}
	defer door.release()

	if err := makeFile(path); err != nil {
		return nil, openError(path, err)
	}
	s := &Store{path: path}
	if s.db, err = sql.Open("sqlite", dsn(path)); err != nil {
		return nil, openError(path, err)
	}
	s.db.SetMaxOpenConns(1)
	if err := s.begin(ctx); err != nil {
		s.db.Close()
		if s.lease != nil {
			s.lease.release()
		}
		var damaged *DamagedError
		if errors.As(err, &damaged) {
			return nil, setAside(path, damaged.Cause)
		}
		return nil, err
	}
	return s, nil
}

// begin checks the file, brings its schema up to date, takes the lease and settles what dead programs left.
func (s *Store) begin(ctx context.Context) error {
	if err := s.check(ctx); err != nil {
		return err
	}
	if err := s.migrate(ctx); err != nil {
		return err
	}
	dropDeadLeases(s.path)
	if len(leases(s.path)) == 0 {
		dropLeftovers(s.path)
	}
	var err error
	if s.lease, err = takeLease(s.path); err != nil {
		return openError(s.path, err)
	}
	return s.settle(ctx)
}

// Path is where the store is.
func (s *Store) Path() string { return s.path }

// Close closes the store. It may be called more than once. Entries that are planned at that time become unknown at the
// next Open.
func (s *Store) Close() error {
	s.closing.Do(func() {
		s.closed = s.db.Close()
		s.lease.release()
	})
	return s.closed
}

// makeFile makes the file where there is none; one that is there is SQLite's to open.
func makeFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return f.Close()
}

// openError tells what stopped Open in words that name the folder.
func openError(path string, err error) error {
	switch {
	case errors.Is(err, errLocked):
		return &BusyError{Path: path, Cause: err}
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("garage: open store: the folder %s can't be written to: %w", filepath.Dir(path), err)
	}
	return fmt.Errorf("garage: open store %s: %w", path, err)
}

// dsn is the name by which the driver opens the file. The settings are SQLite's own: each commit is synced, with the
// folder's entry (EXTRA) and through the drive's cache where the system offers that (fullfsync, macOS); a write
// transaction takes its lock at once; the schema of the file is not trusted.
func dsn(path string) string {
	p := filepath.ToSlash(path)
	if !strings.HasPrefix(p, "/") {
		p = "/" + p // C:/...
	}
	u := url.URL{Path: p}
	return "file://" + u.EscapedPath() +
		"?_txlock=immediate&_dqs=0&_defensive=1&_busy_timeout=5000&_foreign_keys=1&_journal_mode=DELETE&_synchronous=EXTRA" +
		"&_pragma=fullfsync(1)&_pragma=trusted_schema(0)&_pragma=cell_size_check(1)"
}

// setAside renames a damaged store, and its rollback journal, to a name that nothing has yet. While another living
// program has the store open nothing is renamed.
func setAside(path string, cause error) error {
	if len(aliveLeases(path)) > 0 {
		return &DamagedError{Path: path, Cause: fmt.Errorf("%w (another program has it open: close that first)", cause)}
	}
	kept := freeName(path + ".damaged-" + stamp())
	if err := os.Rename(path, kept); err != nil {
		return &DamagedError{Path: path, Cause: fmt.Errorf("%w (it can't be renamed: %w)", cause, err)}
	}
	if exists(path + "-journal") {
		if err := os.Rename(path+"-journal", kept+"-journal"); err != nil {
			cause = fmt.Errorf("%w (its rollback journal can't be renamed: %w)", cause, err)
		}
	}
	return &DamagedError{Path: path, KeptAs: kept, Cause: cause}
}
