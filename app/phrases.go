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
)

// phrases are the engine's sentences in another language. The engine speaks English: verdicts, latches, steps and causes
// come as sentences whose English text is their key here. {1}, {2} stand for what the engine puts into a sentence.
type phrases struct {
	whole map[string]string
	with  []phrase // those with places, the longest first
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
			p.whole = map[string]string{}
		}
		maps.Copy(p.whole, said)
		for english, text := range said {
			if place.MatchString(english) {
				p.with = append(p.with, newPhrase(english, text))
			}
		}
		out[tag] = p
	}
	for _, p := range out {
		slices.SortFunc(p.with, func(a, b phrase) int {
			if n := len(b.form.String()) - len(a.form.String()); n != 0 {
				return n
			}
			return strings.Compare(a.form.String(), b.form.String())
		})
	}
	return out, nil
})

func newPhrase(english, text string) phrase {
	at := place.FindAllStringSubmatchIndex(english, -1)
	p := phrase{before: english[:at[0][0]], behind: english[at[len(at)-1][1]:], text: text}
	form, from := "^", 0
	for _, m := range at {
		form += regexp.QuoteMeta(english[from:m[0]]) + "(.+?)"
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
	if s, ok := p.tell(english); ok {
		return s
	}
	return english
}

// tell finds a sentence, or each of several.
func (p phrases) tell(english string) (string, bool) {
	if s, ok := p.whole[english]; ok {
		return s, true
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
		return figures(s), true
	}
	return s, !strings.Contains(s, ". ")
}

// measured is a value with its unit, or a word in its place.
func measured(value string) string {
	if number.MatchString(value) {
		return figures(value)
	}
	return told(value)
}
