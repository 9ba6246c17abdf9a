package tongue

import (
	"cmp"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"

	"readback/diag/dtc"
)

// phrases are the engine's sentences in another language. {1}, {2} stand for what the engine puts into a sentence: words
// that have a translation, figures and bytes, names. {1*} takes anything, as it is where it is not known. A key with a set,
// such as {A..F}, stands for one text each, as in the code tables; its translation has a set as long.
type phrases struct {
	whole map[string]string   // without sets
	plain map[string]string   // those without places, without a full stop at their end
	with  map[string][]phrase // those with places by how they begin, the one with most words of its own first
	// codes are the meanings of the standard's trouble codes and the names of the parts that they are about, as the engine
	// puts them into its sentences. They are put together from phrases when they are first needed.
	codes func() map[string]string
	forms forms
}

// phrase is a sentence with places.
type phrase struct {
	parts []string // what stands before, between and behind the places
	order []int    // the number of each place, as it stands in the English text
	free  []bool   // of each place: it takes anything
	word  bool     // a place is one word
	words int      // letters of its own
	text  string
}

// fewLetters is how many letters of its own make a phrase. One with less ("{1} and {2}") only joins what is known.
const fewLetters = 4

var place = regexp.MustCompile(`\{(\d)(\*?)\}`)

// books are the phrases of every language that has some, by its tag. A language may have several files: what stands behind
// a hyphen in a name (de-codes.json) says what is in it.
var books = sync.OnceValues(func() (map[string]phrases, error) {
	const folder = "text"
	out := map[string]phrases{}
	files, err := Files.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("tongue: reading the engine's sentences: %w", err)
	}
	for _, f := range files {
		b, err := Files.ReadFile(folder + "/" + f.Name())
		if err != nil {
			return nil, fmt.Errorf("tongue: reading the engine's sentences: %w", err)
		}
		said := map[string]string{}
		if err := json.Unmarshal(b, &said); err != nil {
			return nil, fmt.Errorf("tongue: reading the engine's sentences %s: %w", f.Name(), err)
		}
		tag, _, _ := strings.Cut(strings.TrimSuffix(f.Name(), ".json"), "-")
		p, ok := out[tag]
		if !ok {
			p = phrases{whole: map[string]string{}, plain: map[string]string{}, with: map[string][]phrase{}}
		}
		for english, text := range said {
			if err := p.add(english, text); err != nil {
				return nil, fmt.Errorf("tongue: reading the engine's sentences %s: %w", f.Name(), err)
			}
		}
		out[tag] = p
	}
	for _, p := range out {
		for _, list := range p.with {
			slices.SortFunc(list, byWords)
		}
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
		english, text := from[i], to[i]
		if bare, ok := strings.CutSuffix(english, "."); ok {
			english, text = bare, strings.TrimSuffix(text, ".")
		}
		if !place.MatchString(english) {
			p.plain[english] = text
			continue
		}
		x := newPhrase(english, text)
		p.with[beginning(x.parts[0])] = append(p.with[beginning(x.parts[0])], x)
	}
	return nil
}

// beginning is by what phrases that may fit are found; "" where there is too little.
func beginning(s string) string {
	if len(s) < 2 {
		return ""
	}
	return s[:2]
}

// byWords is the order in which phrases are tried.
func byWords(a, b phrase) int {
	return cmp.Or(b.words-a.words, len(a.order)-len(b.order), slices.Compare(a.parts, b.parts))
}

// newPhrase makes a phrase. Beside a single word a place is one word, too: "Module {1}" is a name, and not the beginning of
// any sentence.
func newPhrase(english, text string) phrase {
	p, from := phrase{text: text}, 0
	for _, m := range place.FindAllStringSubmatchIndex(english, -1) {
		n, _ := strconv.Atoi(english[m[2]:m[3]]) // one digit
		p.parts, p.order, p.free = append(p.parts, english[from:m[0]]), append(p.order, n), append(p.free, m[4] < m[5])
		from = m[1]
	}
	p.parts = append(p.parts, english[from:])
	p.word = len(p.order) == 1 && len(strings.Fields(english)) == 2 && !strings.Contains(english, ":") && !p.free[0]
	for _, r := range strings.Join(p.parts, "") {
		if unicode.IsLetter(r) {
			p.words++
		}
	}
	return p
}

// orAsIs is a text in this language, or as the engine has it.
func (p phrases) orAsIs(english string) string {
	if s, ok := p.tell(english); ok {
		return s
	}
	return english
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

// number is a figure with a unit behind it.
var number = regexp.MustCompile(`^-?\d+(\.\d+)?( \S+)?$`)
