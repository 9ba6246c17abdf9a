package dtc

import (
	"fmt"
	"slices"
	"strings"
)

// Description is all that is known of one code. Its JSON is the terminal contract.
type Description struct {
	Code           string      `json:"code"`        // "P0A08"
	FailureType    string      `json:"failureType"` // "13", "" for a code of two bytes
	Origin         Origin      `json:"origin"`
	System         string      `json:"system"`  // "powertrain", "chassis", "body", "network"
	Letters        string      `json:"letters"` // what letter, first digit and failure type say, in sentences
	Area           string      `json:"area"`    // what codes of this kind are usually about
	Meaning        string      `json:"meaning"`
	Line           string      `json:"line"`  // meaning and failure type in one sentence, see [Code.Line]
	Part           string      `json:"part"`  // the part with its place, "" where it is not known
	Doubt          string      `json:"doubt"` // why the meaning is not certain, "" where it is
	Known          bool        `json:"known"` // the meaning is the standard's
	FailureText    string      `json:"failureText"`
	Status         *StatusView `json:"status"`      // nil when there is no status byte
	Verdict        string      `json:"verdict"`     // its key, "there-now"
	VerdictText    string      `json:"verdictText"` // "There now."
	Short          string      `json:"short"`       // the verdict in a few words, "happening now"
	ThereNow       bool        `json:"thereNow"`
	Severity       string      `json:"severity"` // a Level
	SeverityReason string      `json:"severityReason"`
	CarJudgement   string      `json:"carJudgement"` // see [CarJudgement]; "" until who asked the module sets it
	Advice         string      `json:"advice"`
	Causes         []string    `json:"causes"`    // usual causes, likely first; never nil
	LookFirst      []string    `json:"lookFirst"` // what to look at first without tools; never nil
	Erasing        Erasing     `json:"erasing"`   // whether erasing helps
	ErasingText    string      `json:"erasingText"`
	Source         string      `json:"source"`
}

// StatusView is a status byte bit by bit; a bit that the module does not report is nil: not known, which is not "no".
type StatusView struct {
	Byte      string `json:"byte"`      // "2F"
	Available string `json:"available"` // availability mask, "FF"
	Faulty    bool   `json:"faulty"`

	TestFailed                         *bool `json:"testFailed"`
	TestFailedThisOperationCycle       *bool `json:"testFailedThisOperationCycle"`
	PendingDTC                         *bool `json:"pendingDTC"`
	ConfirmedDTC                       *bool `json:"confirmedDTC"`
	TestNotCompletedSinceLastClear     *bool `json:"testNotCompletedSinceLastClear"`
	TestFailedSinceLastClear           *bool `json:"testFailedSinceLastClear"`
	TestNotCompletedThisOperationCycle *bool `json:"testNotCompletedThisOperationCycle"`
	WarningIndicatorRequested          *bool `json:"warningIndicatorRequested"`
}

// View is the status byte bit by bit, as far as the module reports it.
func (s Status) View(available Status) StatusView {
	bit := func(m Status) *bool {
		if available&m == 0 {
			return nil
		}
		set := s&m != 0
		return &set
	}
	return StatusView{
		Byte:                               fmt.Sprintf("%02X", byte(s)),
		Available:                          fmt.Sprintf("%02X", byte(available)),
		Faulty:                             s.Faulty(available),
		TestFailed:                         bit(TestFailed),
		TestFailedThisOperationCycle:       bit(TestFailedThisOperationCycle),
		PendingDTC:                         bit(PendingDTC),
		ConfirmedDTC:                       bit(ConfirmedDTC),
		TestNotCompletedSinceLastClear:     bit(TestNotCompletedSinceLastClear),
		TestFailedSinceLastClear:           bit(TestFailedSinceLastClear),
		TestNotCompletedThisOperationCycle: bit(TestNotCompletedThisOperationCycle),
		WarningIndicatorRequested:          bit(WarningIndicatorRequested),
	}
}

// Describe tells all that is known of a code. status is nil where the module gives none; lists are then the OBD lists
// that name the code: "stored", "pending", "permanent".
func Describe(c Code, status *Status, available Status, lists []string) Description {
	d := Description{Code: c.Name(), Origin: c.Origin(), System: string(c.System()), Letters: c.letters(), Causes: []string{}, LookFirst: []string{}}
	var failure byte
	if f, ok := c.FailureType(); ok {
		failure = f
		d.FailureType = fmt.Sprintf("%02X", f)
		d.FailureText, _ = FailureText(f)
	}
	verdict := verdictOf(status, available, lists)
	lamp := false
	if status != nil {
		v := status.View(available)
		d.Status = &v
		lamp = *status&available&WarningIndicatorRequested != 0
	}
	d.Verdict, d.VerdictText, d.Short, d.ThereNow = verdict.Key(), verdict.Text(), verdict.Short(), verdict == ThereNow

	e, known := c.entry()
	a := c.area()
	d.Known = known
	d.Area = a.words
	d.Meaning, d.Line = c.unknownMeaning(), c.Line()
	if known {
		behind, w := e.behind(), e.wording(e.kind.phrase)
		d.Meaning, d.Part, d.Doubt = w.Meaning(), w.Name(), e.doubt
		d.Causes, d.LookFirst = slices.Clone(behind.causes), slices.Clone(behind.looks)
	}
	level, reason := a.judge(verdict, lamp)
	d.SeverityReason = reason
	d.Severity = string(level)
	if !known && level != Info {
		d.Severity = string(UnknownLevel)
		d.SeverityReason = fmt.Sprintf("What it means is not known here. Take it as %s. %s", level, reason)
	}
	d.Advice = advice(e, known, level, verdict)
	d.Erasing, d.ErasingText = erasing(e, known, verdict, a)
	d.Source = source(d, e, failure)
	return d
}

func verdictOf(status *Status, available Status, lists []string) Verdict {
	switch {
	case status != nil:
		return status.Verdict(available)
	case slices.Contains(lists, "stored"):
		return Stored
	case slices.Contains(lists, "pending"):
		return Pending
	case slices.Contains(lists, "permanent"):
		return Permanent
	}
	return VerdictUnknown
}

// unknownMeaning says why a code has no meaning here.
func (c Code) unknownMeaning() string {
	switch o := c.Origin(); {
	case c.IsZero():
		return "No code."
	case o == Maker:
		return fmt.Sprintf("The car's maker decides what %s means.", c.Name())
	case o == Reserved:
		return fmt.Sprintf("The standard gives %s no meaning.", c.Name())
	}
	return fmt.Sprintf("The standard says what %s means, but it is not in the table of this program.", c.Name())
}

// letters explains the parts of a code in sentences.
func (c Code) letters() string {
	if c.IsZero() {
		return ""
	}
	name := c.Name()
	out := []string{fmt.Sprintf("%s is for %s.", name[:1], c.System().Text())}
	switch c.Origin() {
	case Standard:
		out = append(out, fmt.Sprintf("%s means the standard says what it means.", c.digits()))
	case Maker:
		out = append(out, fmt.Sprintf("%s means the maker decides what it means.", c.digits()))
	case Reserved:
		out = append(out, fmt.Sprintf("%s is kept free by the standard; newer editions may use it.", c.digits()))
	}
	f, ok := c.FailureType()
	text, known := FailureText(f)
	switch {
	case ok && known:
		out = append(out, fmt.Sprintf("%02X is standard: %s.", f, text))
	case ok:
		out = append(out, fmt.Sprintf("%02X: %s.", f, text))
	}
	return strings.Join(out, " ")
}

// digits are the digits that decide the origin: the first one, or two where the first is split.
func (c Code) digits() string {
	if c.b[0]>>4&3 == 3 && (c.System() == Powertrain || c.System() == Network) {
		return c.Name()[1:3]
	}
	return c.Name()[1:2]
}

func advice(e entry, known bool, level Level, v Verdict) string {
	out := levelAdvice(level, v)
	if level == Info {
		return out
	}
	if known {
		return out + " " + e.behind().looks[0]
	}
	return out + " Ask with the code, the name of the module and its bytes."
}

func erasing(e entry, known bool, v Verdict, a area) (Erasing, string) {
	serious := ""
	if a.now == Stop || a.remembered.rank() >= WorkshopSoon.rank() {
		serious = " A workshop should see it before anything is erased."
	}
	switch {
	case v == NoResult, v == Fine:
		return ErasingUseless, "There is nothing to erase: it is no fault now."
	case v == ThereNow:
		return ErasingUseless, "Not by itself. It is there now, so it returns at the next test." + serious
	case v == CameAndWent:
		return ErasingUseless, "Not by itself. It failed since switching on, so it will return." + serious
	case !known, e.kind.erasing == ErasingUnknown:
		return ErasingUnknown, "Not known. It returns when its cause is still there." + serious
	case e.kind.erasing == ErasingHelps:
		return ErasingHelps, "Yes, once its cause is gone. Codes like this often stay behind after a weak 12 V supply." + serious
	}
	return ErasingUseless, "Not by itself. It returns when its cause is still there." + serious
}

func source(d Description, e entry, failure byte) string {
	out := []string{"Letters and digits: SAE J2012 / ISO 15031-6."}
	if d.Known {
		out = append(out, "Meaning: the same, in our own words.")
	}
	if e.doubt != "" {
		out = append(out, "Not certain: "+e.doubt+".")
	}
	if _, sure := FailureText(failure); d.FailureType != "" && sure {
		out = append(out, fmt.Sprintf("Failure type %02X: SAE J2012.", failure))
	}
	if d.Status != nil {
		out = append(out, "Status bits: ISO 14229-1 annex D.2.")
	}
	return strings.Join(append(out, "How serious: common practice."), " ")
}
