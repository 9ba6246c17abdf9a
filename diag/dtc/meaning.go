package dtc

import (
	"fmt"
	"strings"
	"sync"

	"readback/assets"
)

// entry is what the standard says of one code, in our own words.
type entry struct {
	meaning string
	part    string // with its place, "the oxygen sensor, after the catalyst, bank 1"
	kind    kind
	area    string
	doubt   string // why the meaning is not certain, "" where it is
}

// kind is one way in which a part can be wrong.
type kind struct {
	phrase  string // with {part}
	advice  string
	erasing Erasing
}

// area is a family of codes.
type area struct {
	words      string
	remembered Level
	now        Level
	why        string
}

// Erasing tells whether erasing helps once the fault is not there now.
type Erasing string

const (
	ErasingHelps   Erasing = "yes"
	ErasingUseless Erasing = "no"
	ErasingUnknown Erasing = "unknown"
)

// tables are the embedded tables, read once. They are checked by tests; a row that can't be read is a fault of the
// program.
var tables = sync.OnceValue(func() (t struct {
	codes map[string]entry
	kinds map[string]kind
	areas map[string]area
}) {
	t.codes, t.kinds, t.areas = map[string]entry{}, map[string]kind{}, map[string]area{}
	for _, f := range rows(assets.CodeKinds(), 4) {
		t.kinds[f[0]] = kind{f[1], f[2], Erasing(f[3])}
	}
	for _, f := range rows(assets.CodeAreas(), 5) {
		t.areas[f[0]] = area{f[1], Level(f[2]), Level(f[3]), f[4]}
	}
	for _, f := range rows(assets.Codes(), 6) {
		c, err := Parse(f[0])
		if err != nil {
			panic(err)
		}
		part := f[2]
		if f[3] != "" {
			part += ", " + f[3]
		}
		for _, k := range strings.Fields(f[1]) {
			if k != "-" {
				kind, ok := t.kinds[k]
				if _, known := t.areas[f[4]]; !ok || !known {
					panic(fmt.Sprintf("dtc: %s has the unknown kind %q or area %q", f[0], k, f[4]))
				}
				t.codes[c.Name()] = entry{strings.ReplaceAll(kind.phrase, "{part}", part), part, kind, f[4], f[5]}
			}
			n := uint16(c.b[0])<<8 | uint16(c.b[1]) + 1
			c = From2(byte(n>>8), byte(n))
		}
	}
	return t
})

// rows are the tab-separated rows of a table, without its comments.
func rows(table string, columns int) [][]string {
	var out [][]string
	for line := range strings.Lines(table) {
		line = strings.TrimRight(line, "\r\n")
		if line == "" || line[0] == '#' {
			continue
		}
		f := strings.Split(line, "\t")
		if len(f) != columns {
			panic(fmt.Sprintf("dtc: a row of the code tables has %d columns, not %d: %s", len(f), columns, line))
		}
		out = append(out, f)
	}
	return out
}

// Meaning is what the standard says of a code, in our own words; ok is false for a code of the maker's, and for one
// that the table does not hold.
func (c Code) Meaning() (text string, ok bool) {
	e, ok := c.entry()
	return e.meaning, ok
}

func (c Code) entry() (entry, bool) {
	if c.n == 0 || c.Origin() != Standard {
		return entry{}, false
	}
	e, ok := tables().codes[c.Name()]
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
