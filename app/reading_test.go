package app

import (
	"math"
	"regexp"
	"slices"
	"sort"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

var holes = regexp.MustCompile(`\{\{\.(\w+)\}\}`)

// holesOf are the places of a text that are filled, each once, in order.
func holesOf(s string) []string {
	var out []string
	for _, m := range holes.FindAllStringSubmatch(s, -1) {
		out = append(out, m[1])
	}
	sort.Strings(out)
	return slices.Compact(out)
}

// TestLanguagesAreWhole: each language has every text of the English catalogue and no other, in the same forms, filled
// from the same values. A form for one may say the number as a word.
func TestLanguagesAreWhole(t *testing.T) {
	english := messages(t, "en")
	for _, l := range Languages() {
		other := messages(t, l.Tag)
		for k, forms := range english {
			if other[k] == nil {
				t.Errorf("%s lacks %s", l.Name, k)
				continue
			}
			for form := range forms {
				if other[k][form] == "" {
					t.Errorf("%s lacks %s for %s", l.Name, k, form)
				}
			}
			if got, want := holesOf(other[k]["other"]), holesOf(forms["other"]); !slices.Equal(got, want) {
				t.Errorf("%s of %s is filled from %v, want %v", k, l.Name, got, want)
			}
			for _, h := range holesOf(other[k]["one"]) {
				if !slices.Contains(holesOf(forms["other"]), h) && !slices.Contains(holesOf(forms["one"]), h) {
					t.Errorf("%s of %s uses %s, which is not filled", k, l.Name, h)
				}
			}
		}
		for k := range other {
			if english[k] == nil {
				t.Errorf("%s has %s, which English has not", l.Name, k)
			}
		}
	}
}

// TestSignalWords: the words before a hazard are those of ANSI Z535.4 and, in German, those that its translation and
// ISO 3864-2 use.
func TestSignalWords(t *testing.T) {
	for tag, want := range map[string][4]string{"en": {"DANGER", "WARNING", "CAUTION", "NOTICE"}, "de": {"GEFAHR", "WARNUNG", "VORSICHT", "HINWEIS"}} {
		m := messages(t, tag)
		for key, i := range map[string]int{"help.cautions.1": 0, "help.cautions.2": 1, "supply.warning": 1, "help.cautions.5": 2, "caution": 2, "help.cautions.6": 3, "notice": 3} {
			if got, _, _ := strings.Cut(m[key]["other"], ":"); got != want[i] {
				t.Errorf("%s of %s: %q, want %q", key, tag, got, want[i])
			}
		}
	}
	if got := messages(t, "de")["practice"]["other"]; got != "ÜBUNG" {
		t.Errorf("practice in German: %q", got)
	}
}

// text counts what formulas of reading ease need. Numbers, bytes and places that are filled are no words.
type text struct {
	sentences, words, syllables, short, long, many float64
	longest                                        int // words in a sentence
}

var vowels = map[string]*regexp.Regexp{
	"en": regexp.MustCompile(`[aeiouy]+`),
	"de": regexp.MustCompile(`(?i)(aa|ai|au|äu|ee|ei|eu|ie|oo|[aeiouyäöü])`), // a double vowel is one sound
}

func (x *text) add(tag, s string) {
	for _, sentence := range regexp.MustCompile(`[.!?:](\s|$)|\n`).Split(holes.ReplaceAllString(s, " "), -1) {
		n := 0
		for _, w := range strings.FieldsFunc(sentence, func(r rune) bool { return !unicode.IsLetter(r) && r != '\'' }) {
			letters := utf8.RuneCountInString(w)
			if letters < 2 && w != "a" && w != "I" || strings.ToUpper(w) == w {
				continue
			}
			n++
			sounds := len(vowels[tag].FindAllString(strings.ToLower(w), -1))
			if tag == "en" && sounds > 1 && strings.HasSuffix(w, "e") && !strings.HasSuffix(w, "le") {
				sounds--
			}
			sounds = max(1, sounds)
			x.syllables += float64(sounds)
			if sounds == 1 {
				x.short++
			}
			if sounds >= 3 {
				x.many++
			}
			if letters > 6 {
				x.long++
			}
		}
		if n > 0 {
			x.sentences++
			x.words += float64(n)
			x.longest = max(x.longest, n)
		}
	}
}

// grade is the year of school in which a text is understood. English: Flesch-Kincaid (Kincaid, Fishburne, Rogers and
// Chissom, 1975). German: the first Wiener Sachtextformel (Bamberger and Vanecek, 1984), from memory.
func (x *text) grade(tag string) float64 {
	if tag == "en" {
		return 0.39*x.words/x.sentences + 11.8*x.syllables/x.words - 15.59
	}
	return 0.1935*100*x.many/x.words + 0.1672*x.words/x.sentences + 0.1297*100*x.long/x.words - 0.0327*100*x.short/x.words - 0.875
}

// TestReadingGrade: the texts of the window are for people who read without effort at the level of the sixth year of
// school; no sentence is longer than 30 words (both common practice for instructions, no source).
func TestReadingGrade(t *testing.T) {
	for _, l := range Languages() {
		all := text{}
		for k, forms := range messages(t, l.Tag) {
			if strings.HasPrefix(k, "source.") { // names of standards
				continue
			}
			for form, s := range forms {
				one := text{}
				one.add(l.Tag, s)
				all.add(l.Tag, s)
				if one.longest > 30 {
					t.Errorf("%s (%s) of %s has a sentence of %d words: %s", k, form, l.Name, one.longest, s)
				}
				if one.words < 12 { // a few words have no grade
					continue
				}
				if g := one.grade(l.Tag); g > 12 {
					t.Errorf("%s (%s) of %s: grade %.1f: %s", k, form, l.Name, g, s)
				}
			}
		}
		t.Logf("%s: %.0f words, grade %.1f", l.Name, all.words, all.grade(l.Tag))
		if g := all.grade(l.Tag); g > 6 || math.IsNaN(g) || all.words < 2000 {
			t.Errorf("%s as a whole: %.0f words, grade %.1f", l.Name, all.words, g)
		}
	}
}

// TestReadingGradeOfTheEngine: what the engine says is read by the same people in another language. Names of parts, values
// and standards are no sentences: they have no grade, and are no longer than a line.
func TestReadingGradeOfTheEngine(t *testing.T) {
	const line, word = 90, 23 // letters; a longer word breaks within itself in a window of 1024
	all := tongues(t)
	for tag, p := range all {
		sum, sentences := text{}, 0
		for english, s := range p.Pieces {
			one := text{}
			one.add(tag, wordPlace.ReplaceAllString(s, " "))
			if one.longest > 30 {
				t.Errorf("%s has a sentence of %d words: %s", tag, one.longest, s)
			}
			for w := range strings.FieldsSeq(s) {
				if w = strings.Trim(w, ".,:;?()„“"); utf8.RuneCountInString(w) > word && !strings.Contains(w, "{") {
					t.Errorf("%s: %q of %q has %d letters", tag, w, s, utf8.RuneCountInString(w))
				}
			}
			if !strings.ContainsAny(s[len(s)-1:], ".?") {
				if n := utf8.RuneCountInString(s); n > line && one.grade(tag) > 12 {
					t.Errorf("%s: %q has %d letters, grade %.1f", tag, s, n, one.grade(tag))
				}
				continue
			}
			sentences++
			sum.add(tag, wordPlace.ReplaceAllString(s, " "))
			if g := one.grade(tag); one.words >= 12 && g > 12 {
				t.Errorf("%s says %q as %q: grade %.1f", tag, english, s, g)
			}
		}
		t.Logf("%s: %d sentences, %.0f words, grade %.1f", tag, sentences, sum.words, sum.grade(tag))
		if g := sum.grade(tag); g > 6 || math.IsNaN(g) || sum.words < 2000 {
			t.Errorf("%s as a whole: %.0f words, grade %.1f", tag, sum.words, g)
		}
	}
}

// TestGradeOfATest checks the formulas by texts that can be counted by hand.
func TestGradeOfATest(t *testing.T) {
	for _, c := range []struct {
		tag, text string
		want      float64
	}{
		{"en", "The cat sat on the mat.", 0.39*6 + 11.8*1 - 15.59},
		{"en", "Reading adapter.", 0.39*2 + 11.8*2.5 - 15.59},
		{"de", "Der Hund lief weg.", 0.1672*4 - 0.0327*100 - 0.875},
		{"de", "Das Steuergerät antwortet.", 0.1935*200/3 + 0.1672*3 + 0.1297*200/3 - 0.0327*100/3 - 0.875},
	} {
		x := text{}
		x.add(c.tag, c.text)
		if got := x.grade(c.tag); math.Abs(got-c.want) > 0.01 {
			t.Errorf("%s: grade %.2f, want %.2f", c.text, got, c.want)
		}
	}
}
