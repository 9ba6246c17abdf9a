package garage

import (
	"errors"
	"fmt"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"
)

var (
	// ErrNotFound means that the store holds no such car, visit or journal entry.
	ErrNotFound = errors.New("garage: not in the store")
	// ErrMixed means that a practice car or visit was to be mixed with a real one.
	ErrMixed = errors.New("garage: practice and real cars are kept apart")
	// ErrFinished means that a journal entry has its outcome already; an outcome is written once.
	ErrFinished = errors.New("garage: this entry has its outcome already")
	// ErrChain means that another report of the same car was written meanwhile.
	ErrChain = errors.New("garage: the chain of reports has gone on meanwhile")
	// ErrFull means that the disk has no room left. Nothing of what was being written is kept, nothing older is lost.
	ErrFull = errors.New("garage: the disk is full")
	// ErrReadOnly means that this user may not write to the file of the store or to its folder.
	ErrReadOnly = errors.New("garage: the store can't be written to")
)

// DamagedError means that the file is not a store that can be read to its end. The file was kept as it is under
// another name, and the next [Open] begins an empty store.
type DamagedError struct {
	Path   string // where the store was expected
	KeptAs string // where the damaged file is now; "" when it was left in place because it is in use or can't be renamed
	Cause  error
}

func (e *DamagedError) Error() string {
	if e.KeptAs == "" {
		return fmt.Sprintf("garage: the store %s is damaged and was left as it is: %v", e.Path, e.Cause)
	}
	return fmt.Sprintf("garage: the store %s is damaged; it is kept as %s: %v", e.Path, e.KeptAs, e.Cause)
}

func (e *DamagedError) Unwrap() error { return e.Cause }

// BusyError means that another program held the store for longer than this one waits.
type BusyError struct {
	Path  string
	Cause error
}

func (e *BusyError) Error() string {
	return fmt.Sprintf("garage: the store %s is in use by another program: %v", e.Path, e.Cause)
}

func (e *BusyError) Unwrap() error { return e.Cause }

// NewerError means that the store was written by a newer edition of the program. It is left as it is.
type NewerError struct {
	Path    string
	Version int // of the schema in the file
	Known   int // the newest schema that this program knows
}

func (e *NewerError) Error() string {
	return fmt.Sprintf("garage: the store %s has schema version %d; this program knows versions up to %d", e.Path, e.Version, e.Known)
}

// AlteredError means that a saved visit no longer has the checksum it was saved with. The visit is returned beside it.
type AlteredError struct {
	Visit int64
}

func (e *AlteredError) Error() string {
	return fmt.Sprintf("garage: visit %d is not as it was saved: its checksum differs", e.Visit)
}

// fail gives an error of the database its operation, place and type.
func (s *Store) fail(op string, err error) error {
	if err == nil {
		return nil
	}
	return classify(s.path, fmt.Errorf("garage: %s: %w", op, err))
}

func classify(path string, err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return err
	}
	switch e.Code() & 0xFF {
	case lib.SQLITE_BUSY, lib.SQLITE_LOCKED:
		return &BusyError{Path: path, Cause: err}
	case lib.SQLITE_CORRUPT, lib.SQLITE_NOTADB, lib.SQLITE_FORMAT:
		return &DamagedError{Path: path, Cause: err}
	case lib.SQLITE_FULL:
		return fmt.Errorf("%w: %w", ErrFull, err)
	case lib.SQLITE_READONLY, lib.SQLITE_PERM, lib.SQLITE_CANTOPEN:
		return fmt.Errorf("%w (%s): %w", ErrReadOnly, path, err)
	}
	return err
}

// generic tells whether err carries SQLite's general error code.
func generic(err error) bool {
	var e *sqlite.Error
	return errors.As(err, &e) && e.Code()&0xFF == lib.SQLITE_ERROR
}

// Fault is what is wrong with a back-up or a car's file.
type Fault string

const (
	FaultForeign  Fault = "not such a file"
	FaultNewer    Fault = "of a newer version"
	FaultDamaged  Fault = "damaged"
	FaultTooLarge Fault = "too large"
)

// FileError means that a back-up or a car's file can't be taken. Nothing in the store was changed.
type FileError struct {
	Fault Fault
	Cause error
}

func (e *FileError) Error() string {
	return fmt.Sprintf("garage: the file is %s: %v", e.Fault, e.Cause)
}

func (e *FileError) Unwrap() error { return e.Cause }
