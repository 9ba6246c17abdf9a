package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"readback/app"
	"readback/app/look"
)

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
