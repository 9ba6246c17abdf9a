package main

import (
	"fmt"
	"io"
	"strings"

	"readback/diag"
	"readback/diag/explain"
	"readback/diag/garage"
)

// maxInput bounds what is read from standard input: a pasted page is far smaller.
const maxInput = 16 << 20

type explainCmd struct {
	Wish string   `enum:"read,clear," default:"" help:"What you want to do: read or clear."`
	Car  string   `help:"Name of a car in the logbook, whose modules are then known by name."`
	Text []string `arg:"" help:"The frame as you were given it; - reads it from standard input."`
}

func (c *explainCmd) Run(e *env) error {
	text, err := e.text(c.Text)
	if err != nil {
		return err
	}
	o := explain.Options{Wish: explain.Wish(c.Wish)}
	if c.Car != "" {
		if o.Modules, err = e.modulesOf(c.Car); err != nil {
			return err
		}
	}
	x := explain.Explain(text, o)
	if e.json {
		err = e.printJSON(x)
	} else {
		e.printExplanation(x)
	}
	if err != nil {
		return err
	}
	if !sendable(x) {
		return no
	}
	return nil
}

// sendable: a request of class look or change in which nothing is wrong.
func sendable(x explain.Explanation) bool {
	if x.Class != explain.Look && x.Class != explain.Change {
		return false
	}
	return x.Frame != nil && !x.Wrong()
}

// text joins the arguments, or reads standard input for a single "-".
func (e *env) text(args []string) (string, error) {
	if len(args) == 1 && args[0] == "-" {
		b, err := io.ReadAll(io.LimitReader(e.in, maxInput+1))
		if err != nil {
			return "", fmt.Errorf("reading standard input: %w", err)
		}
		if len(b) > maxInput {
			return "", usage{"standard input is longer than 16 MiB"}
		}
		return string(b), nil
	}
	return strings.Join(args, " "), nil
}

// modulesOf are the modules of a car in the logbook.
func (e *env) modulesOf(name string) ([]explain.Module, error) {
	s, err := e.store()
	if err != nil {
		return nil, err
	}
	defer s.Close()
	car, err := findCar(e.ctx, s, name)
	if err != nil {
		return nil, err
	}
	last, ok, err := s.LastVisit(e.ctx, car.ID)
	if err != nil || !ok {
		return nil, err
	}
	return diag.ExplainModules(last.Modules), nil
}

func (e *env) printExplanation(x explain.Explanation) {
	fmt.Fprintln(e.out, x.Summary)
	if x.Frame != nil {
		fmt.Fprintf(e.out, "  %s  % X\n", x.Frame.IDText, x.Frame.Data)
	}
	for _, f := range x.Fields {
		fmt.Fprintf(e.out, "  %-14s %-24s %s\n", f.Name, f.Hex, f.Text)
	}
	for _, f := range x.Findings {
		fmt.Fprintf(e.out, "  %-6s %s", levelWord(f.Level), f.Text)
		if f.Fix != "" {
			fmt.Fprintf(e.out, " %s", f.Fix)
		}
		fmt.Fprintln(e.out)
	}
	fmt.Fprintf(e.out, "Class: %s. %s\n", x.Class, x.Reason)
	for _, l := range x.Lost {
		fmt.Fprintln(e.out, "Lost for good:", l)
	}
	for _, l := range x.Cannot {
		fmt.Fprintln(e.out, "It can't:", l)
	}
	if x.Words != nil {
		fmt.Fprintln(e.out, "Read-back words:", strings.Join(x.Words[:], " "))
	}
	for _, n := range x.Nearest {
		if !x.Odd() {
			break // nothing speaks for a slip
		}
		fmt.Fprintf(e.out, "Near: %s (%d away): %s\n", n.Text, n.Distance, n.Summary)
	}
	if x.Sure != "" {
		fmt.Fprintln(e.out, "How sure:", x.Sure)
	}
	if x.Source != "" {
		fmt.Fprintln(e.out, "Rests on:", x.Source)
	}
}

func levelWord(l explain.Level) string {
	switch l {
	case explain.Wrong:
		return "WRONG"
	case explain.Doubt:
		return "DOUBT"
	}
	return "NOTE"
}

type wordsCmd struct {
	Text []string `arg:"" help:"The request."`
}

func (c *wordsCmd) Run(e *env) error {
	text, err := e.text(c.Text)
	if err != nil {
		return err
	}
	x := diag.Explain(text, "")
	if x.Words == nil {
		if err := e.printMaybe(map[string]any{"words": nil, "reason": x.Summary}, "No complete frame: "+x.Summary); err != nil {
			return err
		}
		return no
	}
	canonical := explain.Canonical(x.Frame.ID, x.Frame.Data)
	return e.printMaybe(map[string]any{"words": x.Words, "request": canonical}, strings.Join(x.Words[:], " ")+"    ("+canonical+")")
}

// printMaybe prints the document or the line, as asked.
func (e *env) printMaybe(doc any, line string) error {
	if e.json {
		return e.printJSON(doc)
	}
	_, err := fmt.Fprintln(e.out, line)
	return err
}

type compareCmd struct {
	A string `arg:"" help:"One frame, in quotes."`
	B string `arg:"" help:"The other frame, in quotes."`
}

func (c *compareCmd) Run(e *env) error {
	d := explain.Compare(c.A, c.B, explain.Options{})
	if e.json {
		if err := e.printJSON(d); err != nil {
			return err
		}
	} else {
		for _, x := range []explain.Explanation{d.A, d.B} {
			if x.Frame == nil {
				fmt.Fprintln(e.out, "  (no frame)", x.Summary)
				continue
			}
			fmt.Fprintf(e.out, "  %-8s  % X\n", x.Frame.IDText, x.Frame.Data)
		}
		for _, f := range d.Differences {
			place := "identifier"
			if f.Byte >= 0 {
				place = fmt.Sprintf("byte %d", f.Byte+1)
			}
			fmt.Fprintf(e.out, "  %-10s %-8s %-8s %s\n", place, dash(f.A), dash(f.B), f.Text)
		}
		fmt.Fprintln(e.out, d.Summary)
	}
	if !d.Same {
		return no
	}
	return nil
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

func findCarIn(cars []garage.Car, name string) (garage.Car, bool) {
	for _, c := range cars {
		if strings.EqualFold(c.Name, name) || c.VIN != "" && strings.EqualFold(c.VIN, name) {
			return c, true
		}
	}
	return garage.Car{}, false
}
