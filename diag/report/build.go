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
	"readback/diag/tongue"
)

// Input is what a report is built from. Before alone is the report of one visit; with After it is that of a change.
type Input struct {
	Language *tongue.Tongue // that it is written in, nil for English. What people and modules have written stays as it is
	Program  string         // name and version
	Made     time.Time
	Who      string // who writes it, free text
	Purpose  string // what for, free text
	Car      garage.Car
	Before   garage.Visit
	After    *garage.Visit
	Change   *garage.Entry // the change between them
	Compare  []Compared
	Meter    []garage.MeterReading
	Notes    []garage.Note
	Proof    []Step
	Returns  []Return // what is known of codes that came back
	Frames   []garage.Recording
	// Previous is the digest of the car's report before this one, nil for the first.
	Previous garage.Hex
}

// Compared is what became of one code.
type Compared struct {
	Module, Code, Before, After, Text string
}

// Step is one reading of the proof plan.
type Step struct {
	Step      string
	Due       time.Time
	Do, State string
}

// Return is what is known of one code that came back.
type Return struct {
	Module, Code, Text string
}

// writing is a report that is being built.
type writing struct {
	Input
	l *tongue.Tongue
}

// Build puts the report together. Times are in the zone of in.Made, with UTC beside the first.
func Build(in Input) Document {
	w := writing{in, spoken(in.Language)}
	d := Document{Language: w.l, Practice: in.Car.Practice || in.Before.Practice}
	d.Title = w.l.Say("Trouble codes of {1}", w.called())
	if in.Change != nil {
		d.Title = w.l.Say("Trouble codes of {1}, before and after a change", w.called())
	}
	d.Lead = w.l.Say("Read on {1}. Written by {2}.", w.clock(in.Before.Begun), in.Program)
	add := func(s Section) {
		if len(s.Parts) > 0 {
			d.Sections = append(d.Sections, s)
		}
	}
	add(w.head())
	add(w.car())
	add(w.supply())
	add(w.hardware())
	if in.Change != nil {
		add(w.change())
		add(w.compared())
	}
	last := in.Before
	if in.After != nil {
		last = *in.After
	}
	add(w.modules(last))
	if in.After != nil {
		add(w.codes("Codes before", in.Before))
		add(w.codes("Codes after", *in.After))
	} else {
		add(w.codes("Codes", in.Before))
	}
	add(w.notes())
	add(w.open(last))
	return d
}

// spoken is a language, English for nil.
func spoken(l *tongue.Tongue) *tongue.Tongue {
	if l == nil {
		return tongue.InEnglish()
	}
	return l
}

func (w writing) called() string {
	switch {
	case w.Car.Name != "":
		return w.l.Tell(w.Car.Name) // the program names a car whose owner has not
	case w.Car.Model != "":
		return w.Car.Model
	}
	return w.l.Tell("a car")
}

func (w writing) clock(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	t = t.In(w.Made.Location())
	return w.l.Commas([]string{w.l.Day(t), t.Format("15:04:05")})
}

// told are several words of the engine.
func (w writing) told(english []string) []string {
	out := make([]string, len(english))
	for i, s := range english {
		out[i] = w.l.Tell(s)
	}
	return out
}

func (w writing) section(title string) Section { return Section{Title: w.l.Tell(title)} }

// facts adds a table of names and values; rows without a value are left out.
func (w writing) facts(s *Section, pairs ...string) {
	p := Part{Head: []string{"", ""}}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			p.Rows = append(p.Rows, []string{w.l.Tell(pairs[i]), pairs[i+1]})
		}
	}
	if len(p.Rows) > 0 {
		s.Parts = append(s.Parts, p)
	}
}

func (w writing) table(s *Section, mono []int, head []string, rows [][]string) {
	if len(rows) > 0 {
		s.Parts = append(s.Parts, Part{Head: w.told(head), Rows: rows, Mono: mono})
	}
}

func (w writing) head() Section {
	s := w.section("This report")
	w.facts(&s, "Made", w.clock(w.Made)+" ("+w.Made.UTC().Format("2006-01-02 15:04:05 UTC")+")", "Program", w.Program, "Made by", w.Who, "For", w.Purpose,
		"Report before this one (SHA-256)", w.Previous.String())
	if w.Previous == nil {
		s.say(w.l.Tell("It is the first report of this car."))
	}
	return s
}

func (w writing) car() Section {
	s := w.section("Car")
	name := ""
	if w.Car.Name != "" {
		name = w.called()
	}
	w.facts(&s, "Name", name, "Model", w.Car.Model, "Identification number", w.Car.VIN, "Odometer", first(w.Before.Odometer, w.Car.Odometer))
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

func (w writing) volts(v float64) string {
	if v == 0 {
		return w.l.Tell("not measured")
	}
	return w.l.Measured(fmt.Sprintf("%.1f V", v))
}

func (w writing) supply() Section {
	s := w.section("12 V supply")
	if w.After == nil {
		w.facts(&s, "While reading", w.volts(w.Before.Supply))
		return s
	}
	w.facts(&s, "Before", w.volts(w.Before.Supply), "After", w.volts(w.After.Supply))
	return s
}

func (w writing) hardware() Section {
	s := w.section("Adapter and cable")
	w.facts(&s, "Adapter", w.l.Tell(w.Before.Adapter), "Place", w.Before.Place)
	var rows [][]string
	for _, m := range w.Meter {
		rows = append(rows, []string{m.Spot, w.l.Measured(m.Value), w.clock(m.At)})
	}
	w.table(&s, []int{0, 1}, []string{"Measured", "Value", "When"}, rows)
	rows = nil
	for _, r := range w.Frames {
		rows = append(rows, []string{r.File, fmt.Sprint(r.Frames), r.Digest.String()})
	}
	w.table(&s, []int{0, 2}, []string{"Recording", "Frames", "SHA-256"}, rows)
	return s
}

// latch is what the journal keeps of a latch.
type latch struct {
	Key    string    `json:"latch"`
	Title  string    `json:"title"`
	Value  string    `json:"value"`
	Why    string    `json:"why"`
	Source string    `json:"source"`
	At     time.Time `json:"at"`
}

// saidBack is the latch whose value is what the owner has typed.
const saidBack = "said-back"

// ofOwner is what is said to the owner, as it is said of the owner to others.
var ofOwner = map[string]string{"by you": "by the owner", "you said so": "the owner said so"}

func (w writing) change() Section {
	e := w.Change
	s := w.section("The change")
	w.facts(&s, "Row of the journal", fmt.Sprint(e.ID), "Sent", w.clock(e.Begun), "Exact bytes", e.Request, "Read-back words", e.Words, "What it asks", w.l.Tell(e.Summary),
		"Outcome", w.l.Tell(string(e.Outcome)), "Ended", w.clock(e.Ended))
	var rows [][]string
	for _, a := range e.Answers {
		rows = append(rows, []string{w.l.Tell(a)})
	}
	w.table(&s, []int{0}, []string{"What came back"}, rows)
	var latches []latch
	if json.Unmarshal([]byte(e.Latches), &latches) == nil {
		rows = nil
		for _, l := range latches {
			value := l.Value
			if l.Key != saidBack {
				value = w.l.Measured(first(ofOwner[value], value))
			}
			rows = append(rows, []string{w.l.Tell(l.Title), value, w.l.Tell(l.Source), w.clock(l.At), w.l.Tell(l.Why)})
		}
		w.table(&s, nil, []string{"Checked before sending", "Value", "From", "When", "How"}, rows)
	}
	return s
}

func (w writing) compared() Section {
	s := w.section("Before and after")
	var rows [][]string
	for _, c := range w.Compare {
		rows = append(rows, []string{w.l.Tell(c.Module), c.Code, w.l.Tell(c.Before), w.l.Tell(c.After), w.l.Tell(c.Text)})
	}
	w.table(&s, []int{1}, []string{"Module", "Code", "Before", "After", "What to make of it"}, rows)
	if len(rows) == 0 {
		s.say(w.l.Tell("There was no code before and none after."))
	}
	return s
}

// plates are the identifications that a workshop asks for.
var plates = []struct{ id, name string }{{"F187", "part number"}, {"F191", "hardware"}, {"F188", "software"}, {"F189", "software version"}, {"F194", "supplier's software"}, {"F195", "supplier's software version"}, {"F18A", "supplier"}, {"F18C", "serial number"}}

func (w writing) named(m garage.Module) string {
	return w.l.Tell(m.Name) + " (" + w.l.Tell(first(ofOwner[m.NameSource], m.NameSource)) + ")"
}

func (w writing) modules(v garage.Visit) Section {
	s := w.section("All modules")
	var rows [][]string
	for _, m := range v.Modules {
		var told []string
		for _, p := range plates {
			if t := strings.TrimSpace(m.Identification[p.id]); t != "" {
				told = append(told, w.l.Tell(p.name)+" "+t)
			}
		}
		answered := w.l.Tell(m.Answered.Words())
		if m.Refusal != "" {
			answered += ": " + w.l.Tell(m.Refusal)
		}
		list := fmt.Sprint(len(m.Codes))
		if m.CodesRead != garage.Yes {
			list = w.l.Say("not read: {1}", w.l.Tell(m.CodesRead.Words()))
		}
		rows = append(rows, []string{w.named(m), m.Request.String() + " / " + m.Answer.String(), m.Protocol, answered, list, w.l.Commas(told)})
	}
	w.table(&s, []int{1}, []string{"Module", "Asks / answers", "Protocol", "Answered", "Codes", "Plates"}, rows)
	if !v.Complete {
		s.say(w.l.Tell("This reading is not complete: not every known module was asked to the end."))
	}
	return s
}

func (w writing) codes(title string, v garage.Visit) Section {
	s := w.section(title)
	var rows [][]string
	for _, m := range v.Modules {
		mask := dtc.Status(0xFF)
		if m.Availability != nil {
			mask = *m.Availability
		}
		for _, c := range m.Codes {
			d := dtc.Describe(c.Code, c.Status, mask, c.Lists)
			status := w.l.Tell("none given")
			if c.Status != nil {
				status = fmt.Sprintf("%02X & %02X", byte(*c.Status), byte(mask))
			}
			rows = append(rows, []string{w.l.Tell(m.Name), c.Code.String(), fmt.Sprintf("% X", []byte(c.Raw)), status,
				first(w.l.Commas(w.told(c.Lists)), w.l.Tell(d.VerdictText)), w.l.Line(c.Code), w.judged(c, d), w.keptWith(c)})
		}
	}
	w.table(&s, []int{1, 2, 3}, []string{"Module", "Code", "Bytes", "Status", "In words", "Meaning", "How serious", "Kept with it"}, rows)
	if len(rows) == 0 {
		s.say(w.l.Tell("No code was read. Modules whose list could not be read are in the table of modules."))
	}
	return s
}

// judged is how serious a code is, with the module's own judgement where it gave one.
func (w writing) judged(c garage.CodeRecord, d dtc.Description) string {
	text := w.l.Tell(d.Severity) + ": " + w.l.Tell(d.SeverityReason)
	if c.Severity != nil {
		text += " " + w.l.Tell(dtc.CarJudgement(*c.Severity))
	}
	return text
}

// keptWith are the snapshots and extended records of a code: values where they are known, and always the bytes.
func (w writing) keptWith(c garage.CodeRecord) string {
	var out []string
	for _, s := range c.Snapshots {
		var values []string
		for _, v := range s.Values {
			switch {
			case v.Name != "" && v.Text != "":
				values = append(values, w.l.Tell(v.Name)+" "+w.l.Measured(v.Text))
			default:
				values = append(values, fmt.Sprintf("%04X = % X", v.Identifier, []byte(v.Raw)))
			}
		}
		number, raw := fmt.Sprint(s.Record), fmt.Sprintf("% X", []byte(s.Raw))
		if len(values) == 0 {
			out = append(out, w.l.Say("record {1}: [{2}]", number, raw))
			continue
		}
		out = append(out, w.l.Say("record {1}: {2} [{3}]", number, w.l.Commas(values), raw))
	}
	for _, x := range c.Extended {
		name := w.l.Tell(x.Name)
		if name == "" {
			name = w.l.Say("extended {1}:", fmt.Sprint(x.Record))
		}
		out = append(out, name+" "+first(w.l.Measured(x.Text), fmt.Sprintf("% X", []byte(x.Raw))))
	}
	return strings.Join(out, "; ")
}

func (w writing) notes() Section {
	s := w.section("The owner's own notes")
	var rows [][]string
	for _, n := range w.Notes {
		rows = append(rows, []string{n.Code, n.Text, n.Who, n.Where, w.clock(n.At)})
	}
	w.table(&s, []int{0}, []string{"Code", "Note", "Who said it", "Where", "When"}, rows)
	return s
}

// open is what is not known yet, and when to look again.
func (w writing) open(last garage.Visit) Section {
	s := w.section("Still open")
	w.unknown(&s, "Not known ({1}): {2}. An empty place in a list is not an empty list.", last, func(m garage.Module) garage.Answered { return m.Answered })
	w.unknown(&s, "List not known ({1}): {2}. An empty place in a list is not an empty list.", last, func(m garage.Module) garage.Answered {
		if m.Answered != garage.Yes {
			return garage.Yes // said above
		}
		return m.CodesRead
	})
	for _, r := range w.Returns {
		s.say(fmt.Sprintf("%s %s: %s", w.l.Tell(r.Module), r.Code, w.l.Tell(r.Text)))
	}
	var rows [][]string
	for _, p := range w.Proof {
		rows = append(rows, []string{p.Step, w.l.Day(p.Due.In(w.Made.Location())), w.l.Tell(p.Do), w.l.Tell(p.State)})
	}
	w.table(&s, nil, []string{"Step", "Due", "What to do", "State"}, rows)
	s.say(w.l.Tell("An erase is not a repair. A code that is gone says only that its test has not failed since."))
	return s
}

// unknown names the modules of which something is not known, those with the same reason together.
func (w writing) unknown(s *Section, form string, v garage.Visit, of func(garage.Module) garage.Answered) {
	why := map[string][]string{}
	for _, m := range v.Modules {
		if a := of(m); a != garage.Yes {
			why[a.Words()] = append(why[a.Words()], w.l.Tell(m.Name))
		}
	}
	for _, k := range slices.Sorted(maps.Keys(why)) {
		s.say(w.l.Say(form, w.l.Tell(k), w.l.Commas(why[k])))
	}
}
