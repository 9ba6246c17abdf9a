package main

import (
	"errors"
	"fmt"
	"io/fs"

	"readback/diag/lesson"
)

// loadProgress reads how far the owner has come in the lessons. A file that is missing or can't be read as progress counts
// as none.
func loadProgress(path string) (lesson.Progress, error) {
	b, err := readSettings(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return lesson.Progress{}, nil
	case err != nil:
		return lesson.Progress{}, fmt.Errorf("readback: reading progress: %w", err)
	}
	p, err := lesson.ReadProgress(b)
	if err != nil {
		return lesson.Progress{}, fmt.Errorf("readback: %s: %w", path, err)
	}
	return p, nil
}
