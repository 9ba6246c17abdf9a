package report

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"readback/diag/dtc"
	"readback/diag/garage"
)

// Input is what a report is built from. Before alone is the report of one visit; with After it is that of a change.
type Input struct {
	Program string // name and version
	Made    time.Time
	Who     string // who writes it, free text
	Purpose string // what for, free text
	Car     garage.Car
	Before  garage.Visit
	After   *garage.Visit
	Change  *garage.Entry // the change between them
	Compare []Compared
	Meter   []garage.MeterReading
	Notes   []garage.Note
	Proof   []Step
	Returns []string // what is known of codes that came back, a sentence each
	Frames  []garage.Recording
	// Previous is the digest of the car's report before this one, nil for the first.
	Previous garage.Hex
}

// Compared is what became of one code.
type Compared struct {
	Module, Code, Before, After, Text string
}

// Step is one reading of the proof plan.
type Step struct {
	Step, Due, Do, State string
}

// Build puts the report together. Times are in the zone of in.Made, with UTC beside the first.
func Build(in Input) Document {
	d := Document{Practice: in.Car.Practice || in.Before.Practice}
	d.Title = "Trouble codes of " + named(in.Car)
	if in.Change != nil {
		d.Title = "Trouble codes of " + named(in.Car) + ", before and after a change"
	}
	d.Lead = fmt.Sprintf("Read on %s. Written by %s.", clock(in.Before.Begun, in.Made), in.Program)
	add := func(s Section) {
		if len(s.Parts) > 0 {
			d.Sections = append(d.Sections, s)
		}
	}
	add(head(in))
	add(car(in))
	add(supply(in))
	add(hardware(in))
	if in.Change != nil {
		add(change(in))
		add(compared(in))
	}
	last := in.Before
	if in.After != nil {
		last = *in.After
	}
	add(modules(last))
	if in.After != nil {
		add(codes("Codes before", in.Before))
		add(codes("Codes after", *in.After))
	} else {
		add(codes("Codes", in.Before))
	}
	add(notes(in))
	add(open(in, last))
	return d
}

func named(c garage.Car) string {
	switch {
	case c.Name != "":
		return c.Name
	case c.Model != "":
		return c.Model
	}
	return "a car"
}

func clock(t, in time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(in.Location()).Format("2 January 2006, 15:04:05")
}

func head(in Input) Section {
	s := Section{Title: "This report"}
	s.facts("Made", clock(in.Made, in.Made)+" ("+in.Made.UTC().Format("2006-01-02 15:04:05 UTC")+")", "Program", in.Program, "Made by", in.Who, "For", in.Purpose,
		"Report before this one (SHA-256)", in.Previous.String())
	if in.Previous == nil {
		s.say("It is the first report of this car.")
	}
	return s
}

func car(in Input) Section {
	s := Section{Title: "Car"}
	c := in.Car
	s.facts("Name", c.Name, "Model", c.Model, "Identification number", c.VIN, "Odometer", first(in.Before.Odometer, c.Odometer))
	return s
}

func first(texts ...string) string {
	for _, t := range texts {
		if t != "" {
			return t
		}
	}
	return ""
}

func volts(v float64) string {
	if v == 0 {
		return "not measured"
	}
	return fmt.Sprintf("%.1f V", v)
}

func supply(in Input) Section {
	s := Section{Title: "12 V supply"}
	if in.After == nil {
		s.facts("While reading", volts(in.Before.Supply))
		return s
	}
	s.facts("Before", volts(in.Before.Supply), "After", volts(in.After.Supply))
	return s
}

func hardware(in Input) Section {
	s := Section{Title: "Adapter and cable"}
	s.facts("Adapter", in.Before.Adapter, "Place", in.Before.Place)
	var rows [][]string
	for _, m := range in.Meter {
		rows = append(rows, []string{m.Spot, m.Value, clock(m.At, in.Made)})
	}
	s.table([]int{0, 1}, []string{"Measured", "Value", "When"}, rows)
	rows = nil
	for _, r := range in.Frames {
		rows = append(rows, []string{r.File, fmt.Sprint(r.Frames), r.Digest.String()})
	}
	s.table([]int{0, 2}, []string{"Recording", "Frames", "SHA-256"}, rows)
	return s
}

// latch is what the journal keeps of a latch.
type latch struct {
	Title  string    `json:"title"`
	Value  string    `json:"value"`
	Why    string    `json:"why"`
	Source string    `json:"source"`
	At     time.Time `json:"at"`
}

func change(in Input) Section {
	e := in.Change
	s := Section{Title: "The change"}
	s.facts("Row of the journal", fmt.Sprint(e.ID), "Sent", clock(e.Begun, in.Made), "Exact bytes", e.Request, "Read-back words", e.Words, "What it asks", e.Summary, "Outcome", string(e.Outcome), "Ended", clock(e.Ended, in.Made))
	var rows [][]string
	for _, a := range e.Answers {
		rows = append(rows, []string{a})
	}
	s.table([]int{0}, []string{"What came back"}, rows)
	var latches []latch
	if json.Unmarshal([]byte(e.Latches), &latches) == nil {
		rows = nil
		for _, l := range latches {
			rows = append(rows, []string{l.Title, l.Value, l.Source, clock(l.At, in.Made), l.Why})
		}
		s.table(nil, []string{"Checked before sending", "Value", "From", "When", "How"}, rows)
	}
	return s
}

func compared(in Input) Section {
	s := Section{Title: "Before and after"}
	var rows [][]string
	for _, c := range in.Compare {
		rows = append(rows, []string{c.Module, c.Code, c.Before, c.After, c.Text})
	}
	s.table([]int{1}, []string{"Module", "Code", "Before", "After", "What to make of it"}, rows)
	if len(rows) == 0 {
		s.say("There was no code before and none after.")
	}
	return s
}

// plates are the identifications that a workshop asks for.
var plates = []struct{ id, name string }{{"F187", "part"}, {"F191", "hardware"}, {"F188", "software"}, {"F189", "software version"}, {"F194", "supplier's software"}, {"F195", "supplier's software version"}, {"F18A", "supplier"}, {"F18C", "serial number"}}

func modules(v garage.Visit) Section {
	s := Section{Title: "All modules"}
	var rows [][]string
	for _, m := range v.Modules {
		var told []string
		for _, p := range plates {
			if t := strings.TrimSpace(m.Identification[p.id]); t != "" {
				told = append(told, p.name+" "+t)
			}
		}
		answered := m.Answered.Words()
		if m.Refusal != "" {
			answered += ": " + m.Refusal
		}
		list := fmt.Sprint(len(m.Codes))
		if m.CodesRead != garage.Yes {
			list = "not read: " + m.CodesRead.Words()
		}
		rows = append(rows, []string{m.Name + " (" + m.NameSource + ")", m.Request.String() + " / " + m.Answer.String(), m.Protocol, answered, list, strings.Join(told, ", ")})
	}
	s.table([]int{1}, []string{"Module", "Asks / answers", "Protocol", "Answered", "Codes", "Plates"}, rows)
	if !v.Complete {
		s.say("This reading is not complete: not every known module was asked to the end.")
	}
	return s
}

func codes(title string, v garage.Visit) Section {
	s := Section{Title: title}
	var rows [][]string
	for _, m := range v.Modules {
		mask := dtc.Status(0xFF)
		if m.Availability != nil {
			mask = *m.Availability
		}
		for _, c := range m.Codes {
			d := dtc.Describe(c.Code, c.Status, mask, c.Lists)
			status := "none given"
			if c.Status != nil {
				status = fmt.Sprintf("%02X & %02X", byte(*c.Status), byte(mask))
			}
			rows = append(rows, []string{m.Name, c.Code.String(), fmt.Sprintf("% X", []byte(c.Raw)), status, first(strings.Join(c.Lists, ", "), d.VerdictText), first(d.Line, d.Meaning), judged(c, d), keptWith(c)})
		}
	}
	s.table([]int{1, 2, 3}, []string{"Module", "Code", "Bytes", "Status", "In words", "Meaning", "How serious", "Kept with it"}, rows)
	if len(rows) == 0 {
		s.say("No code was read. Modules whose list could not be read are in the table of modules.")
	}
	return s
}

// judged is how serious a code is, with the module's own judgement where it gave one.
func judged(c garage.CodeRecord, d dtc.Description) string {
	text := d.Severity + ": " + d.SeverityReason
	if c.Severity != nil {
		text += " " + dtc.CarJudgement(*c.Severity)
	}
	return text
}

// keptWith are the snapshots and extended records of a code: values where they are known, and always the bytes.
func keptWith(c garage.CodeRecord) string {
	var out []string
	for _, s := range c.Snapshots {
		var values []string
		for _, v := range s.Values {
			switch {
			case v.Name != "" && v.Text != "":
				values = append(values, v.Name+" "+v.Text)
			default:
				values = append(values, fmt.Sprintf("%04X = % X", v.Identifier, []byte(v.Raw)))
			}
		}
		out = append(out, fmt.Sprintf("record %d: %s [% X]", s.Record, strings.Join(values, ", "), []byte(s.Raw)))
	}
	for _, x := range c.Extended {
		text := first(x.Text, fmt.Sprintf("% X", []byte(x.Raw)))
		out = append(out, fmt.Sprintf("%s %s", first(x.Name, fmt.Sprintf("extended %d:", x.Record)), text))
	}
	return strings.Join(out, "; ")
}

func notes(in Input) Section {
	s := Section{Title: "The owner's own notes"}
	var rows [][]string
	for _, n := range in.Notes {
		rows = append(rows, []string{n.Code, n.Text, n.Who, n.Where, clock(n.At, in.Made)})
	}
	s.table([]int{0}, []string{"Code", "Note", "Who said it", "Where", "When"}, rows)
	return s
}

// open is what is not known yet, and when to look again.
func open(in Input, last garage.Visit) Section {
	s := Section{Title: "Still open"}
	silent := map[string][]string{}
	for _, m := range last.Modules {
		if m.Answered != garage.Yes {
			why := m.Answered.Words()
			silent[why] = append(silent[why], m.Name)
		} else if m.CodesRead != garage.Yes {
			why := "list " + m.CodesRead.Words()
			silent[why] = append(silent[why], m.Name)
		}
	}
	for _, k := range slices.Sorted(maps.Keys(silent)) {
		s.say(fmt.Sprintf("Not known (%s): %s. An empty place in a list is not an empty list.", k, strings.Join(silent[k], ", ")))
	}
	for _, r := range in.Returns {
		s.say(r)
	}
	var rows [][]string
	for _, p := range in.Proof {
		rows = append(rows, []string{p.Step, p.Due, p.Do, p.State})
	}
	s.table(nil, []string{"Step", "Due", "What to do", "State"}, rows)
	s.say("An erase is not a repair. A code that is gone says only that its test has not failed since.")
	return s
}
