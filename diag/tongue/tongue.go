package tongue

import (
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"readback/diag/dtc"
)

// Files holds the sentences, a file or several for each language: text/de.json, text/de-codes.json. What stands behind a
// hyphen says what is in it.
//
//go:embed text
var Files embed.FS

//go:embed forms
var formFiles embed.FS

// English is the tag of the language that the engine speaks.
const English = "en"

// ErrUnknown is the error for a language that nothing is known of.
var ErrUnknown = errors.New("tongue: no such language")

// Tongue is a language. It may be used from several goroutines.
type Tongue struct {
	// Pieces are its sentences by their English text, with {1}, {2} at their places. English has none.
	Pieces map[string]string

	tag   string
	forms forms
	book  phrases

	mu   sync.Mutex
	told map[string]string // what was told lately: a page tells the same sentences again and again
}

// forms are how a language writes numbers and dates.
type forms struct {
	Decimal string   `json:"decimal"` // the mark before tenths
	Comma   string   `json:"comma"`   // between the members of a list
	Date    string   `json:"date"`    // a day with its year
	Months  []string `json:"months"`
}

// manyTold is how many sentences are remembered before they are forgotten all.
const manyTold = 4096

// all are the languages by their tags. They are read when the first of them is asked for.
var all = sync.OnceValues(func() (map[string]*Tongue, error) {
	files, err := formFiles.ReadDir("forms")
	if err != nil {
		return nil, fmt.Errorf("tongue: reading how languages write: %w", err)
	}
	books, err := books()
	if err != nil {
		return nil, err
	}
	out := map[string]*Tongue{}
	for _, f := range files {
		tag := strings.TrimSuffix(f.Name(), ".json")
		b, err := formFiles.ReadFile("forms/" + f.Name())
		if err != nil {
			return nil, fmt.Errorf("tongue: reading how %s is written: %w", tag, err)
		}
		t := &Tongue{tag: tag, book: books[tag], told: map[string]string{}}
		if err := json.Unmarshal(b, &t.forms); err != nil {
			return nil, fmt.Errorf("tongue: reading how %s is written: %w", tag, err)
		}
		if n := len(t.forms.Months); n != 12 {
			return nil, fmt.Errorf("tongue: %s has %d months", tag, n)
		}
		t.book.forms, t.Pieces = t.forms, t.book.whole
		t.book.codes = sync.OnceValue(t.book.ofCodes)
		out[tag] = t
	}
	return out, nil
})

// InEnglish is the language that the engine speaks.
var InEnglish = sync.OnceValue(func() *Tongue {
	t := &Tongue{tag: English, forms: forms{Decimal: ".", Comma: ", ", Date: "{day} {month} {year}"}}
	for m := time.January; m <= time.December; m++ {
		t.forms.Months = append(t.forms.Months, m.String())
	}
	t.book.forms = t.forms
	return t
})

// Tags are the languages that are known, in order.
func Tags() []string {
	tags := []string{English}
	files, _ := formFiles.ReadDir("forms") // Of tells what is wrong
	for _, f := range files {
		tags = append(tags, strings.TrimSuffix(f.Name(), ".json"))
	}
	slices.Sort(tags)
	return tags
}

// Of is a language by its tag, "de" or a country's "de-AT" or "de_AT.UTF-8". The error wraps [ErrUnknown] where nothing is
// known of it.
func Of(tag string) (*Tongue, error) {
	short, _, _ := strings.Cut(strings.ReplaceAll(tag, "_", "-"), "-")
	short, _, _ = strings.Cut(strings.ToLower(short), ".")
	if short == English { // it has no sentences to read
		return InEnglish(), nil
	}
	known, err := all()
	if err != nil {
		return nil, err
	}
	if t := known[short]; t != nil {
		return t, nil
	}
	return nil, fmt.Errorf("%w: %q", ErrUnknown, tag)
}

// Tag names the language as BCP 47 does.
func (t *Tongue) Tag() string { return t.tag }

// Find is what the engine says, in this language, and whether there are words for it.
func (t *Tongue) Find(english string) (text string, known bool) {
	if t.tag == English {
		return english, true
	}
	if s, ok := t.Pieces[english]; ok { // a sentence whose places are still to be filled
		return s, true
	}
	return t.book.tell(english)
}

// Tell is what the engine says, in this language; the engine's own words where there are no others for them.
func (t *Tongue) Tell(english string) string {
	if t.tag == English || english == "" {
		return english
	}
	t.mu.Lock()
	s, ok := t.told[english]
	t.mu.Unlock()
	if ok {
		return s
	}
	if s, ok = t.Find(english); !ok {
		s = english
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.told) >= manyTold {
		clear(t.told)
	}
	t.told[english] = s
	return s
}

// Line says a trouble code in one sentence.
func (t *Tongue) Line(c dtc.Code) string { return c.Wording().In(t.Tell).String() }

// Measured is a value with its unit, or a word in its place.
func (t *Tongue) Measured(value string) string {
	if s := t.Tell(value); s != value || !number.MatchString(value) {
		return s
	}
	return t.forms.amount(value, t.Tell)
}

// Figures gives the number in a text of one figure and its unit, such as "60.4 Ω", the decimal mark of the language.
func (t *Tongue) Figures(s string) string { return t.forms.figures(s) }

// Say is a sentence of the engine with something at its places: the first of with at {1}, and so on. What is put there stays
// as it is.
func (t *Tongue) Say(english string, with ...string) string { return filled(t.Tell(english), with...) }

// Commas joins names that are not all there are.
func (t *Tongue) Commas(names []string) string { return strings.Join(names, t.forms.Comma) }

// Listed joins names: "a, b and c".
func (t *Tongue) Listed(names []string) string { return t.book.listed(names) }

// Month is the name of a month.
func (t *Tongue) Month(m time.Month) string { return t.forms.Months[m-1] }

// Day is a date with its year, in the zone of at.
func (t *Tongue) Day(at time.Time) string {
	return strings.NewReplacer("{day}", strconv.Itoa(at.Day()), "{month}", t.Month(at.Month()), "{year}", strconv.Itoa(at.Year())).Replace(t.forms.Date)
}

func (f forms) figures(s string) string { return strings.Replace(s, ".", f.Decimal, 1) }

// amount is a figure with its unit. Most units are the same in every language.
func (f forms) amount(s string, tell func(string) string) string {
	n, unit, ok := strings.Cut(s, " ")
	if !ok {
		return f.figures(s)
	}
	return f.figures(n) + " " + tell(unit)
}

// joins is how the last two members of a list stand together.
const joins = "{1} and {2}"

// listed joins names: "a, b and c".
func (p phrases) listed(names []string) string {
	n := len(names)
	if n < 2 {
		return strings.Join(names, p.forms.Comma)
	}
	form := joins
	if other, ok := p.whole[joins]; ok {
		form = other
	}
	return filled(form, strings.Join(names[:n-1], p.forms.Comma), names[n-1])
}

// filled puts something at the places of a sentence.
func filled(sentence string, with ...string) string {
	var at []string
	for i, s := range with {
		at = append(at, "{"+strconv.Itoa(i+1)+"}", s)
	}
	return strings.NewReplacer(at...).Replace(sentence)
}
