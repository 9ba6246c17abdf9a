package diag

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// WriteNew writes a file that is not there yet, for its owner alone, to the disk. A file that is there is not written
// over: the error is [io/fs.ErrExist]. On any other error nothing is left of what was written.
func WriteNew(path string, write func(io.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("diag: writing a file: %w", err)
	}
	if err = errors.Join(write(f), f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(path))
	}
	return nil
}

// ReadAll opens a file and hands it on with its size in bytes.
func ReadAll(path string, read func(r io.ReaderAt, size int64) error) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("diag: reading a file: %w", err)
	}
	info, err := f.Stat()
	switch {
	case err == nil && !info.Mode().IsRegular():
		err = &fs.PathError{Op: "diag: reading", Path: path, Err: errNoFile}
	case err == nil:
		err = read(f, info.Size())
	}
	return errors.Join(err, f.Close())
}
