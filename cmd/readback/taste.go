package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"readback/app"
	"readback/app/look"
)

// tasteFile is where the owner's choices about the window are kept.
func tasteFile() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("readback: finding the folder for settings: %w", err)
	}
	return filepath.Join(dir, "readback", "window.json"), nil
}

// loadTaste reads the choices. A file that is missing or can't be read as choices counts as none.
func loadTaste(path string) (app.Taste, error) {
	t := app.Taste{Factor: 1}
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return t, nil
	}
	if err != nil {
		return t, fmt.Errorf("readback: reading settings: %w", err)
	}
	var kept app.Taste
	if err := json.Unmarshal(b, &kept); err != nil {
		return t, fmt.Errorf("readback: reading settings %s: %w", path, err)
	}
	if kept.Shade == look.ShadeLight || kept.Shade == look.ShadeDark {
		t.Shade = kept.Shade
	}
	if kept.Factor >= 1 && kept.Factor <= look.Factors[len(look.Factors)-1] {
		t.Factor = kept.Factor
	}
	return t, nil
}

// saveTaste writes the choices so that a crash leaves either the old ones or the new ones.
func saveTaste(path string, t app.Taste) error {
	b, err := json.MarshalIndent(t, "", "  ")
	if err != nil {
		return fmt.Errorf("readback: writing settings: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("readback: writing settings: %w", err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), "window-*.json")
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
