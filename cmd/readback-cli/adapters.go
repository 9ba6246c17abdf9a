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

	Listen string `placeholder:"PLACE" help:"Find the bit rate of the bus there by listening, and say how the bus does. Nothing is sent to the car."`
	Take   bool   `help:"With --listen: also change the bit rate of an interface that is up. It is put back afterwards."`
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
	switch {
	case c.Listen != "":
		return c.listen(e)
	case c.Watch:
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

// listen tells what is heard at a place. The answer is "no" where nothing should be sent.
func (c *adaptersCmd) listen(e *env) error {
	o, err := diag.ListenBus(e.ctx, e.drivers, adapter.Place(c.Listen), adapter.ListenOptions{Take: c.Take})
	if err != nil {
		return err
	}
	if e.json {
		err = e.printJSON(o)
	} else {
		if o.Heard.BitRate > 0 {
			fmt.Fprintf(e.out, "%d kbit/s, %d frames with 11-bit and %d with 29-bit identifiers, busy for %.0f %% of the time\n",
				o.Heard.BitRate/1000, o.Heard.Narrow, o.Heard.Wide, 100*o.Heard.Load)
		}
		printHealth(e, o.Health)
	}
	if err == nil && o.Health.StopSending {
		return errNo
	}
	return err
}

func printHealth(e *env, h diag.Health) {
	fmt.Fprintln(e.out, h.Text)
	for i, cause := range h.Causes {
		fmt.Fprintf(e.out, "  %d. %s\n", i+1, cause)
	}
	fmt.Fprintln(e.out, "Next: "+h.Next)
	if h.Command != "" {
		fmt.Fprintln(e.out, "  "+h.Command)
	}
}
