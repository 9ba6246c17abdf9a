package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"

	"readback/diag"
	"readback/diag/garage"
)

type backupCmd struct {
	File string `arg:"" help:"The file to write; one that is there is not written over."`
}

func (c *backupCmd) Run(e *env) error {
	s, err := e.store()
	if err != nil {
		return err
	}
	defer s.Close()
	var kept garage.BackedUp
	err = writeNew(c.File, func(w io.Writer) (err error) {
		kept, err = s.BackUp(e.ctx, w)
		return err
	})
	if err != nil {
		return err
	}
	return e.printMaybe(map[string]any{"file": c.File, "kept": kept},
		fmt.Sprintf("Backed up to %s: %d cars, %d visits, %d recordings.%s", c.File, kept.Cars, kept.Visits, kept.Recordings, missing(kept.Missing)))
}

type restoreCmd struct {
	File string `arg:"" help:"The file that backup wrote."`
}

func (c *restoreCmd) Run(e *env) error {
	path, err := garage.DefaultPath()
	if err != nil {
		return err
	}
	var got garage.Restored
	err = readWhole(c.File, func(f io.ReaderAt, size int64) (err error) {
		got, err = garage.Restore(e.ctx, path, f, size)
		return err
	})
	if err != nil {
		return err
	}
	text := fmt.Sprintf("Restored: %d cars, %d visits, %d recordings.%s", got.Cars, got.Visits, got.Recordings, missing(got.Missing))
	if got.KeptAs != "" {
		text += fmt.Sprintf("\nThe logbook that was there is kept as %s.", got.KeptAs)
	}
	return e.printMaybe(got, text)
}

type exportCmd struct {
	Car  string `arg:"" help:"Name or identification number of the car."`
	File string `arg:"" help:"The file to write; one that is there is not written over."`
}

func (c *exportCmd) Run(e *env) error {
	s, err := e.store()
	if err != nil {
		return err
	}
	defer s.Close()
	car, err := findCar(e.ctx, s, c.Car)
	if err != nil {
		return err
	}
	var got garage.Exported
	err = writeNew(c.File, func(w io.Writer) (err error) {
		got, err = s.ExportCar(e.ctx, car.ID, w)
		return err
	})
	if err != nil {
		return err
	}
	return e.printMaybe(map[string]any{"file": c.File, "car": car, "kept": got},
		fmt.Sprintf("Written to %s: %s, %d visits, %d recordings.%s\nIt holds the car's number and your notes: hand it only to somebody you trust.", c.File, car.Name, got.Visits, got.Recordings, missing(got.Missing)))
}

type importCmd struct {
	File string `arg:"" help:"The file that export wrote."`
}

func (c *importCmd) Run(e *env) error {
	s, err := e.store()
	if err != nil {
		return err
	}
	defer s.Close()
	var got garage.Imported
	err = readWhole(c.File, func(f io.ReaderAt, size int64) (err error) {
		got, err = s.ImportCar(e.ctx, f, size)
		return err
	})
	if err != nil {
		return err
	}
	how := "added"
	if got.Joined {
		how = "joined to the car that was there"
	}
	return e.printMaybe(got, fmt.Sprintf("%s: %s. %d visits are new, %d were there already.%s", got.Car.Name, how, got.Visits, got.Already, missing(got.Missing)))
}

type rescueCmd struct {
	Damaged string `arg:"" help:"The damaged logbook file."`
	New     string `arg:"" help:"The file to write what can be read to; there must be nothing under this name."`
}

func (c *rescueCmd) Run(e *env) error {
	got, err := garage.Rescue(e.ctx, c.Damaged, c.New)
	if err != nil {
		return err
	}
	if e.json {
		return e.printJSON(got)
	}
	for _, t := range got.Tables {
		if t.Saved+t.Lost > 0 {
			fmt.Fprintf(e.out, "%-16s %d saved, %d lost\n", t.Name, t.Saved, t.Lost)
		}
	}
	fmt.Fprintf(e.out, "%d visits are whole, %d are not. Written to %s; the damaged file is as it was.\n", got.Whole, len(got.Broken), c.New)
	return nil
}

func missing(files []string) string {
	if len(files) == 0 {
		return ""
	}
	return fmt.Sprintf(" %d recordings could not be found.", len(files))
}

// writeNew writes a file that is not there yet.
func writeNew(path string, write func(io.Writer) error) error {
	err := diag.WriteNew(path, write)
	if errors.Is(err, fs.ErrExist) {
		return usage{path + " is there already; it is not written over"}
	}
	return err
}

// readWhole reads a file whose name was typed.
func readWhole(path string, read func(r io.ReaderAt, size int64) error) error {
	err := diag.ReadAll(path, read)
	var typed *fs.PathError
	if errors.As(err, &typed) && typed.Path == path {
		return usage{typed.Error()}
	}
	return err
}
