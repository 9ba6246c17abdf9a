package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"readback/diag"
	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/trace"
)

type lookCmd struct {
	Adapter string `required:"" placeholder:"PLACE" help:"Where the adapter is, as in practice: or serial:/dev/ttyUSB0."`
	Car     string `help:"Name of the car in the logbook."`
	Frames  string `placeholder:"FILE" help:"Also keep all frames, as pcapng."`
	Proof   string `placeholder:"STEP" help:"Take this reading as a step of the proof after the newest erase, as R2."`
	calendar
}

// calendar tries on the practice car what happens over weeks.
type calendar struct {
	Ahead time.Duration `help:"On the practice car: write dates that lie this far ahead, as 168h."`
}

type lookDoc struct {
	Car      garage.Car     `json:"car"`
	Adapter  string         `json:"adapter"`
	Practice bool           `json:"practice"`
	Complete bool           `json:"complete"`
	Supply   *float64       `json:"supplyVolts"`
	Modules  []moduleDoc    `json:"modules"`
	Patterns []diag.Pattern `json:"patterns"`
	Elapsed  float64        `json:"elapsedMs"`
	Limit    *float64       `json:"limitMs"` // null where it can't be told
	Timing   timingDoc      `json:"timing"`
	Visit    int64          `json:"visit"`
	Sent     diag.Tally     `json:"sent"`
}

// timingDoc is what the limit is made of: the parts that add up to it, and the bus time that they rest on.
type timingDoc struct {
	ListenMs       float64 `json:"listenMs"`
	AskMs          float64 `json:"askMs"`
	SearchMs       float64 `json:"searchMs"`
	ReadMs         float64 `json:"readMs"`
	Frames         int     `json:"frames"`
	Bits           int     `json:"bits"`
	BitRate        int     `json:"bitRate"`
	BitRateAssumed bool    `json:"bitRateAssumed"`
	LoadPercent    float64 `json:"loadPercent"`
}

func timing(t diag.Timing) timingDoc {
	return timingDoc{ListenMs: milliseconds(t.Listen), AskMs: milliseconds(t.Ask), SearchMs: milliseconds(t.Search), ReadMs: milliseconds(t.Read),
		Frames: t.Frames, Bits: t.Bits, BitRate: t.BitRate, BitRateAssumed: t.Assumed, LoadPercent: 100 * t.Share}
}

// milliseconds is a duration in milliseconds with one digit behind the point.
func milliseconds(d time.Duration) float64 {
	return float64(d.Round(100*time.Microsecond).Microseconds()) / 1000
}

type moduleDoc struct {
	garage.Module
	Codes []codeDoc `json:"codes"`
}

// codeDoc is a stored code: its meaning beside what was kept with it.
type codeDoc struct {
	dtc.Description
	Hex       string            `json:"raw"`
	Snapshots []garage.Snapshot `json:"snapshots"`
	Extended  []garage.Extended `json:"extended"`
	Own       *byte             `json:"severityByte,omitempty"`
}

func (c *lookCmd) Run(e *env) error {
	v, done, err := e.visit(c.Adapter, c.Ahead)
	if err != nil {
		return err
	}
	defer done()
	for p, err := range v.Look(e.ctx, c.Car) {
		if err != nil {
			return errors.Join(err, e.keepFrames(v, c.Frames))
		}
		e.progress(p)
	}
	if err := e.keepFrames(v, c.Frames); err != nil {
		return err
	}
	r, _ := v.Record()
	if c.Proof != "" {
		switch err := v.MarkProof(e.ctx, c.Proof); {
		case errors.Is(err, garage.ErrNotFound):
			return usage{fmt.Sprintf("there is no open step %s; history shows the steps", c.Proof)}
		case err != nil:
			return err
		}
	}
	t := v.Timing()
	doc := lookDoc{Car: v.Car(), Adapter: r.Adapter, Practice: r.Practice, Complete: r.Complete, Modules: moduleDocs(v.Modules()),
		Patterns: v.Patterns(), Elapsed: milliseconds(t.Elapsed), Timing: timing(t), Visit: r.ID, Sent: v.Tally()}
	if t.Limit > 0 {
		limit := milliseconds(t.Limit)
		doc.Limit = &limit
	}
	if r.Supply != 0 {
		doc.Supply = &r.Supply
	}
	if e.json {
		return e.printJSON(doc)
	}
	e.printLook(doc)
	return nil
}

func (e *env) keepFrames(v *diag.Visit, path string) error {
	if path == "" {
		return nil
	}
	return trace.WriteFile(e.ctx, path, v.Conversation())
}

func moduleDocs(views []diag.ModuleView) []moduleDoc {
	out := []moduleDoc{}
	for _, m := range views {
		d := moduleDoc{Module: m.Module, Codes: []codeDoc{}}
		for _, c := range m.Views {
			d.Codes = append(d.Codes, codeDoc{Description: c.Describe, Hex: c.Record.Raw.String(),
				Snapshots: c.Record.Snapshots, Extended: c.Record.Extended, Own: c.Record.Severity})
		}
		out = append(out, d)
	}
	return out
}

func (e *env) progress(p diag.Progress) {
	switch p.Stage {
	case diag.StageListen:
		fmt.Fprintln(e.err, "Listening to the car ...")
	case diag.StageAsk:
		if p.Answered == 0 {
			fmt.Fprintln(e.err, "Asking all modules at once ...")
		}
	case diag.StageSweep:
		if p.Done%64 == 0 {
			fmt.Fprintf(e.err, "Asking one address after another: %d of %d, %d answered\n", p.Done, p.Total, p.Answered)
		}
	case diag.StageCodes:
		fmt.Fprintf(e.err, "Read %s (%d of %d)\n", p.Module, p.Done, p.Total)
	}
}

func (e *env) printLook(d lookDoc) {
	codes, now, answered := 0, 0, 0
	for _, m := range d.Modules {
		if m.Answered == garage.Yes {
			answered++
		}
		for _, c := range m.Codes {
			codes++
			if c.ThereNow {
				now++
			}
		}
	}
	fmt.Fprintf(e.out, "%s%s  %s\n", practiceMark(d.Practice), d.Car.Name, d.Car.VIN)
	fmt.Fprintf(e.out, "%d codes in %d modules that answered, %d there now. Visit %d is in the logbook.\n", codes, answered, now, d.Visit)
	if !d.Complete {
		fmt.Fprintln(e.out, "NOTICE  The record is not complete: some modules did not let themselves be read.")
	}
	for _, m := range d.Modules {
		fmt.Fprintf(e.out, "\n%s  asks at %s, answers at %s", m.Name, m.Request, m.Answer)
		switch {
		case m.Answered != garage.Yes:
			fmt.Fprintf(e.out, ": %s\n", m.Answered.Words())
			continue
		case m.CodesRead != garage.Yes:
			fmt.Fprintf(e.out, ": codes %s\n", m.CodesRead.Words())
			continue
		case len(m.Codes) == 0:
			fmt.Fprintln(e.out, ": no codes")
			continue
		}
		fmt.Fprintln(e.out)
		for _, c := range m.Codes {
			fmt.Fprintf(e.out, "  %-10s %-20s %s\n", fullName(c.Description), c.Short, c.Line)
		}
		if m.Safety {
			fmt.Fprintln(e.out, "  A workshop should see this module's codes before anything is cleared.")
		}
	}
	for _, p := range d.Patterns {
		fmt.Fprintf(e.out, "\n%s %s\n", p.Text, p.Next)
	}
	fmt.Fprintf(e.out, "\nSent: %s. %s\n", tallyLine(d.Sent), timeLine(d))
}

// timeLine says how long the look took, and at which bit rate its load was kept low.
func timeLine(d lookDoc) string {
	line := fmt.Sprintf("It took %.1f s", d.Elapsed/1000)
	if d.Limit == nil {
		return line + "."
	}
	how := "known"
	if d.Timing.BitRateAssumed {
		how = "assumed"
	}
	return line + fmt.Sprintf("; the least at %g %% of %d kbit/s (%s) is %.1f s.", d.Timing.LoadPercent, d.Timing.BitRate/1000, how, *d.Limit/1000)
}

func tallyLine(t diag.Tally) string {
	changes := "changes"
	if t.Changes == 1 {
		changes = "change"
	}
	return fmt.Sprintf("%d reads, %d %s, %d refused", t.Reads, t.Changes, changes, t.Refused)
}

type sendCmd struct {
	Adapter string   `required:"" placeholder:"PLACE" help:"Where the adapter is."`
	Words   string   `placeholder:"A,B,C" help:"The three read-back words of the request; needed for a change."`
	Say     []string `placeholder:"LATCH" help:"Your own statement for a latch that can't be measured: standing, drive-off, supply, not-charging, safety, reach."`
	Car     string   `help:"Name of the car in the logbook."`
	Frames  string   `placeholder:"FILE" help:"Also keep all frames, as pcapng."`
	calendar
	Text []string `arg:"" help:"The request, exactly as it is to be sent."`
}

// sayable are the latches that an owner's statement can concern.
var sayable = []gate.Key{gate.Standing, gate.DriveOff, gate.SupplyGood, gate.NotCharging, gate.SafetyRead, gate.Reach}

func (c *sendCmd) Run(e *env) error {
	text, err := e.text(c.Text)
	if err != nil {
		return err
	}
	said, err := statements(c.Say)
	if err != nil {
		return err
	}
	v, done, err := e.visit(c.Adapter, c.Ahead)
	if err != nil {
		return err
	}
	defer done()
	if _, err := v.Meet(e.ctx, c.Car); err != nil {
		return err
	}
	for _, k := range said {
		v.Say(k)
	}
	v.SayBack(strings.NewReplacer(",", " ").Replace(c.Words))
	var sendErr error
	for s, err := range v.Send(e.ctx, v.Explain(text, "")) {
		if err != nil {
			sendErr = err
			break
		}
		e.sendStep(s)
	}
	r := v.Result()
	if e.json {
		err = e.printJSON(r)
	} else {
		e.printResult(*r)
	}
	if err := errors.Join(sendErr, err, e.keepFrames(v, c.Frames)); err != nil {
		return err
	}
	if !r.Sent || r.Outcome != garage.Accepted || r.ReadBack != nil && len(r.ReadBack.Back) > 0 {
		return errNo
	}
	return nil
}

func statements(words []string) ([]gate.Key, error) {
	var out []gate.Key
	for _, w := range words {
		known := false
		for _, k := range sayable {
			if string(k) == w {
				out, known = append(out, k), true
			}
		}
		if !known {
			return nil, usage{fmt.Sprintf("--say %s: there is no such latch; there are %v", w, sayable)}
		}
	}
	return out, nil
}

func (e *env) sendStep(s diag.SendStep) {
	switch s.Stage {
	case diag.SendMeasure:
		fmt.Fprintln(e.err, "Measuring the car's state again ...")
	case diag.SendWrite:
		fmt.Fprintln(e.err, "Written to the journal.")
	case diag.SendOut:
		fmt.Fprintln(e.err, "Sent once. Leave the ignition on.")
	case diag.SendAnswer:
		fmt.Fprintf(e.err, "%s after %.0f ms: %s  %s\n", s.Answer.From, s.Answer.AfterMs, s.Answer.Hex, s.Answer.Text)
	case diag.SendReadBack:
		if s.Progress == nil {
			fmt.Fprintln(e.err, "Waiting 10 seconds, then reading all modules again ...")
		}
	}
}

func (e *env) printResult(r diag.Result) {
	if !r.Sent {
		fmt.Fprintln(e.out, "Not sent.", r.Reason)
		for _, l := range r.Refused {
			fmt.Fprintf(e.out, "  %-13s %-34s %-14s %s\n", l.Key, l.Title, l.Value, l.Why)
		}
		fmt.Fprintln(e.out, "Sent so far:", tallyLine(r.Tally))
		return
	}
	fmt.Fprintf(e.out, "Sent once at %s: %s %s\n", r.SentAt.Local().Format("15:04:05"), r.Request.Frame.IDText, r.Request.Frame.DataText)
	for _, a := range r.Answers {
		fmt.Fprintf(e.out, "  %s after %.0f ms  %s  %s\n", a.From, a.AfterMs, a.Hex, a.Text)
	}
	fmt.Fprintln(e.out, "Outcome:", r.Outcome)
	if rb := r.ReadBack; rb != nil {
		e.printFates("Gone", rb.Gone)
		e.printFates("Back", rb.Back)
		e.printFates("Unchanged", rb.Unchanged)
		e.printFates("New", rb.New)
		e.printFates("Not known", rb.Unknown)
	}
	fmt.Fprintln(e.out, "Sent so far:", tallyLine(r.Tally))
}

func (e *env) printFates(title string, fates []diag.Fate) {
	if len(fates) == 0 {
		return
	}
	fmt.Fprintf(e.out, "%s: %d\n", title, len(fates))
	for _, f := range fates {
		fmt.Fprintf(e.out, "  %-16s %-10s %s\n", f.Module, f.Code, f.Text)
	}
}
