package main

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"readback/diag/dtc"
	"readback/diag/vin"
)

type codeCmd struct {
	Status string   `placeholder:"HEX" help:"The status byte that came with the codes, two hex digits."`
	Code   []string `arg:"" help:"Codes, as P0A08, P0A08-13 or 0A0813."`
}

func (c *codeCmd) Run(e *env) error {
	var status *dtc.Status
	if c.Status != "" {
		b, err := strconv.ParseUint(c.Status, 16, 8)
		if err != nil {
			return usage{fmt.Sprintf("--status %s: it takes two hex digits, as 2F", c.Status)}
		}
		s := dtc.Status(b)
		status = &s
	}
	out := []dtc.Description{}
	for _, text := range c.Code {
		code, err := dtc.Parse(text)
		if err != nil {
			return usage{strings.TrimPrefix(err.Error(), "dtc: ")}
		}
		out = append(out, dtc.Describe(code, status, 0xFF, nil))
	}
	if e.json {
		return e.printJSON(map[string]any{"codes": out})
	}
	for _, d := range out {
		fmt.Fprintf(e.out, "%s  %s\n", fullName(d), sentence(d))
		fmt.Fprintf(e.out, "  %s code, %s", d.Origin, d.System)
		if d.Area != "" {
			fmt.Fprintf(e.out, ", %s", d.Area)
		}
		fmt.Fprintln(e.out)
		if status != nil {
			fmt.Fprintln(e.out, "  "+d.VerdictText)
		}
		fmt.Fprintf(e.out, "  %s: %s\n", d.Severity, d.SeverityReason)
		if d.Advice != "" {
			fmt.Fprintln(e.out, "  "+d.Advice)
		}
		fmt.Fprintln(e.out, "  Rests on:", d.Source)
	}
	return nil
}

// fullName is the code with its failure type.
func fullName(d dtc.Description) string {
	if d.FailureType == "" {
		return d.Code
	}
	return d.Code + "-" + d.FailureType
}

// sentence is the meaning, and what the failure type adds to it.
func sentence(d dtc.Description) string {
	r, n := utf8.DecodeRuneInString(d.Meaning)
	meaning := string(unicode.ToUpper(r)) + strings.TrimSuffix(d.Meaning[n:], ".")
	if d.FailureType != "" && d.FailureType != "00" {
		meaning += " (" + d.FailureText + ")"
	}
	return meaning + "."
}

type vinCmd struct {
	VIN string `arg:"" help:"The 17 characters."`
}

func (c *vinCmd) Run(e *env) error {
	v, err := vin.Parse(c.VIN)
	if err != nil {
		if err := e.printMaybe(map[string]any{"vin": c.VIN, "valid": false, "why": err.Error()}, "Not an identification number: "+strings.TrimPrefix(err.Error(), "vin: ")); err != nil {
			return err
		}
		return no
	}
	d := v.Describe()
	if e.json {
		return e.printJSON(d)
	}
	fmt.Fprintf(e.out, "%s  (to share: %s)\n  maker code %s", d.VIN, d.Masked, d.WMI)
	if d.Region != "" {
		fmt.Fprintf(e.out, ", %s", d.Region)
	}
	fmt.Fprintf(e.out, "\n  %s\n  %s\n", d.CheckDigit.Text, d.YearText)
	for _, n := range d.Notes {
		fmt.Fprintln(e.out, " ", n)
	}
	return nil
}
