package diag

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/report"
	"readback/diag/tongue"
)

// Version is the edition of the program, the same as in FyneApp.toml.
const Version = "0.1.0"

// ReportOptions say what a report is for.
type ReportOptions struct {
	Language string // that it is written in, BCP 47, "" for English; see [tongue.Of]
	Who      string // who writes it
	Purpose  string // what for
	Shared   bool   // with what names the owner or the car taken out
	Now      time.Time
}

// Report builds the report of a visit: on its own or, when it is the record before a change or the reading after one,
// that of the change with both.
func Report(ctx context.Context, s *garage.Store, visitID int64, o ReportOptions) (report.Document, error) {
	in, err := reportInput(ctx, s, visitID, o)
	if err != nil {
		return report.Document{}, err
	}
	return document(in, o), nil
}

func document(in report.Input, o ReportOptions) report.Document {
	d := report.Build(in)
	if o.Shared {
		d = report.Share(d, report.SecretsOf(in))
	}
	return d
}

// Preview is what a report would say, a line a row.
type Preview struct {
	Title    string
	Sections []PreviewSection
	Removed  []string // what a shared copy leaves out
}

// PreviewSection is one section of a preview.
type PreviewSection struct {
	Title string
	Lines []string
}

// PreviewReport tells what a report would say.
func PreviewReport(ctx context.Context, s *garage.Store, visitID int64, o ReportOptions) (Preview, error) {
	d, err := Report(ctx, s, visitID, o)
	if err != nil {
		return Preview{}, err
	}
	p := Preview{Title: d.Title, Removed: d.Removed}
	for _, section := range d.Sections {
		out := PreviewSection{Title: section.Title}
		for _, part := range section.Parts {
			if part.Text != "" {
				out.Lines = append(out.Lines, part.Text)
			}
			for _, row := range part.Rows {
				out.Lines = append(out.Lines, strings.Join(slices.DeleteFunc(slices.Clone(row), func(s string) bool { return s == "" }), " · "))
			}
		}
		p.Sections = append(p.Sections, out)
	}
	return p, nil
}

func reportInput(ctx context.Context, s *garage.Store, visitID int64, o ReportOptions) (report.Input, error) {
	l, err := tongue.Of(cmp.Or(o.Language, tongue.English))
	if err != nil {
		return report.Input{}, err
	}
	v, err := s.Visit(ctx, visitID)
	if err != nil {
		return report.Input{}, err
	}
	in := report.Input{Language: l, Program: "Readback " + Version, Made: o.Now, Who: o.Who, Purpose: o.Purpose, Before: v}
	if in.Car, err = s.Car(ctx, v.CarID); err != nil {
		return report.Input{}, err
	}
	journal, err := s.Journal(ctx, v.CarID)
	if err != nil {
		return report.Input{}, err
	}
	if err := addChange(ctx, s, &in, journal); err != nil {
		return report.Input{}, err
	}
	history, err := s.CodeHistory(ctx, v.CarID)
	if err != nil {
		return report.Input{}, err
	}
	for _, r := range FindReturns(history, journal) {
		if len(r.Seen) > 1 {
			in.Returns = append(in.Returns, report.Return{Module: r.Module, Code: r.Code, Text: r.Text})
		}
	}
	meter, err1 := s.Meter(ctx, v.CarID)
	notes, err2 := s.Notes(ctx, v.CarID)
	last, ok, err3 := s.LastReport(ctx, v.CarID)
	recordings, err4 := s.Recordings(ctx, v.CarID)
	if err := errors.Join(err1, err2, err3, err4); err != nil {
		return report.Input{}, err
	}
	in.Meter, in.Notes = meter, notes
	if ok {
		in.Previous = last.Digest
	}
	for _, r := range recordings {
		if r.Visit == in.Before.ID || in.After != nil && r.Visit == in.After.ID {
			in.Frames = append(in.Frames, r)
		}
	}
	return in, nil
}

// addChange joins the readings before and after a change, when the visit is one of them.
func addChange(ctx context.Context, s *garage.Store, in *report.Input, journal []garage.Entry) error {
	for _, e := range journal {
		if e.Before == 0 || e.ReadBack == 0 || e.ReadBack != in.Before.ID && e.Before != in.Before.ID {
			continue
		}
		before, err := s.Visit(ctx, e.Before)
		if err != nil {
			return err
		}
		after, err := s.Visit(ctx, e.ReadBack)
		if err != nil {
			return err
		}
		steps, err := s.Proof(ctx, e.ID)
		if err != nil {
			return err
		}
		in.Before, in.After, in.Change = before, &after, &e
		in.Compare = comparison(before, after, e)
		for _, p := range steps {
			state := "open"
			switch {
			case p.Left:
				state = "left out"
			case !p.Open():
				state = fmt.Sprintf("done, visit %d", p.Visit)
			}
			in.Proof = append(in.Proof, report.Step{Step: p.Step, Due: p.Due, Do: GuideOf(p.Step).Do, State: state})
		}
		return nil
	}
	return nil
}

// comparison is what became of every code, with its state before and after in words.
func comparison(before, after garage.Visit, e garage.Entry) (out []report.Compared) {
	rb := compare(before, after, func(a link.Address) bool { return reached(e, a) })
	state := func(v garage.Visit, module, code string) string {
		for _, m := range v.Modules {
			if m.Name != module {
				continue
			}
			if m.CodesRead != garage.Yes {
				return "not read"
			}
			for _, c := range m.Codes {
				if c.Code.String() == code {
					return dtc.Describe(c.Code, c.Status, available(m), c.Lists).Short
				}
			}
		}
		return "not there"
	}
	for _, fates := range [][]Fate{rb.Back, rb.New, rb.Unchanged, rb.Unknown, rb.Gone} {
		for _, f := range fates {
			out = append(out, report.Compared{Module: f.Module, Code: f.Code, Before: state(before, f.Module, f.Code), After: state(after, f.Module, f.Code), Text: f.Text})
		}
	}
	return out
}

// ReportFormError means that a report can't be written under this name.
type ReportFormError struct{ Path string }

func (e *ReportFormError) Error() string {
	return fmt.Sprintf("diag: a report is written as .html or .pdf, not as %s", filepath.Base(e.Path))
}

// WriteReport writes the report of a visit to a file, .html or .pdf, and adds it to the car's chain of reports. A file
// that is there is not written over: the error is [fs.ErrExist].
func WriteReport(ctx context.Context, s *garage.Store, visitID int64, path string, o ReportOptions) (garage.Report, report.Document, error) {
	form := strings.ToLower(strings.TrimPrefix(filepath.Ext(path), "."))
	if form != "html" && form != "pdf" {
		return garage.Report{}, report.Document{}, &ReportFormError{path}
	}
	in, err := reportInput(ctx, s, visitID, o)
	if err != nil {
		return garage.Report{}, report.Document{}, err
	}
	d := document(in, o)
	var b bytes.Buffer
	if form == "pdf" {
		err = report.PDF(&b, d, o.Now)
	} else {
		err = report.HTML(&b, d)
	}
	if err != nil {
		return garage.Report{}, report.Document{}, err
	}
	if err := WriteNew(path, func(w io.Writer) error { _, err := w.Write(b.Bytes()); return err }); err != nil {
		return garage.Report{}, report.Document{}, err
	}
	digest := sha256.Sum256(b.Bytes())
	kept, err := s.PutReport(ctx, garage.Report{CarID: in.Car.ID, Visit: visitID, Made: o.Now, Form: form, Shared: o.Shared, Digest: digest[:], Previous: in.Previous})
	if err != nil {
		return garage.Report{}, report.Document{}, errors.Join(err, os.Remove(path))
	}
	return kept, d, nil
}
