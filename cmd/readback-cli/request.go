package main

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

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
		return errNo
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
	e.wrapped("", "", x.Summary)
	if x.Cleaned != nil && x.Frame == nil {
		e.wrapped("  Read as  ", "           ", strings.ReplaceAll(x.Cleaned.Text, "\n", "   "))
	}
	if len(x.Fields) > 0 {
		fmt.Fprintln(e.out)
	}
	for _, f := range x.Fields {
		e.wrapped(fmt.Sprintf("  %-23s  %-14s  ", f.Hex, f.Name), strings.Repeat(" ", 43), f.Text)
	}
	if len(x.Steps) > 0 {
		fmt.Fprintln(e.out, "\nThere are several:")
		for i, s := range x.Steps {
			mark := " "
			if s.Taken {
				mark = ">"
			}
			e.wrapped(fmt.Sprintf("%s %2d  %s  ", mark, i+1, blank(s.Text, "(can't be read)")), "      ", fmt.Sprintf("[%s, %s] %s", s.Direction, s.Class, s.Summary))
		}
	}
	if len(x.Findings) > 0 {
		fmt.Fprintln(e.out)
	}
	for _, f := range x.Findings {
		e.wrapped(fmt.Sprintf("%-5s  ", levelWord(f.Level)), "       ", f.Text)
		e.pointed(x.Input, f.At)
		if f.Fix != "" {
			e.wrapped("       ", "       ", f.Fix)
		}
	}
	if near := x.Nearest; len(near) > 0 && x.Slipped() { // of a sound request nobody is offered another one
		fmt.Fprintln(e.out, "\nOne slip away:")
		for _, n := range near {
			e.wrapped("  "+n.Text+"  ", "      ", fmt.Sprintf("[%s] %s", n.Class, n.Summary))
			if n.Slip != "" {
				e.wrapped("      ", "      ", n.Slip)
			}
		}
	}
	fmt.Fprintln(e.out)
	e.wrapped("Class      ", "           ", string(x.Class)+". "+x.Reason)
	e.listed("Lost       ", x.Lost)
	e.listed("It can't   ", x.Cannot)
	if x.Words != nil && sendable(x) {
		fmt.Fprintln(e.out, "Say back  ", strings.Join(x.Words[:], " "))
	}
	if x.Sure != "" {
		e.wrapped("How sure   ", "           ", x.Sure)
	}
	if x.Source != "" {
		e.wrapped("Rests on   ", "           ", x.Source)
	}
}

// listed prints sentences under one heading, each on a line of its own.
func (e *env) listed(heading string, lines []string) {
	for _, l := range lines {
		e.wrapped(heading, "           ", l)
		heading = "           "
	}
}

// columns is how wide printed text may be.
const columns = 100

// wrapped prints words behind a heading, and under it where they do not fit.
func (e *env) wrapped(heading, under, text string) {
	at := utf8.RuneCountInString(heading)
	line := heading
	fresh := true
	for _, w := range strings.Fields(text) {
		n := utf8.RuneCountInString(w)
		if !fresh && at+1+n > columns {
			fmt.Fprintln(e.out, strings.TrimRight(line, " "))
			line, at, fresh = under, utf8.RuneCountInString(under), true
		}
		if !fresh {
			line, at = line+" ", at+1
		}
		line, at, fresh = line+w, at+n, false
	}
	fmt.Fprintln(e.out, strings.TrimRight(line, " "))
}

// pointed prints the line of the input that a place lies in, with a mark under the place; of a long line, what is around.
func (e *env) pointed(input string, at int) {
	runes := []rune(input)
	if at < 0 || at >= len(runes) || !strings.ContainsFunc(input, unicode.IsGraphic) {
		return
	}
	const around = 36
	from, to := at, at
	for from > 0 && at-from < around && !lineEnd(runes[from-1]) {
		from--
	}
	for to < len(runes) && to-at < around && !lineEnd(runes[to]) {
		to++
	}
	var line, mark strings.Builder
	for i, r := range runes[from:to] {
		if !unicode.IsGraphic(r) {
			r = ' '
		}
		line.WriteRune(r)
		if i < at-from {
			mark.WriteString(strings.Repeat(" ", cells(r)))
		}
	}
	fmt.Fprintf(e.out, "         %s\n         %s^\n", strings.TrimRight(line.String(), " "), mark.String())
}

func lineEnd(r rune) bool { return r == '\n' || r == '\r' || r == '\u2028' || r == '\u2029' }

// cells is how many columns of a terminal a rune takes.
func cells(r rune) int {
	switch {
	case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
		return 0
	case unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana, unicode.Hangul), r >= 0xFF01 && r <= 0xFF60, r >= 0x3001 && r <= 0x303F:
		return 2
	}
	return 1
}

func blank(s, instead string) string {
	if s == "" {
		return instead
	}
	return s
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
		return errNo
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
		e.printComparison(d)
	}
	if !d.Same {
		return errNo
	}
	return nil
}

// printComparison prints two frames byte under byte, marks what differs, and says what it would mean.
func (e *env) printComparison(d explain.Comparison) {
	for _, x := range []explain.Explanation{d.A, d.B} {
		if x.Frame == nil {
			e.wrapped("(no frame)  ", "            ", x.Summary)
		}
	}
	if d.A.Frame != nil && d.B.Frame != nil {
		var first, second, marks strings.Builder
		for _, r := range d.Rows {
			a, b := cell(d.A.Frame, r.A), cell(d.B.Frame, r.B)
			width := max(len(a), len(b))
			mark := ""
			if !r.Same {
				mark = strings.Repeat("^", width)
			}
			fmt.Fprintf(&first, "%-*s ", width, a)
			fmt.Fprintf(&second, "%-*s ", width, b)
			fmt.Fprintf(&marks, "%-*s ", width, mark)
		}
		fmt.Fprintf(e.out, "  first   %s\n  second  %s\n", strings.TrimRight(first.String(), " "), strings.TrimRight(second.String(), " "))
		if !d.Same {
			fmt.Fprintf(e.out, "          %s\n", strings.TrimRight(marks.String(), " "))
		}
		fmt.Fprintln(e.out)
	}
	for _, f := range d.Differences {
		place := "identifier"
		if f.Byte >= 0 {
			place = fmt.Sprintf("byte %d", f.Byte+1)
		}
		e.wrapped(fmt.Sprintf("  %-10s  %8s | %-8s  ", place, blank(f.A, "-"), blank(f.B, "-")), strings.Repeat(" ", 35), f.Text)
	}
	e.wrapped("", "", d.Summary)
}

// cell is what one frame has in a row of a comparison.
func cell(f *explain.Frame, at int) string {
	switch {
	case at == -1:
		return f.IDText
	case at >= 0:
		return fmt.Sprintf("%02X", f.Data[at])
	}
	return "--"
}

func findCarIn(cars []garage.Car, name string) (garage.Car, bool) {
	for _, c := range cars {
		if strings.EqualFold(c.Name, name) || c.VIN != "" && strings.EqualFold(c.VIN, name) {
			return c, true
		}
	}
	return garage.Car{}, false
}
