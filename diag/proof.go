package diag

import (
	"context"
	"fmt"
	"strings"
	"time"

	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/link"
)

// Steps of the proof after an erase, common practice. R0 is the record before it.
const (
	ProofNow   = "R1"  // seconds afterwards
	ProofSleep = "R2"  // after the car has slept
	ProofReady = "R3"  // with the drive on, parked
	ProofDrive = "R4"  // after a mixed drive
	ProofPlug  = "R5"  // after a full charge; only where a code belongs to charging
	ProofCold  = "R6"  // the next day, cold
	ProofWeek  = "R6+" // a week later
)

// ProofGuide says how a step is done and what it shows.
type ProofGuide struct {
	Step string `json:"step"`
	When string `json:"when"`
	Do   string `json:"do"`
	Why  string `json:"why"`
}

var proofGuides = []ProofGuide{
	{ProofNow, "10 seconds afterwards", "Leave the ignition on. Readback reads all modules by itself.", "A code that is there again at once is a fault of today."},
	{ProofSleep, "the same day", "Ignition off, doors shut, wait 5 minutes. Ignition on, wait 30 seconds, then read.", "It shows that the module has really written it down."},
	{ProofReady, "the same day", "Parked, drive switched on for 2 minutes, then off. Read with the ignition on.", "Hard electrical faults come back here."},
	{ProofDrive, "within two days", "Drive gently for 15 to 20 minutes on mixed roads, if brakes, steering and lamps are normal. Park, then read.", "Most modules test their parts while driving."},
	{ProofPlug, "after the next full charge", "Charge once to the end, unplug, then read.", "Charging has tests of its own, which run only then."},
	{ProofCold, "the next day", "Read before the first drive, with the car cold.", "Some tests run only after a cold start."},
	{ProofWeek, "a week later", "Read once more.", "A fault that comes and goes needs time to show."},
}

// GuideOf is the guide to a step; the zero guide for a step that is not known.
func GuideOf(step string) ProofGuide {
	for _, g := range proofGuides {
		if g.Step == step {
			return g
		}
	}
	return ProofGuide{Step: step}
}

// MarkProof notes the newest reading as a step of the proof of the car's newest erase. The error wraps
// [garage.ErrNotFound] when there is no reading, or no such step is open.
func (v *Visit) MarkProof(ctx context.Context, step string) error {
	s := v.opt.Store
	visit, ok := v.Record()
	if !ok {
		return fmt.Errorf("diag: step %s: no reading: %w", step, garage.ErrNotFound)
	}
	journal, err := s.Journal(ctx, visit.CarID)
	if err != nil {
		return err
	}
	for _, e := range journal {
		steps, err := s.Proof(ctx, e.ID)
		if err != nil {
			return err
		}
		for _, p := range steps {
			if p.Step == step && p.Open() {
				return s.ProofDone(ctx, p.ID, visit.ID, visit.Ended)
			}
		}
	}
	return fmt.Errorf("diag: step %s of car %d: %w", step, visit.CarID, garage.ErrNotFound)
}

// proofPlan are the readings that follow an erase that ended at a time, with the codes that were there before it.
func proofPlan(before []garage.Module, ended time.Time) []garage.ProofStep {
	day := 24 * time.Hour
	plan := []garage.ProofStep{{Step: ProofNow, Due: ended.Add(10 * time.Second)}, {Step: ProofSleep, Due: ended.Add(10 * time.Minute)},
		{Step: ProofReady, Due: ended.Add(30 * time.Minute)}, {Step: ProofCold, Due: ended.Add(day)}, {Step: ProofDrive, Due: ended.Add(2 * day)}}
	if hasCharging(before) {
		plan = append(plan, garage.ProofStep{Step: ProofPlug, Due: ended.Add(3 * day)})
	}
	return append(plan, garage.ProofStep{Step: ProofWeek, Due: ended.Add(7 * day)})
}

// hasCharging: a code of charging, its converter or its cells is among them, by its module or by its area.
func hasCharging(modules []garage.Module) bool {
	for _, m := range modules {
		name := strings.ToLower(m.Name)
		for _, c := range m.Codes {
			area := strings.ToLower(dtc.Describe(c.Code, nil, 0xFF, nil).Area)
			if faulty(m, c) && (strings.Contains(name, "charg") || strings.Contains(area, "charg") || strings.Contains(area, "dc-dc") || strings.Contains(area, "traction battery")) {
				return true
			}
		}
	}
	return false
}

// Proof is what the readings since an erase say of one code.
type Proof string

const (
	Proven  Proof = "proven"         // tested and passed in at least two readings since, and in none of them failed
	NoSign  Proof = "no sign so far" // not back; not enough tests yet
	Back    Proof = "back"           // it has failed since
	Unclear Proof = "unknown"        // the module gives no status, or was not read
)

// proofReadings is the number of separate readings in which a code must have been tested and passed. Readings less
// than proofApart apart count as one.
const (
	proofReadings = 2
	proofApart    = 5 * time.Minute
)

// CodeProof is what the readings since an erase say of one code that was there before it.
type CodeProof struct {
	Module string `json:"module"`
	Code   string `json:"code"`
	Proof  Proof  `json:"proof"`
	Text   string `json:"text"`
}

var proofTexts = map[Proof]string{
	Proven:  "tested and passed in two readings since, and failed in none",
	NoSign:  "not back so far; it has not been tested often enough to say more",
	Back:    "it has failed again since",
	Unclear: "not known: the module tells too little, or was not read since",
}

// Proving is what follows an erase: its readings, and what they say of each code that was there before it.
type Proving struct {
	Entry garage.Entry
	Steps []garage.ProofStep
	Codes []CodeProof
}

// ProofLog is what [NewestProof] needs of a logbook.
type ProofLog interface {
	Proof(ctx context.Context, entryID int64) ([]garage.ProofStep, error)
	Visit(ctx context.Context, id int64) (garage.Visit, error)
}

// NewestProof is the proof of the newest change of a car that has one; the zero Proving where none has. The journal is
// that of the car, the newest first, and h what its readings have found.
func NewestProof(ctx context.Context, log ProofLog, h garage.History, journal []garage.Entry) (Proving, error) {
	for _, e := range journal {
		steps, err := log.Proof(ctx, e.ID)
		if err != nil {
			return Proving{}, err
		}
		if len(steps) == 0 {
			continue
		}
		before, err := log.Visit(ctx, e.Before)
		if err != nil {
			return Proving{}, err
		}
		return Proving{e, steps, proofs(h, before, e)}, nil
	}
	return Proving{}, nil
}

// proofs judge every fault of the record before an erase that the erase reached. They are none for a change that was not
// agreed to.
func proofs(h garage.History, before garage.Visit, e garage.Entry) []CodeProof {
	out := []CodeProof{}
	for _, m := range before.Modules {
		if m.CodesRead != garage.Yes || len(erasesOf([]garage.Entry{e}, m.Address)) == 0 {
			continue
		}
		for _, c := range m.Codes {
			if !faulty(m, c) {
				continue
			}
			p := proofOf(h, m.Address, c.Code, e.Begun, available(m))
			out = append(out, CodeProof{m.Name, c.Code.String(), p, proofTexts[p]})
		}
	}
	return out
}

// proofOf judges a code by the readings after a time. Bits that the module does not report say nothing.
func proofOf(h garage.History, a link.Address, c dtc.Code, since time.Time, availability dtc.Status) Proof {
	var line *garage.CodeLine
	for i := range h.Codes {
		if h.Codes[i].Address == a && h.Codes[i].Code == c {
			line = &h.Codes[i]
		}
	}
	if line == nil {
		return Unclear
	}
	passed, known := 0, false
	var last time.Time
	for i, m := range line.Marks {
		at := h.Visits[i].Begun
		if !at.After(since) || m.Read != garage.Yes {
			continue
		}
		switch s := m.Status; {
		case s == nil && m.Listed: // a list without status: being in it is all that is told
			return Back
		case s == nil:
			known = true
		case *s&availability&(dtc.TestFailed|dtc.TestFailedSinceLastClear) != 0:
			return Back
		default:
			known = true
			if availability&dtc.TestNotCompletedSinceLastClear != 0 && availability&dtc.TestFailedSinceLastClear != 0 &&
				*s&dtc.TestNotCompletedSinceLastClear == 0 && (last.IsZero() || at.Sub(last) >= proofApart) {
				passed, last = passed+1, at
			}
		}
	}
	switch {
	case !known:
		return Unclear
	case passed >= proofReadings:
		return Proven
	}
	return NoSign
}
