package dtc

import "strings"

// entry is what the standard says of one code, in our own words.
type entry struct {
	part     string // "the oxygen sensor after the catalyst"
	place    string // "bank 1, sensor 2"
	kindName string
	kind     kind
	area     string
	doubt    string // why the meaning is not certain, "" where it is
}

// Erasing tells whether erasing helps once the fault is not there now.
type Erasing string

const (
	ErasingHelps   Erasing = "yes"
	ErasingUseless Erasing = "no"
	ErasingUnknown Erasing = "unknown"
)

// Meaning is what the standard says of a code, in our own words; ok is false for a code of the maker's, and for one
// that the table does not hold.
func (c Code) Meaning() (text string, ok bool) {
	e, ok := c.entry()
	if !ok {
		return "", false
	}
	return e.wording(e.kind.phrase).Meaning(), true
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

// Line says a code in one sentence for the owner: what is wrong, and what the failure type adds to it.
func (c Code) Line() string { return c.Wording().String() }
