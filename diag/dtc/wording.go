package dtc

import (
	"maps"
	"slices"
	"strings"
	"unicode/utf8"
)

// Wording is what [Code.Line] says, in pieces: for a front end that says it in another language, where words that stand
// beside each other depend on each other in other ways than in English. Each piece is a text of the tables, but for a
// meaning that is not known, which names the code.
type Wording struct {
	Frame string // how the pieces stand together, with {what} and {added}
	What  string // what is wrong, with {part} where it names a part
	Part  string // "the oxygen sensor after the catalyst"
	Place string // "bank 1, sensor 2", "" where the part has none
	Added string // what the failure type adds, "" where it adds nothing
}

// The frames of a line. What is wrong ends in a point by itself where no meaning is known.
const (
	frameAlone    = "{what}."
	frameAdded    = "{what}: {added}."
	frameSentence = "{what}"
	frameFailed   = "{what} What failed: {added}."
)

// Wording is the line of a code in pieces. A failure type takes the place of a meaning that only says that something is
// wrong. Where the meaning is not known, what failed is a sentence of its own.
func (c Code) Wording() Wording {
	if c.IsZero() {
		return Wording{Frame: frameSentence, What: c.unknownMeaning()}
	}
	e, known := c.entry()
	b, has := c.FailureType()
	f, described := tables().failures[b]
	adds := has && described && f.sure && f.phrase != ""
	switch {
	case !known && adds:
		return Wording{Frame: frameFailed, What: c.unknownMeaning(), Added: f.text}
	case !known:
		return Wording{Frame: frameSentence, What: c.unknownMeaning()}
	case adds && e.kind.general:
		return e.wording(f.phrase)
	}
	w := e.wording(e.kind.phrase)
	if adds && !saysAlready(w.Meaning(), f.text) {
		w.Frame, w.Added = frameAdded, f.text
	}
	return w
}

// wording puts the part into a phrase. A part that is a signal itself has no signal of its own.
func (e entry) wording(phrase string) Wording {
	if strings.Contains(e.part, "signal") {
		phrase = signalOf.Replace(phrase)
	}
	return Wording{Frame: frameAlone, What: phrase, Part: e.part, Place: e.place}
}

var signalOf = strings.NewReplacer("the signal of {part}", "{part}", "the pulsed signal of {part}", "the pulses of {part}")

// In is the wording with every piece as tell says it.
func (w Wording) In(tell func(string) string) Wording {
	for _, piece := range []*string{&w.Frame, &w.What, &w.Part, &w.Place, &w.Added} {
		if *piece != "" {
			*piece = tell(*piece)
		}
	}
	return w
}

// String is the line: the pieces put together, with a capital letter.
func (w Wording) String() string {
	return upper(strings.NewReplacer("{what}", w.Meaning(), "{added}", w.Added).Replace(w.Frame))
}

// Meaning is what is wrong with the part, without a capital letter and a point.
func (w Wording) Meaning() string { return strings.ReplaceAll(w.What, "{part}", w.Name()) }

// Name is the part with its place, "" where there is none.
func (w Wording) Name() string {
	if w.Place == "" {
		return w.Part
	}
	return w.Part + " (" + w.Place + ")"
}

// Known are all codes of two bytes whose meaning the table holds, in order.
func Known() []Code {
	out := make([]Code, 0, len(tables().codes))
	for _, n := range slices.Sorted(maps.Keys(tables().codes)) {
		if c := From2(byte(n>>8), byte(n)); c.Origin() == Standard {
			out = append(out, c)
		}
	}
	return out
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

// upper writes the first letter as a capital.
func upper(s string) string {
	_, n := utf8.DecodeRuneInString(s)
	return strings.ToUpper(s[:n]) + s[n:]
}
