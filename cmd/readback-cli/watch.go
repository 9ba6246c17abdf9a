package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/garage"
)

type watchCmd struct {
	Adapter string        `required:"" placeholder:"PLACE" help:"Where the adapter is, as in practice:runner-running."`
	CSV     string        `name:"csv" placeholder:"FILE" help:"Also write time, name, value and unit of every reading to a new file."`
	For     time.Duration `placeholder:"DURATION" help:"Stop after this time, as 30s; without it, with Ctrl+C."`
	Car     string        `help:"Name of the car in the logbook."`
	Names   []string      `arg:"" optional:"" name:"name" help:"Values by their words (\"engine speed\"), parameter (0C), identifier (F40C, 22:DD00), with a module before it (7E1:0C), or supply. Without any, what the car offers is listed."`
}

// liveDoc is one value that can be watched.
type liveDoc struct {
	Key    string          `json:"value"` // as it can be given to watch
	Name   string          `json:"name"`
	Module string          `json:"module"`
	Parts  []diag.LivePart `json:"parts"`
	Source string          `json:"source"`
}

// sampleDoc is one reading; with --json there is one such document a line.
type sampleDoc struct {
	At    time.Time       `json:"at"`
	Key   string          `json:"key"`
	Name  string          `json:"name"`
	Label string          `json:"label"`
	State garage.Answered `json:"state"` // "yes", "silent", "refused"
	Value *json.Number    `json:"value"` // null where there is no number
	Unit  string          `json:"unit"`
	Text  string          `json:"text"`
	Raw   garage.Hex      `json:"raw"`
	Rate  float64         `json:"rate"` // readings a second
}

func (c *watchCmd) Run(e *env) (err error) {
	s, err := e.store()
	if err != nil {
		return err
	}
	v, err := diag.Open(e.ctx, diag.Options{Place: adapter.Place(c.Adapter), Drivers: e.drivers, Store: s, Identifiers: ownIdentifiers(c.Names)})
	if errors.Is(err, diag.ErrManyIdentifiers) {
		err = usage{diag.Sentence(err)}
	}
	if err != nil {
		return errors.Join(err, s.Close())
	}
	defer func() { err = errors.Join(err, v.Close(), s.Close()) }()
	if _, err := v.Meet(e.ctx, c.Car); err != nil {
		return err
	}
	offered, err := v.Offered(e.ctx)
	if err != nil {
		return err
	}
	if len(c.Names) == 0 {
		return e.listLive(offered)
	}
	var keys []diag.LiveKey
	for _, n := range c.Names {
		x, err := diag.ChooseLive(offered, n)
		if err != nil {
			return usage{diag.Sentence(err) + " Watch without a name lists what there is."}
		}
		keys = append(keys, x.Key)
	}
	return e.watch(v, keys, c.For, c.CSV)
}

// ownIdentifiers are the identifiers among the names that no standard has: DD00, 22:DD00, 7E5:DD00.
func ownIdentifiers(names []string) (out []uint16) {
	for _, n := range names {
		number := n[strings.LastIndex(n, ":")+1:]
		if id, err := strconv.ParseUint(number, 16, 16); err == nil && len(number) == 4 && id>>8 != 0xF4 {
			out = append(out, uint16(id))
		}
	}
	return out
}

func (e *env) listLive(offered []diag.LiveValue) error {
	docs := []liveDoc{}
	for _, x := range offered {
		parts := x.Parts
		if parts == nil {
			parts = []diag.LivePart{}
		}
		docs = append(docs, liveDoc{x.Key.String(), x.Name, x.Module, parts, x.Source})
	}
	if e.json {
		return e.printJSON(map[string]any{"offered": docs})
	}
	for _, d := range docs {
		var units []string
		for _, p := range d.Parts {
			units = append(units, p.Unit)
		}
		fmt.Fprintf(e.out, "%-14s %-44s %-10s %s\n", d.Key, d.Name, strings.Join(units, " "), d.Module)
	}
	return nil
}

// watch prints what comes until the time is over, or until it is interrupted: both are the end that was asked for.
func (e *env) watch(v *diag.Visit, keys []diag.LiveKey, within time.Duration, file string) (err error) {
	ctx := e.ctx
	if within > 0 {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, within)
		defer stop()
	}
	keep := func(diag.Sample) error { return nil }
	if file != "" {
		f, openErr := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if errors.Is(openErr, os.ErrExist) {
			return usage{file + " is there already; choose another name"}
		}
		if openErr != nil {
			return openErr
		}
		defer func() { err = errors.Join(err, f.Close()) }()
		keep = diag.NewSampleLog(f, nil).Write
	}
	show := e.showSample
	if e.json {
		lines := json.NewEncoder(e.out)
		lines.SetEscapeHTML(false)
		show = func(s diag.Sample) error { return lines.Encode(sampleDocOf(s)) }
	}
	for s, err := range v.Watch(ctx, keys) {
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return err
		}
		if err := errors.Join(keep(s), show(s)); err != nil {
			return err
		}
	}
	return nil
}

func (e *env) showSample(s diag.Sample) error {
	_, err := fmt.Fprintf(e.out, "%s  %-40s %12s %-6s %5.1f/s\n", s.At.Local().Format("15:04:05.000"), s.FullName(), s.Shown(), s.Unit, s.Rate)
	return err
}

func sampleDocOf(s diag.Sample) sampleDoc {
	d := sampleDoc{At: s.At, Key: s.Key.String(), Name: s.Name, Label: s.Label, State: s.State, Unit: s.Unit, Text: s.Text, Raw: s.Raw, Rate: s.Rate}
	if s.Number {
		n := json.Number(s.Shown())
		d.Value = &n
	}
	return d
}
