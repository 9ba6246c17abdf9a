package dtc

import (
	"slices"
	"strings"
)

// entry is what the standard says of one code, in our own words.
type entry struct {
	part     string // "the oxygen sensor after the catalyst"
	place    string // "bank 1, sensor 2"
	kindName string
	kind     kind
	area     string
	doubt    string // why the meaning is not certain, "" where it is
}

// name is the part with its place.
func (e entry) name() string {
	if e.place == "" {
		return e.part
	}
	return e.part + " (" + e.place + ")"
}

// meaning says what is wrong, beginning in lower case.
func (e entry) meaning() string { return e.say(e.kind.phrase) }

// say puts the part into a phrase. A part that is a signal itself has no signal of its own.
func (e entry) say(phrase string) string {
	if strings.Contains(e.part, "signal") {
		phrase = signalOf.Replace(phrase)
	}
	return strings.ReplaceAll(phrase, "{part}", e.name())
}

// Erasing tells whether erasing helps once the fault is not there now.
type Erasing string

const (
	ErasingHelps   Erasing = "yes"
	ErasingUseless Erasing = "no"
	ErasingUnknown Erasing = "unknown"
)

var signalOf = strings.NewReplacer("the signal of {part}", "{part}", "the pulsed signal of {part}", "the pulses of {part}")

// Meaning is what the standard says of a code, in our own words; ok is false for a code of the maker's, and for one
// that the table does not hold.
func (c Code) Meaning() (text string, ok bool) {
	e, ok := c.entry()
	if !ok {
		return "", false
	}
	return e.meaning(), true
}

func (c Code) entry() (entry, bool) {
	if c.n == 0 || c.Origin() != Standard {
		return entry{}, false
	}
	e, ok := tables().codes[c.number()]
	return e, ok
}

// ranges say what the codes of a range are usually about, by the beginning of their names; the longest fits. Since
// 2013 the standard's list is no longer sorted by area, hence "usually".
var ranges = []struct{ prefixes, area string }{
	{"P00 P01 P02 P20 P21 P22", "fuel"},
	{"P03 P23", "ignition"},
	{"P04 P24", "emissions"},
	{"P05 P25", "engine"},
	{"P06 P26", "module"},
	{"P07 P08 P09 P27 P28 P29", "gearbox"},
	{"P0A P0B P0C", "edrive"},
	{"P0D P0E P0F", "charging"},
	{"P", "drive"},
	{"C", "chassis"},
	{"B00", "airbag"},
	{"B", "body"},
	{"U03", "fit"},
	{"U04 U05", "data"},
	{"U30", "supply"},
	{"U", "network"},
}

// area is the family of a code: its own where the table has it, else that of its range.
func (c Code) area() area {
	if e, ok := c.entry(); ok {
		return tables().areas[e.area]
	}
	return tables().areas[rangeOf(c.Name())]
}

func rangeOf(name string) (area string) {
	longest := 0
	for _, r := range ranges {
		for p := range strings.FieldsSeq(r.prefixes) {
			if len(p) > longest && strings.HasPrefix(name, p) {
				area, longest = r.area, len(p)
			}
		}
	}
	return area
}

// Line says a code in one sentence for the owner: what is wrong, and what the failure type adds to it. A failure type
// takes the place of a meaning that only says that something is wrong. Where the meaning is not known, what failed is a
// sentence of its own.
func (c Code) Line() string {
	if c.IsZero() {
		return "No code."
	}
	e, known := c.entry()
	b, has := c.FailureType()
	f, described := tables().failures[b]
	adds := has && described && f.sure && f.phrase != ""
	line := ""
	switch {
	case known && adds && e.kind.general:
		line = e.say(f.phrase)
	case known:
		line = e.meaning()
	default:
		line = strings.TrimSuffix(c.unknownMeaning(), ".")
	}
	switch {
	case !adds || known && e.kind.general || saysAlready(line, f.text):
	case known:
		line += ": " + f.text
	default:
		line += ". What failed: " + f.text
	}
	return upper(line) + "."
}

// saysAlready reports that a line has every word of an addition.
func saysAlready(line, text string) bool {
	words := strings.Fields(line)
	for word := range strings.FieldsSeq(text) {
		if !slices.Contains(words, word) {
			return false
		}
	}
	return true
}

// upper writes the first letter, which is always ASCII here, as a capital.
func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
