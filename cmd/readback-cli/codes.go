package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"readback/diag/dtc"
	"readback/diag/vin"
)

type codeCmd struct {
	Status   string   `placeholder:"HEX" help:"The status byte that came with the codes, two hex digits."`
	Severity string   `placeholder:"HEX" help:"The severity byte that the module gives the codes, two hex digits."`
	Code     []string `arg:"" help:"Codes, as P0A08, P0A08-13 or 0A0813."`
}

func (c *codeCmd) Run(e *env) error {
	var status *dtc.Status
	if c.Status != "" {
		b, err := oneByte("--status", c.Status)
		if err != nil {
			return err
		}
		s := dtc.Status(b)
		status = &s
	}
	judgement := ""
	if c.Severity != "" {
		b, err := oneByte("--severity", c.Severity)
		if err != nil {
			return err
		}
		judgement = dtc.CarJudgement(b)
	}
	out := []dtc.Description{}
	for _, text := range c.Code {
		code, err := dtc.Parse(text)
		if err != nil {
			return usage{strings.TrimPrefix(err.Error(), "dtc: ")}
		}
		d := dtc.Describe(code, status, 0xFF, nil)
		d.CarJudgement = judgement
		out = append(out, d)
	}
	if e.json {
		return e.printJSON(map[string]any{"codes": out})
	}
	for i, d := range out {
		if i > 0 {
			fmt.Fprintln(e.out)
		}
		printCode(e.out, d)
	}
	return nil
}

// oneByte reads the two hex digits of an option.
func oneByte(option, text string) (byte, error) {
	b, err := strconv.ParseUint(text, 16, 8)
	if err != nil || len(text) != 2 {
		return 0, usage{fmt.Sprintf("%s %s: it takes two hex digits, as 2F", option, text)}
	}
	return byte(b), nil
}

// printCode prints what is known of one code, a line each.
func printCode(w io.Writer, d dtc.Description) {
	fmt.Fprintf(w, "%s  %s\n", fullName(d), d.Line)
	line := func(label, text string) {
		if text != "" {
			fmt.Fprintf(w, "  %-15s %s\n", label, text)
		}
	}
	line("Set by", map[dtc.Origin]string{dtc.Standard: "the standard", dtc.Maker: "the car's maker", dtc.Reserved: "nobody yet"}[d.Origin])
	line("About", d.Area)
	if d.FailureType != "" && !strings.Contains(d.Source, "Failure type") {
		line("Failure type", d.FailureType+": "+d.FailureText)
	}
	if d.Status != nil {
		line("State", d.VerdictText)
	}
	line("How serious", d.Severity+". "+d.SeverityReason)
	line("", d.CarJudgement)
	line("What to do", d.Advice)
	line("Usual causes", strings.Join(d.Causes, "; "))
	line("Look first", strings.Join(d.LookFirst, " "))
	line("Erasing", d.ErasingText)
	line("Rests on", d.Source)
}

// fullName is the code with its failure type.
func fullName(d dtc.Description) string {
	if d.FailureType == "" {
		return d.Code
	}
	return d.Code + "-" + d.FailureType
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
		return errNo
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
