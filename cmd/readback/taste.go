package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"

	"readback/app"
	"readback/app/look"
	"readback/diag/quantity"
)

// loadTaste reads the choices. A file that is missing or can't be read as choices counts as none.
func loadTaste(path string) (app.Taste, error) {
	t := app.Taste{Factor: 1}
	b, err := readSettings(path)
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
	if kept.Factor >= look.Factors[0] && kept.Factor <= look.Factors[len(look.Factors)-1] {
		t.Factor = kept.Factor
	}
	if least.w <= kept.Width && kept.Width <= most && least.h <= kept.Height && kept.Height <= most {
		t.Width, t.Height = kept.Width, kept.Height
	}
	t.Language = kept.Language // one that the catalogue has lost counts as the system's
	t.Report = kept.Report     // and here as the window's
	t.Units = quantity.Choice{Way: one(quantity.Ways, kept.Units.Way), Temperature: one(quantity.Temperatures, kept.Units.Temperature),
		Pressure: one(quantity.Pressures, kept.Units.Pressure)}
	t.Folders = app.Folders{Logbook: whole(kept.Folders.Logbook), Recordings: whole(kept.Folders.Recordings), Reports: whole(kept.Folders.Reports), Last: whole(kept.Folders.Last)}
	return t, nil
}

// one is a unit when it is among those that can be chosen.
func one(all []quantity.Unit, u quantity.Unit) quantity.Unit {
	if slices.Contains(all, u) {
		return u
	}
	return ""
}

// whole is a path when it leads from the root.
func whole(path string) string {
	if filepath.IsAbs(path) {
		return path
	}
	return ""
}
