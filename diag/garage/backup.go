package garage

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// storeName is the file of the rows in a back-up.
const storeName = "readback.db"

// BackedUp tells what went into a back-up.
type BackedUp struct {
	Cars       int      `json:"cars"`
	Visits     int      `json:"visits"`
	Recordings int      `json:"recordings"`
	Missing    []string `json:"missing"` // recordings that the store names and whose files are not there any more
}

// BackUp writes the whole store into one file: the rows as they are at one moment, and the recordings. The program may
// go on using the store meanwhile. After an error what was written is worth nothing.
func (s *Store) BackUp(ctx context.Context, w io.Writer) (BackedUp, error) {
	facts, err := s.backUp(ctx, w)
	if err != nil {
		return BackedUp{}, s.fail("back up", err)
	}
	return facts, nil
}

func (s *Store) backUp(ctx context.Context, w io.Writer) (facts BackedUp, err error) {
	work, err := workFolder(s.path, "backing-up")
	if err != nil {
		return facts, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	rows := filepath.Join(work, storeName)
	if _, err := s.db.ExecContext(ctx, `VACUUM INTO ?`, rows); err != nil {
		return facts, err
	}
	// The recordings are those that the copy names, whatever has been added since.
	var names []string
	if names, err = facts.count(ctx, rows); err != nil {
		return facts, err
	}
	b := newBundleWriter(w, backUpFormat)
	if err := b.add(storeName, fileWriter(ctx, rows)); err != nil {
		return facts, err
	}
	if facts.Recordings, facts.Missing, err = addRecordings(ctx, b, s.recordingsFolder(), names); err != nil {
		return facts, err
	}
	return facts, b.close()
}

func (f *BackedUp) count(ctx context.Context, rows string) (names []string, err error) {
	db, err := sql.Open("sqlite", dsn(rows))
	if err != nil {
		return nil, err
	}
	defer db.Close()
	if err := db.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM car), (SELECT count(*) FROM visit)`).Scan(&f.Cars, &f.Visits); err != nil {
		return nil, err
	}
	copied := &Store{db: db, path: rows}
	err = copied.read(ctx, "list recordings", func(tx *sql.Tx) error {
		return each(ctx, tx, func(r *sql.Rows) error {
			var name string
			err := r.Scan(&name)
			names = append(names, name)
			return err
		}, `SELECT file FROM recording ORDER BY id`)
	})
	return names, err
}

// addRecordings puts the files of recordings into a bundle.
func addRecordings(ctx context.Context, b *bundleWriter, folder string, names []string) (added int, missing []string, err error) {
	missing = []string{}
	for _, name := range names {
		if !recordingName.MatchString(name) || !exists(filepath.Join(folder, name)) {
			missing = append(missing, name)
			continue
		}
		if err := b.add(recordingsPlace+name, fileWriter(ctx, filepath.Join(folder, name))); err != nil {
			return 0, nil, err
		}
		added++
	}
	return added, missing, nil
}

// fileWriter copies a file.
func fileWriter(ctx context.Context, path string) func(io.Writer) error {
	return func(w io.Writer) error {
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		_, err = io.Copy(w, &patient{ctx: ctx, r: f})
		return err
	}
}

// Restored tells what came back from a back-up.
type Restored struct {
	KeptAs     string   `json:"keptAs"` // where the store that was there is now, "" when there was none
	Cars       int      `json:"cars"`
	Visits     int      `json:"visits"`
	Altered    []int64  `json:"altered"` // visits that are not as they were saved
	Recordings int      `json:"recordings"`
	Missing    []string `json:"missing"` // recordings that the store names and whose files are not in the back-up as they were written
}

// Restore puts the store of a back-up in the place of the one at path. Everything is unpacked beside it and checked
// first: the digest of every file, every page and every reference, the schema, the checksum of every visit. Only then
// it takes the place of the store that was there, in one step; that one is kept under the name that the result tells,
// and recordings that were there stay. On an error the store is as it was.
//
// The store must not be open, in this program or another: the error then is a [*BusyError]. A file that can't be taken
// is a [*FileError].
func Restore(ctx context.Context, path string, r io.ReaderAt, size int64) (Restored, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return Restored{}, fmt.Errorf("garage: restore: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return Restored{}, fmt.Errorf("garage: restore: the folder can't be made: %w", err)
	}
	door, err := waitLock(ctx, path+"-opening", openWait)
	if err != nil {
		return Restored{}, openError(path, err)
	}
	defer door.release()
	if len(aliveLeases(path)) > 0 {
		return Restored{}, &BusyError{Path: path, Cause: errLocked}
	}
	facts, err := restore(ctx, path, r, size)
	if err != nil {
		return Restored{}, restoreError(path, err)
	}
	return facts, nil
}

func restoreError(path string, err error) error {
	var file *FileError
	if errors.As(err, &file) {
		return file
	}
	return classify(path, fmt.Errorf("garage: restore: %w", err))
}

func restore(ctx context.Context, path string, r io.ReaderAt, size int64) (facts Restored, err error) {
	b, err := openBundle(r, size, backUpFormat, storeName)
	if err != nil {
		return facts, err
	}
	work, err := workFolder(path, "restoring")
	if err != nil {
		return facts, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	rows := filepath.Join(work, storeName)
	if err := b.unpackTo(ctx, b.file(storeName), rows); err != nil {
		return facts, err
	}
	came := b.recordings()
	for name, f := range came {
		if err := b.unpackTo(ctx, f, filepath.Join(work, name)); err != nil {
			return facts, err
		}
	}
	if err := facts.inspect(ctx, rows, came); err != nil {
		return facts, err
	}
	added, err := placeRecordings(work, recordingsOf(path), came)
	if err == nil {
		if err = ctx.Err(); err == nil {
			facts.KeptAs, err = replaceStore(ctx, path, rows)
		}
	}
	if err != nil {
		for _, name := range added {
			err = errors.Join(err, os.Remove(name))
		}
	}
	return facts, err
}

// unpackTo writes one file of a bundle to the disk.
func (b *bundle) unpackTo(ctx context.Context, f bundleFile, path string) error {
	return b.unpack(ctx, f, func(r io.Reader) error {
		out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return err
		}
		_, err = io.Copy(out, r)
		return errors.Join(err, out.Sync(), out.Close())
	})
}

// inspect opens the unpacked store as a program would, and reads all of it.
func (f *Restored) inspect(ctx context.Context, rows string, came map[string]bundleFile) error {
	s, err := Open(ctx, rows)
	if err == nil {
		err = errors.Join(f.readAll(ctx, s, came), s.Close())
	}
	var damaged *DamagedError
	var newer *NewerError
	switch {
	case errors.As(err, &damaged):
		return &FileError{Fault: FaultDamaged, Cause: damaged.Cause}
	case errors.Is(err, ErrReadOnly): // it was written here a moment ago, so it is its own header that forbids it
		return &FileError{Fault: FaultDamaged, Cause: err}
	case errors.As(err, &newer):
		return &FileError{Fault: FaultNewer, Cause: fmt.Errorf("its store has schema version %d; this program knows versions up to %d", newer.Version, newer.Known)}
	}
	return err
}

func (f *Restored) readAll(ctx context.Context, s *Store, came map[string]bundleFile) error {
	f.Altered, f.Missing = []int64{}, []string{}
	cars, err := s.Cars(ctx)
	if err != nil {
		return err
	}
	f.Cars = len(cars)
	for _, c := range cars {
		visits, altered, err := s.readCar(ctx, c)
		if err != nil {
			return &FileError{Fault: FaultDamaged, Cause: err}
		}
		f.Visits += visits
		f.Altered = append(f.Altered, altered...)
		recordings, err := s.Recordings(ctx, c.ID)
		if err != nil {
			return err
		}
		for _, r := range recordings {
			if file, ok := came[r.File]; !ok || file.Digest.String() != r.Digest.String() {
				f.Missing = append(f.Missing, r.File)
				continue
			}
			f.Recordings++
		}
	}
	return nil
}

// readCar reads everything that the store holds of a car, and tells how many visits it has and which of them are not as
// they were saved.
func (s *Store) readCar(ctx context.Context, c Car) (visits int, altered []int64, err error) {
	list, err := s.Visits(ctx, c.ID)
	if err != nil {
		return 0, nil, err
	}
	for _, v := range list {
		if v.Practice != c.Practice {
			return 0, nil, fmt.Errorf("visit %d: %w", v.ID, ErrMixed)
		}
		var other *AlteredError
		switch _, err := s.Visit(ctx, v.ID); {
		case errors.As(err, &other):
			altered = append(altered, v.ID)
		case err != nil:
			return 0, nil, err
		}
	}
	slices.Sort(altered)
	journal, err := s.Journal(ctx, c.ID)
	if err != nil {
		return 0, nil, err
	}
	for _, e := range journal {
		if _, err := s.Proof(ctx, e.ID); err != nil {
			return 0, nil, err
		}
	}
	_, err1 := s.Notes(ctx, c.ID)
	_, err2 := s.Modules(ctx, c.ID)
	_, err3 := s.Cards(ctx, c.ID)
	_, err4 := s.Meter(ctx, c.ID)
	_, err5 := s.Recordings(ctx, c.ID)
	_, err6 := s.Reports(ctx, c.ID)
	return len(list), altered, errors.Join(err1, err2, err3, err4, err5, err6)
}

// placeRecordings moves unpacked recordings into their folder. One that is there already with the same bytes is left;
// one with other bytes is kept under another name. It tells the paths that it added.
func placeRecordings(work, folder string, came map[string]bundleFile) (added []string, err error) {
	if len(came) == 0 {
		return nil, nil
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, err
	}
	for name, f := range came {
		to := filepath.Join(folder, name)
		if exists(to) {
			if same, err := hasDigest(to, f.Digest); err != nil || same {
				if err != nil {
					return added, err
				}
				continue
			}
			if err := os.Rename(to, freeName(to+".kept")); err != nil {
				return added, err
			}
		}
		if err := os.Rename(filepath.Join(work, name), to); err != nil {
			return added, err
		}
		added = append(added, to)
	}
	return added, syncFolder(folder)
}

// replaceStore puts the store at rows in the place of the one at path, and tells under which name that one is kept.
// A whole store is at path at every moment, and what was there is under one of its names.
func replaceStore(ctx context.Context, path, rows string) (kept string, err error) {
	folder := filepath.Dir(path)
	if !exists(path) {
		if err := os.Rename(rows, path); err != nil {
			return "", err
		}
		return "", syncFolder(folder)
	}
	if exists(path + "-journal") {
		rollBack(ctx, path)
	}
	kept = freeName(path + ".before-restore-" + stamp())
	if err := keep(path, kept); err != nil {
		return "", err
	}
	// A journal that is still there belongs to a damaged store: it goes with it, never to the new one.
	hot := exists(path + "-journal")
	if hot {
		if err := os.Rename(path+"-journal", kept+"-journal"); err != nil {
			return "", errors.Join(err, os.Remove(kept))
		}
	}
	err = syncFolder(folder)
	if err == nil {
		err = os.Rename(rows, path)
	}
	if err != nil {
		if hot {
			err = errors.Join(err, os.Rename(kept+"-journal", path+"-journal"))
		}
		return "", errors.Join(err, os.Remove(kept))
	}
	return kept, syncFolder(folder)
}

// rollBack lets the database undo what a dead program had begun. A store that is too damaged for it stays as it is.
func rollBack(ctx context.Context, path string) {
	db, err := sql.Open("sqlite", dsn(path))
	if err != nil {
		return
	}
	defer db.Close()
	db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema`).Scan(new(int))
}

// keep gives a file a second name, or copies it where the file system knows no second names.
func keep(path, as string) error {
	err := os.Link(path, as)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	out, err := os.OpenFile(as, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	if err := errors.Join(fileWriter(context.Background(), path)(out), out.Sync(), out.Close()); err != nil {
		return errors.Join(err, os.Remove(as))
	}
	return nil
}
