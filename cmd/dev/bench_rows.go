package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"
)

// row is one thing that is measured.
type row struct {
	name string
	// goal is the highest ratio of the measured to what it is measured beside that will do; 0 for what is only shown.
	goal float64
	// within is how much more than what it is measured beside will do, in its unit; 0 for rows with a ratio.
	within float64
	// most is the highest median that will do, in its unit; nil for rows with something beside them.
	most    *float64
	anchor  string // what stands beside it
	runs    int    // 0 stands for the chore's own number
	unit    unit
	measure func(ctx context.Context, b *bench) (sample, error)
}

// sample is one run of a row, in its unit. Beside, where there is something, is what the run is measured against: the least
// that is possible, or another program at the same work.
type sample struct {
	got, beside float64
}

// rows is everything that is measured end to end. Benchmarks of the packages come after it by themselves.
func rows() []row {
	least := "the least that frames, timers and bus load allow"
	list := []row{
		{name: "look, 20 modules, raw CAN, first time", goal: 1.3, anchor: least, measure: func(ctx context.Context, b *bench) (sample, error) {
			return b.look(ctx, "practice:twenty", "")
		}},
		{name: "look, 20 modules, raw CAN, known car", goal: 1.15, runs: 3, anchor: least, measure: func(ctx context.Context, b *bench) (sample, error) {
			return b.look(ctx, "practice:twenty", "practice:twenty")
		}},
		{name: "look, 20 modules, serial, known car", goal: 1.15, runs: 3, anchor: "the least that the line's speed allows", measure: func(ctx context.Context, b *bench) (sample, error) {
			return b.lookSerial(ctx, "twenty")
		}},
		{name: "start of the terminal program", most: bound(0.1), measure: func(ctx context.Context, b *bench) (sample, error) {
			begun := time.Now()
			_, err := b.cli(ctx, b.home(), "words", "7E5 04 14 FF FF FF 55 55 55")
			return sample{got: time.Since(begun).Seconds()}, err
		}},
	}
	list = append(list, explainedRows()...)
	list = append(list, codeRows()...)
	return append(list, append(labRows(), windowRows()...)...)
}

// explainedRows are about a recording of a million frames.
func explainedRows() []row {
	one := func(of func(cost) float64) func(context.Context, *bench) (sample, error) {
		return func(ctx context.Context, b *bench) (sample, error) {
			ours, theirs, err := b.explained(ctx)
			return sample{of(ours), of(theirs)}, err
		}
	}
	const tshark = "tshark at the same recording"
	peak := one(func(c cost) float64 { return c.peak })
	return []row{
		{name: "1,000,000 frames explained", goal: 0.1, runs: 5, anchor: tshark, measure: one(func(c cost) float64 { return c.took })},
		{name: "1,000,000 frames explained, processor", goal: 0.15, runs: 5, anchor: tshark, measure: one(func(c cost) float64 { return c.busy })},
		{name: "1,000,000 frames explained, most memory", most: bound(100), runs: 5, unit: megabytes, anchor: tshark, measure: peak},
	}
}

// codeRows are measured by benchmarks of the packages.
func codeRows() []row {
	// The shortest frame is 47 bits long without stuff bits (ISO 11898-1), 47 us at 1 Mbit/s.
	const shortest = 47e-6
	return []row{
		{name: "full rate, frames lost", most: bound(0), runs: 1, unit: "frames", anchor: "frames in a second: the shortest ones at 1 Mbit/s", measure: func(ctx context.Context, b *bench) (sample, error) {
			x, err := b.benchmark(ctx, "./app", "FullRate", "10x")
			return sample{got: x.of("lost"), beside: x.of("frames/op")}, err
		}},
		{name: "full rate, a processor", most: bound(10), runs: 1, unit: "%", measure: func(ctx context.Context, b *bench) (sample, error) {
			x, err := b.benchmark(ctx, "./app", "FullRate", "10x")
			return sample{got: x.of("%-of-a-core")}, err
		}},
		{name: "a frame in short, as in a list", goal: 0.1, runs: 1, anchor: "the shortest frame at 1 Mbit/s on the wire", measure: func(ctx context.Context, b *bench) (sample, error) {
			x, err := b.benchmark(ctx, "./diag/explain", "SummaryFrame", "200ms")
			return sample{x.of("ns/op") / 1e9, shortest}, err
		}},
		{name: "a frame explained in full, byte by byte", goal: 1, runs: 1, anchor: "the shortest frame at 1 Mbit/s on the wire", measure: func(ctx context.Context, b *bench) (sample, error) {
			x, err := b.benchmark(ctx, "./diag/explain", "ExplainFrame", "200ms")
			return sample{x.of("ns/op") / 1e9, shortest}, err
		}},
		{name: "a visit with 10,000 codes into the logbook", goal: 2, runs: 1, anchor: "as many rows into plain tables", measure: func(ctx context.Context, b *bench) (sample, error) {
			x, err := b.benchmark(ctx, "./diag/garage", "Save10000Codes", "5x")
			if err != nil {
				return sample{}, err
			}
			y, err := b.benchmark(ctx, "./diag/garage", "PlainRows", "5x")
			return sample{x.of("ns/op") / 1e9, y.of("ns/op") / 1e9}, err
		}},
	}
}

func bound(v float64) *float64 { return &v }

// look reads the car at a place with a logbook of its own, in which an earlier look at first, if any, has put it.
func (b *bench) look(ctx context.Context, place, first string) (sample, error) {
	home := b.home()
	if first != "" {
		if _, err := b.cli(ctx, home, "look", "--adapter", first); err != nil {
			return sample{}, err
		}
	}
	text, err := b.cli(ctx, home, "look", "--json", "--adapter", place)
	if err != nil {
		return sample{}, err
	}
	return lookTime(text)
}

// lookTime reads the document of a look.
func lookTime(text []byte) (sample, error) {
	var doc struct {
		Elapsed  *float64 `json:"elapsedMs"`
		Limit    *float64 `json:"limitMs"`
		Complete bool     `json:"complete"`
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		return sample{}, fmt.Errorf("the document of a look: %w", err)
	}
	switch {
	case doc.Elapsed == nil:
		return sample{}, errors.New("the document of a look has no elapsedMs")
	case !doc.Complete:
		return sample{}, errors.New("the look was not complete")
	}
	s := sample{got: *doc.Elapsed / 1000}
	if doc.Limit != nil {
		s.beside = *doc.Limit / 1000
	}
	return s, nil
}

// lineSpeed is what serial adapters are tried with first, in bit/s.
const lineSpeed = "38400"

// lookSerial reads a practice car that waits on a pseudo terminal, after a look over raw CAN has made it known.
func (b *bench) lookSerial(ctx context.Context, scenario string) (s sample, err error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	c := b.command(ctx, b.settings(b.home()), b.binary("readback-cli"), "practice", "--json", "--serve", "serial", "--speed", lineSpeed, "--scenario", scenario)
	out, err := c.StdoutPipe()
	if err != nil {
		return sample{}, err
	}
	var said bytes.Buffer
	c.Stderr = &said
	if err := c.Start(); err != nil {
		return sample{}, err
	}
	defer func() {
		stop()
		_, _ = io.Copy(io.Discard, out)
		_ = c.Wait() // it was told to stop
	}()
	var at struct {
		Place string `json:"place"`
	}
	if err := json.NewDecoder(out).Decode(&at); err != nil {
		return sample{}, fmt.Errorf("the practice car: %w\n%s", err, said.String())
	}
	return b.look(ctx, at.Place, "practice:"+scenario)
}

// home is an empty folder for one run's settings and logbook.
func (b *bench) home() string {
	b.homes++
	return fmt.Sprintf("%s%chome-%d", b.scratch, os.PathSeparator, b.homes)
}

// settings make a program keep everything in home.
func (b *bench) settings(home string) []string {
	return []string{"HOME=" + home, "XDG_CONFIG_HOME=" + home, "XDG_DATA_HOME=" + home, "AppData=" + home}
}

// cli runs the terminal program and returns what it printed.
func (b *bench) cli(ctx context.Context, home string, args ...string) ([]byte, error) {
	if err := os.MkdirAll(home, 0o700); err != nil {
		return nil, err
	}
	text, err := b.output(ctx, b.settings(home), b.binary("readback-cli"), args...)
	if err != nil {
		return nil, fmt.Errorf("%w", err)
	}
	return []byte(strings.TrimSpace(text)), nil
}
