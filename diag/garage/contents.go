package garage

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"
)

// Contents tells what is in a back-up or in a car's file, before anything of it is taken.
type Contents struct {
	Whole      bool      `json:"whole"` // a back-up of a whole store; false for one car
	Made       time.Time `json:"made"`
	Recordings int       `json:"recordings"`
	Car        string    `json:"car"`    // of a car's file: the car's name
	VIN        string    `json:"vin"`    // of a car's file: its identification number, "" when there is none
	Visits     int       `json:"visits"` // of a car's file: how many visits it holds
}

// Inspect reads what a back-up or a car's file says of itself. The rows of a back-up are not read; Restore checks them.
// A file that can't be taken is a *FileError.
func Inspect(ctx context.Context, r io.ReaderAt, size int64) (Contents, error) {
	b, err := openBundle(r, size, backUpFormat, storeName)
	if err == nil {
		return Contents{Whole: true, Made: b.m.Made, Recordings: len(b.recordings())}, nil
	}
	var file *FileError
	if !errors.As(err, &file) || file.Fault != FaultForeign {
		return Contents{}, err
	}
	if b, err = openBundle(r, size, carFormat, rowsName); err != nil {
		return Contents{}, err
	}
	c := Contents{Made: b.m.Made, Recordings: len(b.recordings())}
	if rows := b.file(rowsName); rows.Size > mostRows {
		return Contents{}, &FileError{Fault: FaultTooLarge, Cause: fmt.Errorf("its rows have %d bytes, more than %d", rows.Size, mostRows)}
	}
	if err := b.unpack(ctx, b.file(rowsName), c.count); err != nil {
		return Contents{}, foreignRows(ctx, err)
	}
	return c, nil
}

// count reads the car's own row and counts its visits.
func (c *Contents) count(r io.Reader) error {
	return readRows(r, func(p part, columns []string) (func([]any) error, func() error, error) {
		row := func([]any) error { return nil }
		switch p.name {
		case "car":
			row = func(values []any) error {
				for i, name := range columns {
					text, _ := values[i].(string)
					switch name {
					case "name":
						c.Car = text
					case "vin":
						c.VIN = text
					}
				}
				return nil
			}
		case "visit":
			row = func([]any) error { c.Visits++; return nil }
		}
		return row, func() error { return nil }, nil
	})
}
