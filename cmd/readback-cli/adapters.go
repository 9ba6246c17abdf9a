package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"readback/diag"
	"readback/diag/adapter"
)

type adaptersCmd struct {
	Watch bool `help:"Go on, and show what is plugged in and pulled out, until Ctrl-C."`
	Ask   bool `help:"Ask each serial adapter what it is. Nothing is sent to the car."`
}

// watchEvery is how often --watch looks.
const watchEvery = time.Second

// adapterDoc is one adapter in JSON.
type adapterDoc struct {
	adapter.Found
	Probed *adapter.Probed `json:"probed,omitempty"` // with --ask
	Silent string          `json:"silent,omitempty"` // with --ask: why it is not known
}

func (c *adaptersCmd) Run(e *env) error {
	if c.Watch {
		return c.watch(e)
	}
	found, err := diag.Find(e.ctx, e.drivers)
	docs := make([]adapterDoc, 0, len(found))
	for _, f := range found {
		d := adapterDoc{Found: f}
		if c.Ask && len(f.Also) > 0 && f.Ready {
			d.ask(e)
		}
		docs = append(docs, d)
	}
	if e.json {
		return errors.Join(err, e.printJSON(map[string]any{"adapters": docs}))
	}
	for _, d := range docs {
		d.print(e, "")
	}
	return err
}

func (d *adapterDoc) ask(e *env) {
	p, err := diag.Identify(e.ctx, e.drivers, d.Found)
	if err != nil {
		d.Silent = diag.Sentence(err)
		return
	}
	d.Probed = &p
}

// print shows a row; mark says what has happened to it.
func (d *adapterDoc) print(e *env, mark string) {
	f := d.Found
	fmt.Fprintf(e.out, "%s%-26s %-22s %s\n", mark, f.Place, f.Name, f.Note)
	switch {
	case d.Probed != nil && d.Probed.Place == f.Place:
		fmt.Fprintf(e.out, "    answers: %s\n", d.Probed.Version)
	case d.Probed != nil:
		fmt.Fprintf(e.out, "    answers as another kind; use %s\n", d.Probed.Place)
	case d.Silent != "":
		fmt.Fprintf(e.out, "    %s\n", d.Silent)
	default:
		for _, p := range f.Also {
			fmt.Fprintf(e.out, "    or %s, if it is an adapter of that kind\n", p)
		}
	}
	if f.Fix != "" {
		fmt.Fprintf(e.out, "    to make it ready: %s\n", f.Fix)
	}
}

// watch shows every change; in JSON it prints one document on a line for each.
func (c *adaptersCmd) watch(e *env) error {
	for s, err := range diag.WatchAdapters(e.ctx, e.drivers, watchEvery) {
		if err != nil {
			fmt.Fprintln(e.err, diag.Sentence(err))
		}
		if e.json {
			if err := json.NewEncoder(e.out).Encode(s); err != nil {
				return err
			}
			continue
		}
		for _, part := range []struct {
			mark string
			list []adapter.Found
		}{{"+ ", s.Appeared}, {"- ", s.Vanished}, {"~ ", s.Changed}} {
			for _, f := range part.list {
				(&adapterDoc{Found: f}).print(e, part.mark)
			}
		}
		if len(s.Taken) > 0 {
			fmt.Fprintln(e.out, "  "+diag.TakenAdvice)
		}
		if len(s.Appeared)+len(s.Vanished)+len(s.Changed) == 0 {
			for _, f := range s.Found {
				(&adapterDoc{Found: f}).print(e, "  ")
			}
		}
	}
	if errors.Is(e.ctx.Err(), context.Canceled) {
		return nil // told to stop
	}
	return e.ctx.Err()
}
