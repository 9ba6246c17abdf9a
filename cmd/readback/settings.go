package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// The files in which choices and progress are kept, in the program's folder.
const (
	tasteFile    = "window.json"
	progressFile = "lessons.json"
)

// settingsFile is where one of them is.
func settingsFile(name string) (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("readback: finding the folder for settings: %w", err)
	}
	return filepath.Join(dir, "readback", name), nil
}

// mostSettings is the largest file of them that is read, in bytes.
const mostSettings = 1 << 20

// readSettings reads the file that saveSettings writes.
func readSettings(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, mostSettings+1))
	if err == nil && len(b) > mostSettings {
		err = fmt.Errorf("%s has more than %d bytes", path, mostSettings)
	}
	return b, err
}

// saveSettings writes a value so that a crash leaves either the old file or the new one.
func saveSettings(path string, v any) error {
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return fmt.Errorf("readback: writing settings: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("readback: writing settings: %w", err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), "settings-*.json")
	if err != nil {
		return fmt.Errorf("readback: writing settings: %w", err)
	}
	_, err = f.Write(append(b, '\n'))
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("readback: writing settings: %w", err), os.Remove(f.Name()))
	}
	return nil
}
