package tongue

import (
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// telling is the search for one text in a book. What it has found of a part is kept: parts come up again in other ways to
// read the text.
type telling struct {
	phrases
	exact *telling // the one in which everything is known, nil where that is this one; in another, names stand at places
	found map[string]answer
	left  int // parts that may still be looked for
}

type answer struct {
	text  string
	known bool
}

// manyParts bounds the search: a text that the book does not know has many ways to be read.
const manyParts = 4000

// tell finds a sentence, or each of several: first one in which everything is known, then one with names in it.
func (p phrases) tell(english string) (string, bool) {
	exact := &telling{phrases: p, found: map[string]answer{}, left: manyParts}
	if s, ok := exact.put(english, false); ok {
		return s, true
	}
	exact.left = manyParts
	named := &telling{phrases: p, exact: exact, found: map[string]answer{}, left: manyParts}
	return named.tell(english)
}

// tell finds a text, with a full stop at its end or without: the same words end a sentence here and stand within one there.
func (t *telling) tell(english string) (string, bool) {
	bare, stopped := strings.CutSuffix(english, ".")
	a, met := t.found[bare]
	if !met {
		t.found[bare] = answer{} // a way that comes back here leads nowhere
		a.text, a.known = t.search(bare)
		t.found[bare] = a
	}
	if stopped && a.known {
		return a.text + ".", true
	}
	return a.text, a.known
}

func (t *telling) search(english string) (string, bool) {
	if t.left--; t.left < 0 || english == "" {
		return "", false
	}
	small := english // as it stands within a sentence
	if r, n := utf8.DecodeRuneInString(english); unicode.IsUpper(r) {
		small = string(unicode.ToLower(r)) + english[n:]
	}
	if s, ok := t.plain[english]; ok {
		return s, true
	}
	if s, ok := t.plain[small]; ok {
		return upperFirst(s), true
	}
	if t.codes != nil {
		for _, key := range []string{english, english + ".", small, small + "."} {
			if s, ok := t.codes()[key]; ok {
				if s = strings.TrimSuffix(s, "."); small != english {
					s = upperFirst(s)
				}
				return s, true
			}
		}
	}
	if s, ok := t.each(english, ". "); ok {
		return s, true
	}
	ways := []func() (string, bool){
		func() (string, bool) { return t.each(english, "; ") },
		func() (string, bool) { return t.each(english, ", ") },
		func() (string, bool) { return t.one(english) },
		func() (string, bool) {
			if small == english {
				return "", false
			}
			s, ok := t.one(small)
			return upperFirst(s), ok
		},
	}
	if t.exact != nil { // in a sentence that is known, a name is told from other words
		slices.Reverse(ways)
		ways[0], ways[1] = ways[1], ways[0]
	}
	for _, way := range ways {
		if s, ok := way(); ok {
			return s, true
		}
	}
	return "", false
}

// one reads a text as one phrase.
func (t *telling) one(english string) (string, bool) {
	lists := [2][]phrase{t.with[""], nil}
	if b := beginning(english); b != "" {
		lists[1] = t.with[b]
	}
	for len(lists[0])+len(lists[1]) > 0 { // of both lists, the one with more words first
		i := 0
		if len(lists[0]) == 0 || len(lists[1]) > 0 && byWords(lists[1][0], lists[0][0]) < 0 {
			i = 1
		}
		x := lists[i][0]
		lists[i] = lists[i][1:]
		by := t
		if x.words < fewLetters && t.exact != nil {
			by = t.exact
		}
		if s, ok := by.fill(x, english); ok {
			return s, true
		}
	}
	return "", false
}

// fill reads a text as a phrase with something at each of its places.
func (t *telling) fill(x phrase, english string) (string, bool) {
	if !x.fits(english) {
		return "", false
	}
	if x.word && strings.Contains(english[len(x.parts[0]):len(english)-len(x.parts[1])], " ") {
		return "", false
	}
	in := make([]string, len(x.order))
	if !t.places(x, 0, english[len(x.parts[0]):], in) {
		return "", false
	}
	return place.ReplaceAllStringFunc(x.text, func(hole string) string { return in[slices.Index(x.order, int(hole[1]-'0'))] }), true
}

// fits tells whether a text has all words of a phrase, in their order.
func (x phrase) fits(english string) bool {
	rest, ok := strings.CutPrefix(english, x.parts[0])
	last := len(x.parts) - 1
	if !ok || !strings.HasSuffix(rest, x.parts[last]) {
		return false
	}
	for _, part := range x.parts[1:last] {
		if _, rest, ok = strings.Cut(rest, part); !ok {
			return false
		}
	}
	return len(rest) > len(x.parts[last])
}

// places finds what stands at the places of a phrase from the i-th on, each way to part the text in turn.
func (t *telling) places(x phrase, i int, english string, in []string) bool {
	next := x.parts[i+1]
	if i == len(x.order)-1 {
		s, ok := strings.CutSuffix(english, next)
		if ok {
			in[i], ok = t.put(s, x.free[i])
		}
		return ok
	}
	for at := 1; at < len(english); at++ {
		found := strings.Index(english[at:], next)
		if found < 0 {
			return false
		}
		at += found
		if s, ok := t.put(english[:at], x.free[i]); ok && t.places(x, i+1, english[at+len(next):], in) {
			in[i] = s
			return true
		}
	}
	return false
}

// each finds the parts of a text that end in a mark, all of them or none. A part may have such marks within itself.
func (t *telling) each(english, end string) (string, bool) {
	parts := strings.SplitAfter(english, end)
	if len(parts) < 2 {
		return "", false
	}
	var out strings.Builder
	for from := 0; from < len(parts); {
		to := len(parts)
		if from == 0 {
			to--
		}
		for ; to > from; to-- {
			part, behind := strings.Join(parts[from:to], ""), ""
			if to < len(parts) {
				behind = end[len(end)-1:] // a full stop belongs to its sentence
				if part = strings.TrimSuffix(part, behind); end != ". " {
					part, behind = strings.TrimSuffix(part, end[:1]), end
				}
			}
			s, ok := t.tell(part)
			if !ok && t.exact != nil {
				s, ok = t.exact.put(part, false)
			} else if !ok {
				s, ok = t.put(part, false)
			}
			if ok {
				out.WriteString(s + behind)
				break
			}
		}
		if to == from {
			return "", false
		}
		from = to
	}
	return out.String(), true
}

// datum is what is no word: figures, bytes, codes, signs, a text in quotation marks, units.
var datum = regexp.MustCompile(`^("[^"]*"\.?|[^a-z]+|\S*\d\S*|[(±-]?(ms|µs|s|min|h|km|km/h|m|mm|kPa|Pa|bar|bit/s|kbit/s|mA|mV|kHz|Hz|kg|g|l|L/h|°C|kΩ|MΩ|1/min|g/s|kg/h|mg|mg/stroke|mg/m³|Nm|ppm|count)[),.;:]*)$`)

// name is what a module, a car or a person may be called.
var name = regexp.MustCompile(`^[\p{Lu}\d][^.,;:!?]*$`)

// sentence are words that tell a sentence from a name.
var sentence = regexp.MustCompile(`\b(the|a|an|is|are|was|were|to|it|its|not|no|this|that|has|have|with|can't|of a)\b`)

// put is what stands at a place: words that are known, figures in the way of the language, bytes, or a name that the engine
// put there. Words that are not known make the whole unknown: half a text in each language helps nobody.
func (t *telling) put(s string, free bool) (text string, known bool) {
	if !free && strings.Count(s, "(") != strings.Count(s, ")") { // cut in the middle
		return s, false
	}
	if value, stop := strings.CutSuffix(s, "."); number.MatchString(value) && (unit(value) == "" || datum.MatchString(unit(value))) {
		return t.forms.amount(value, t.orAsIs) + map[bool]string{true: "."}[stop], true
	}
	if t.exact != nil {
		if text, ok := t.exact.tell(s); ok {
			return text, true
		}
	}
	if text, ok := t.tell(s); ok {
		return text, true
	}
	data := s != ""
	for word := range strings.FieldsSeq(quoted.ReplaceAllString(s, "0")) {
		data = data && datum.MatchString(word)
	}
	if data || free || t.exact == nil {
		return s, data || free
	}
	return t.names(s)
}

// names are one or several of what the engine calls by a name.
func (t *telling) names(s string) (string, bool) {
	before, last, joined := strings.Cut(s, " and ")
	all := strings.Split(before, ", ")
	if joined {
		all = append(all, last)
	}
	for i, n := range all {
		if told, ok := t.tell(n); ok {
			all[i] = told
		} else if !name.MatchString(n) || sentence.MatchString(n) {
			return s, false
		}
	}
	if joined {
		return t.listed(all), true
	}
	return strings.Join(all, t.forms.Comma), true
}

// quoted is a text in quotation marks.
var quoted = regexp.MustCompile(`"[^"]*"`)

func upperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// unit is what stands behind a figure.
func unit(s string) string {
	_, u, _ := strings.Cut(s, " ")
	return u
}
