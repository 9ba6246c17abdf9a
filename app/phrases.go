package app

import (
	"encoding/json"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"readback/diag/dtc"
)

// phrases are the engine's sentences in another language. The engine speaks English: verdicts, latches, steps and causes
// come as sentences whose English text is their key here. {1}, {2} stand for what the engine puts into a sentence. A key
// with a set, such as {A..F}, stands for one text each, as in the code tables; its translation has a set as long.
type phrases struct {
	given map[string]string // as the files have them
	whole map[string]string // without sets
	with  []phrase          // those with places, the longest first
	// codes are the meanings of the standard's trouble codes and the names of the parts that they are about, as the engine
	// puts them into its sentences. They are put together from phrases when they are first needed.
	codes func() map[string]string
}

// phrase is a sentence with places.
type phrase struct {
	before, behind string // what stands before the first place and behind the last one
	form           *regexp.Regexp
	order          []int // the number of each place, as it stands in the English text
	text           string
}

var place = regexp.MustCompile(`\{(\d)\}`)

// books are the phrases of every language that has some, by its tag. A language may have several files: what stands behind
// a hyphen in a name (de-codes.json) says what is in it.
var books = sync.OnceValues(func() (map[string]phrases, error) {
	const folder = "text/engine"
	out := map[string]phrases{}
	files, err := catalogue.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("app: reading the engine's sentences: %w", err)
	}
	for _, f := range files {
		b, err := catalogue.ReadFile(folder + "/" + f.Name())
		if err != nil {
			return nil, fmt.Errorf("app: reading the engine's sentences: %w", err)
		}
		said := map[string]string{}
		if err := json.Unmarshal(b, &said); err != nil {
			return nil, fmt.Errorf("app: reading the engine's sentences %s: %w", f.Name(), err)
		}
		tag, _, _ := strings.Cut(strings.TrimSuffix(f.Name(), ".json"), "-")
		p, ok := out[tag]
		if !ok {
			p = phrases{given: map[string]string{}, whole: map[string]string{}}
		}
		maps.Copy(p.given, said)
		for english, text := range said {
			if err := p.add(english, text); err != nil {
				return nil, fmt.Errorf("app: reading the engine's sentences %s: %w", f.Name(), err)
			}
		}
		out[tag] = p
	}
	for tag, p := range out {
		slices.SortFunc(p.with, func(a, b phrase) int {
			if n := len(b.form.String()) - len(a.form.String()); n != 0 {
				return n
			}
			return strings.Compare(a.form.String(), b.form.String())
		})
		with := p
		with.codes = sync.OnceValue(p.ofCodes)
		out[tag] = with
	}
	return out, nil
})

// set is a set of choices as in the code tables.
var set = regexp.MustCompile(`\{[^{}]*(/|\.\.)[^{}]*\}`)

// add takes a phrase in, once for each choice of its set.
func (p *phrases) add(english, text string) error {
	from, to := []string{english}, []string{text}
	if set.MatchString(english) {
		from, to = dtc.Choices(english), dtc.Choices(text)
	}
	if len(from) != len(to) {
		return fmt.Errorf("%q has %d choices, its translation has %d", english, len(from), len(to))
	}
	for i := range from {
		p.whole[from[i]] = to[i]
	}
	if place.MatchString(english) {
		p.with = append(p.with, newPhrase(english, text))
	}
	return nil
}

// newPhrase makes a phrase. Beside a single word a place is one word, too: "Module {1}" is a name, and not the beginning of
// any sentence.
func newPhrase(english, text string) phrase {
	at := place.FindAllStringSubmatchIndex(english, -1)
	p := phrase{before: english[:at[0][0]], behind: english[at[len(at)-1][1]:], text: text}
	form, from, hole := "^", 0, "(.+?)"
	if len(strings.Fields(english)) == 2 {
		hole = `(\S+)`
	}
	for _, m := range at {
		form += regexp.QuoteMeta(english[from:m[0]]) + hole
		n, _ := strconv.Atoi(english[m[2]:m[3]]) // one digit
		p.order, from = append(p.order, n), m[1]
	}
	p.form = regexp.MustCompile("(?s)" + form + regexp.QuoteMeta(english[from:]) + "$")
	return p
}

// told is what the engine says, in the language of the window; the engine's own words where it has no others for them.
func told(english string) string {
	tag := Spoken()
	if tag == "en" || english == "" {
		return english
	}
	all, err := books()
	if err != nil {
		return english
	}
	p, ok := all[tag]
	if !ok {
		return english
	}
	return p.orAsIs(english)
}

// orAsIs is a text in this language, or as the engine has it.
func (p phrases) orAsIs(english string) string {
	if s, ok := p.tell(english); ok {
		return s
	}
	return english
}

// lineOf says a trouble code in one sentence, in the language of the window.
func lineOf(c dtc.Code) string { return c.Wording().In(told).String() }

// named is the name of a module or a value. The engine begins some with a capital letter.
func named(name string) string {
	if s := told(name); s != name || name == "" || Spoken() == "en" {
		return s
	}
	r, n := utf8.DecodeRuneInString(name)
	if low := string(unicode.ToLower(r)) + name[n:]; low != name {
		if s := told(low); s != low {
			return upperFirst(s)
		}
	}
	return name
}

// ofCodes puts the meanings of all codes and the names of their parts together.
func (p phrases) ofCodes() map[string]string {
	out := map[string]string{}
	for _, c := range dtc.Known() {
		english := c.Wording()
		other := english.In(p.orAsIs)
		out[english.Meaning()], out[english.Name()] = other.Meaning(), other.Name()
		if !strings.HasPrefix(english.Part, "the ") {
			out["the "+english.Name()] = other.Name()
		}
	}
	return out
}

// tell finds a sentence, or each of several.
func (p phrases) tell(english string) (string, bool) {
	if s, ok := p.whole[english]; ok {
		return s, true
	}
	if p.codes != nil {
		if s, ok := p.codes()[english]; ok {
			return s, true
		}
	}
	for _, end := range []string{". ", "; ", ", "} { // sentences, then their parts
		if s, ok := p.each(english, end); ok {
			return s, true
		}
	}
	for _, x := range p.with {
		if !strings.HasPrefix(english, x.before) || !strings.HasSuffix(english, x.behind) {
			continue
		}
		m := x.form.FindStringSubmatch(english)
		known := m != nil
		text := place.ReplaceAllStringFunc(x.text, func(hole string) string {
			if !known {
				return ""
			}
			var s string
			s, known = p.put(m[1+slices.Index(x.order, int(hole[1]-'0'))])
			return s
		})
		if known {
			return text, true
		}
	}
	return "", false
}

// each finds the parts of a text that end in a mark, all of them or none.
func (p phrases) each(english, end string) (string, bool) {
	parts := strings.Split(english, end)
	if len(parts) < 2 {
		return "", false
	}
	stop := strings.TrimSpace(end)
	for i := range parts {
		part, behind := parts[i], ""
		if stop == "." && i < len(parts)-1 {
			part, behind = part+stop, " "
		} else if i < len(parts)-1 {
			behind = end
		}
		s, ok := p.tell(part)
		if !ok {
			return "", false
		}
		parts[i] = s + behind
	}
	return strings.Join(parts, ""), true
}

// number is a figure with a unit behind it.
var number = regexp.MustCompile(`^-?\d+(\.\d+)?( \S+)?$`)

// put is what stands at a place: words that are known, figures in the way of the language, or what the engine put there.
// Sentences that are not known make the whole unknown: half a text in each language helps nobody.
func (p phrases) put(s string) (text string, known bool) {
	if t, ok := p.tell(s); ok {
		return t, true
	}
	if number.MatchString(s) {
		return amount(s, p.orAsIs), true
	}
	return s, !strings.Contains(s, ". ")
}

// measured is a value with its unit, or a word in its place.
func measured(value string) string {
	if number.MatchString(value) {
		return amount(value, told)
	}
	return told(value)
}

// amount is a figure with its unit. Most units are the same in every language.
func amount(s string, tell func(string) string) string {
	n, unit, ok := strings.Cut(s, " ")
	if !ok {
		return figures(s)
	}
	return figures(n) + " " + tell(unit)
}
