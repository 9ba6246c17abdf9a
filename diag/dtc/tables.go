package dtc

import (
	"fmt"
	"strconv"
	"strings"
	"sync"

	"readback/assets"
)

// kind is one way in which a part can be wrong.
type kind struct {
	phrase  string // with {part}
	group   string // of kinds that share causes
	general bool   // says no more than that something is wrong: a failure type may take its place
	erasing Erasing
}

// area is a family of codes.
type area struct {
	words      string
	remembered Level
	now        Level
	why        string
}

// class finds the class of a part by words in its name.
type class struct{ words, name string }

// causes are what usually stands behind a group of kinds, and what to look at first without tools.
type causes struct{ causes, looks []string }

// failure is what a failure type adds.
type failure struct {
	text   string // after a colon
	phrase string // with {part}; "" for 00
	sure   bool
}

// tables are the embedded tables, read once. They are checked by tests; a row that can't be read is a fault of the
// program.
var tables = sync.OnceValue(func() (t struct {
	codes    map[uint16]entry
	kinds    map[string]kind
	areas    map[string]area
	classes  []class
	causes   map[[2]string]causes // by group and class
	failures map[byte]failure
}) {
	t.codes, t.kinds, t.areas = map[uint16]entry{}, map[string]kind{}, map[string]area{}
	t.causes, t.failures = map[[2]string]causes{}, map[byte]failure{}
	for f := range rows(assets.CodeKinds(), 5) {
		t.kinds[f[0]] = kind{f[1], f[2], f[3] == "yes", Erasing(f[4])}
	}
	for f := range rows(assets.CodeAreas(), 5) {
		t.areas[f[0]] = area{f[1], Level(f[2]), Level(f[3]), f[4]}
	}
	for f := range rows(assets.CodeClasses(), 2) {
		t.classes = append(t.classes, class{f[0], f[1]})
	}
	for f := range rows(assets.CodeCauses(), 4) {
		t.causes[[2]string{f[0], f[1]}] = causes{strings.Split(f[2], ";"), strings.Split(f[3], ";")}
	}
	for f := range rows(assets.CodeFailures(), 4) {
		n, err := strconv.ParseUint(f[0], 16, 8)
		if err != nil {
			panic(fmt.Sprintf("dtc: failure type %q: %v", f[0], err))
		}
		t.failures[byte(n)] = failure{f[1], f[2], f[3] == "yes"}
	}
	for f := range codeRows {
		for c, e := range entries(f) {
			e.kind = t.kinds[e.kindName]
			if _, known := t.areas[e.area]; !known || e.kind.phrase == "" || t.codes[c].part != "" {
				panic(fmt.Sprintf("dtc: %04X has the unknown kind %q or area %q, or is given twice", c, e.kindName, e.area))
			}
			t.codes[c] = e
		}
	}
	return t
})

// codeRows are the rows of all codes: those of parts, and for each module that sends messages up to three.
func codeRows(yield func([]string) bool) {
	for f := range rows(assets.Codes(), 6) {
		if !yield(f) {
			return
		}
	}
	for f := range rows(assets.CodeModules(), 6) {
		part, area, doubt := f[0], f[1], f[5]
		for _, row := range [][]string{
			{f[2], "lost", part, "", area, doubt}, {f[3], "data", part, "", area, doubt}, {f[4], "misfit", part, "", "fit", doubt},
		} {
			if row[0] != "-" && !yield(row) {
				return
			}
		}
	}
}

// rows are the tab-separated rows of a table, without its comments; missing columns at the end are empty.
func rows(table string, columns int) func(yield func([]string) bool) {
	return func(yield func([]string) bool) {
		for line := range strings.Lines(table) {
			line = strings.TrimRight(line, "\r\n")
			if line == "" || line[0] == '#' {
				continue
			}
			f := strings.Split(line, "\t")
			if len(f) > columns {
				panic(fmt.Sprintf("dtc: a row of the code tables has %d columns, not %d: %s", len(f), columns, line))
			}
			if !yield(append(f, make([]string, columns-len(f))...)) {
				return
			}
		}
	}
}

// entries are the codes of one row: its kinds for each choice of the set in its part or place, in order.
func entries(f []string) func(yield func(uint16, entry) bool) {
	return func(yield func(uint16, entry) bool) {
		first, decimal := strings.CutSuffix(f[0], " decimal")
		c, err := Parse(first)
		if err != nil {
			panic(err)
		}
		n := c.number()
		for _, text := range Choices(f[2] + "\t" + f[3]) {
			part, place, _ := strings.Cut(text, "\t")
			for k := range strings.FieldsSeq(f[1]) {
				if k != "-" && !yield(n, entry{part: part, place: place, kindName: k, area: f[4], doubt: f[5]}) {
					return
				}
				n = next(n, decimal)
			}
		}
	}
}

// next is the code after n: in hex, or in decimal digits.
func next(n uint16, decimal bool) uint16 {
	n++
	for shift := uint16(0); decimal && shift < 12 && n>>shift&0xF == 0xA; shift += 4 {
		n += 6 << shift
	}
	return n
}

// Choices writes a text once for each choice of its set in braces: {A/B/C}, {A..F}, {1..12}. A text without a set is its own
// only choice.
func Choices(text string) []string {
	before, rest, found := strings.Cut(text, "{")
	set, after, closed := strings.Cut(rest, "}")
	if !found || !closed {
		return []string{text}
	}
	var out []string
	from, to, isRange := strings.Cut(set, "..")
	switch first, err := strconv.Atoi(from); {
	case !isRange:
		for choice := range strings.SplitSeq(set, "/") {
			out = append(out, before+choice+after)
		}
	case err == nil:
		last, _ := strconv.Atoi(to)
		for i := first; i <= last; i++ {
			out = append(out, before+strconv.Itoa(i)+after)
		}
	default:
		for l := from[0]; l <= to[0]; l++ {
			out = append(out, before+string(rune(l))+after)
		}
	}
	return out
}

// behind are the causes of an entry: of its group of kinds and its part's class, or of the group alone.
func (e entry) behind() causes {
	t := tables()
	if c, ok := t.causes[[2]string{e.kind.group, e.class()}]; ok {
		return c
	}
	return t.causes[[2]string{e.kind.group, "*"}]
}

// class is the class of the part, "part" where no row of the table names it.
func (e entry) class() string {
	for _, c := range tables().classes {
		if strings.Contains(e.part, c.words) {
			return c.name
		}
	}
	return "part"
}
