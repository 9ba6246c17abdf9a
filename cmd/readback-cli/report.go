package main

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"time"

	"readback/diag"
	"readback/diag/tongue"
)

type reportCmd struct {
	Visit   int64  `arg:"" help:"Number of the visit, as history shows it."`
	To      string `required:"" placeholder:"FILE" help:"Where to write it: a name that ends in .html or .pdf."`
	Share   bool   `help:"Take out what names the owner or the car, in texts and in raw bytes."`
	Who     string `help:"Who makes the report."`
	Purpose string `help:"What the report is for."`

	Language string `default:"en" placeholder:"LANG" help:"Language of the report: ${languages}. What this command prints stays English."`
}

func (c *reportCmd) Run(e *env) error {
	s, err := e.store()
	if err != nil {
		return err
	}
	defer s.Close()
	kept, d, err := diag.WriteReport(e.ctx, s, c.Visit, c.To, diag.ReportOptions{Language: c.Language, Who: c.Who, Purpose: c.Purpose, Shared: c.Share, Now: time.Now()})
	var form *diag.ReportFormError
	switch {
	case errors.Is(err, tongue.ErrUnknown):
		return usage{fmt.Sprintf("a report can't be written in %q; its languages are %s", c.Language, strings.Join(tongue.Tags(), " and "))}
	case errors.As(err, &form):
		return usage{strings.TrimPrefix(err.Error(), "diag: ")}
	case errors.Is(err, fs.ErrExist):
		return usage{fmt.Sprintf("%s is there already; a report never writes over another", c.To)}
	case err != nil:
		return err
	}
	if e.json {
		return e.printJSON(map[string]any{"report": kept, "file": c.To, "removed": append([]string{}, d.Removed...)})
	}
	fmt.Fprintf(e.out, "Written to %s.\nSHA-256 %s\n", c.To, kept.Digest)
	for _, r := range d.Removed {
		fmt.Fprintln(e.out, "Removed:", r)
	}
	return nil
}
