package garage

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
)

// Recording are the frames of one visit, in a file beside the store.
type Recording struct {
	ID     int64     `json:"id"`
	CarID  int64     `json:"carId"`
	Visit  int64     `json:"visit"` // the reading that the frames belong to, 0 when it was not saved
	Entry  int64     `json:"entry"` // the change that is among them, 0 when there is none
	File   string    `json:"file"`  // name within the folder of recordings
	Frames int       `json:"frames"`
	Digest Hex       `json:"digest"` // SHA-256 of the file
	Begun  time.Time `json:"begun"`
	Ended  time.Time `json:"ended"`
}

// recordingsOf is the folder beside a store.
func recordingsOf(store string) string { return filepath.Join(filepath.Dir(store), "recordings") }

func (s *Store) recordingsFolder() string { return recordingsOf(s.path) }

// unfinishedRecording is how the name of a file begins that PutRecording has not finished.
const unfinishedRecording = ".unfinished-"

// RecordingPath is where the file of a recording is.
func (s *Store) RecordingPath(r Recording) string {
	return filepath.Join(s.recordingsFolder(), filepath.Base(r.File))
}

// PutRecording writes a recording beside the store and notes it with its digest. write fills the file; on an error
// nothing is left behind. The file has its final name only when it is whole and on the disk.
func (s *Store) PutRecording(ctx context.Context, r Recording, write func(io.Writer) error) (Recording, error) {
	if err := representable("garage: put recording", r.Begun, r.Ended); err != nil {
		return Recording{}, err
	}
	if r.Begun.IsZero() {
		return Recording{}, errors.New("garage: put recording: a recording without a beginning")
	}
	r.Begun, r.Ended = r.Begun.UTC(), r.Ended.UTC()
	if err := os.MkdirAll(s.recordingsFolder(), 0o700); err != nil {
		return Recording{}, fmt.Errorf("garage: put recording: %w", err)
	}
	f, err := os.CreateTemp(s.recordingsFolder(), unfinishedRecording+"*")
	if err != nil {
		return Recording{}, fmt.Errorf("garage: put recording: %w", err)
	}
	digest := sha256.New()
	err = errors.Join(write(io.MultiWriter(f, digest)), f.Sync(), f.Close())
	if err != nil {
		return Recording{}, errors.Join(fmt.Errorf("garage: put recording: %w", err), os.Remove(f.Name()))
	}
	r.Digest = digest.Sum(nil)
	r.File = fmt.Sprintf("%s-%x.pcapng", r.Begun.Format("20060102-150405"), []byte(r.Digest[:4]))
	if err := os.Rename(f.Name(), s.RecordingPath(r)); err != nil {
		return Recording{}, errors.Join(fmt.Errorf("garage: put recording: %w", err), os.Remove(f.Name()))
	}
	err = s.write(ctx, "put recording", func(tx *sql.Tx) error {
		if err := carExists(ctx, tx, r.CarID); err != nil {
			return err
		}
		if err := visitOf(ctx, tx, r.Visit, r.CarID); err != nil {
			return err
		}
		if r.Entry != 0 {
			switch e, err := entry(ctx, tx, r.Entry); {
			case err != nil:
				return err
			case e.CarID != r.CarID:
				return fmt.Errorf("entry %d is a change of car %d, not of car %d", e.ID, e.CarID, r.CarID)
			}
		}
		return tx.QueryRowContext(ctx, `INSERT INTO recording (car, visit, entry, file, frames, digest, begun, ended) VALUES (?, nullif(?, 0), nullif(?, 0), ?, ?, ?, ?, ?) RETURNING id`,
			r.CarID, r.Visit, r.Entry, r.File, r.Frames, []byte(r.Digest), nanos(r.Begun), nanos(r.Ended)).Scan(&r.ID)
	})
	if err != nil {
		return Recording{}, errors.Join(err, os.Remove(s.RecordingPath(r)))
	}
	return r, nil
}

// Recordings are the recordings of a car, newest first.
func (s *Store) Recordings(ctx context.Context, carID int64) ([]Recording, error) {
	out := []Recording{}
	err := s.read(ctx, "list recordings", func(tx *sql.Tx) error {
		return each(ctx, tx, func(rows *sql.Rows) error {
			var r Recording
			err := rows.Scan(&r.ID, &r.CarID, &r.Visit, &r.Entry, &r.File, &r.Frames, (*[]byte)(&r.Digest), moment{&r.Begun}, moment{&r.Ended})
			out = append(out, r)
			return err
		}, `SELECT id, car, coalesce(visit, 0), coalesce(entry, 0), file, frames, digest, begun, ended FROM recording WHERE car = ? ORDER BY id DESC`, carID)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}
