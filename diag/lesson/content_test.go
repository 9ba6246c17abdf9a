package lesson_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"

	"readback/diag/lesson"
)

// texts are the sentences of a lesson.
func texts(l lesson.Lesson) (out []string) {
	out = append(out, l.Title+".", l.About)
	for _, s := range l.Steps {
		out = append(append(out, s.Say...), s.Question, s.Then)
		for _, o := range s.Options {
			out = append(out, o.Text+".", o.Why)
		}
	}
	return slices.DeleteFunc(out, func(s string) bool { return s == "" })
}

// What the lessons are made of: each shows before it asks, hides later what it showed first, and all in all there is
// something to guess, an error to find and something to write.
func TestShapeOfLessons(t *testing.T) {
	kinds, ids := map[lesson.Kind]int{}, map[string]bool{}
	errorsToFind := 0
	for _, l := range all(t) {
		if l.Steps[0].Kind != lesson.Show || len(l.Steps[0].Fade) > 0 {
			t.Errorf("%s does not begin with a worked example", l.ID)
		}
		if ids[l.ID] {
			t.Errorf("two lessons are called %s", l.ID)
		}
		ids[l.ID] = true
		if l.Minutes < 5 || l.Minutes > 8 {
			t.Errorf("%s takes %d minutes", l.ID, l.Minutes)
		}
		fades := 0
		for i, s := range l.Steps {
			kinds[s.Kind]++
			fades += len(s.Fade)
			if strings.HasPrefix(s.Mark, "finding:") || s.Mark == "difference" {
				errorsToFind++
			}
			right := slices.IndexFunc(s.Options, func(o lesson.Option) bool { return o.Right })
			if len(s.Options) > 4 || s.Kind == lesson.Choose && len(s.Options[right].Text) > 80 {
				t.Errorf("%s, step %d: too much to choose from", l.ID, i+1)
			}
		}
		if fades == 0 {
			t.Errorf("%s hides nothing: there is nothing to find out", l.ID)
		}
	}
	if kinds[lesson.Ask] < 5 || kinds[lesson.Mark] < 8 || kinds[lesson.Type] < 3 || kinds[lesson.Choose] < 8 || errorsToFind < 3 {
		t.Errorf("the lessons are made of %v, with %d errors to find", kinds, errorsToFind)
	}
}

// The place of the right option tells nothing.
func TestRightOptionMoves(t *testing.T) {
	at := map[int]int{}
	for _, l := range all(t) {
		for _, s := range l.Steps {
			for i, o := range s.Options {
				if o.Right {
					at[i]++
				}
			}
		}
	}
	for i, n := range at {
		if n > 7 {
			t.Errorf("the right option is number %d at %d steps: %v", i+1, n, at)
		}
	}
	if len(at) < 3 {
		t.Errorf("the right options stand at %v", at)
	}
}

func TestWordsOfLessons(t *testing.T) {
	bad := regexp.MustCompile(`(?i)\b(safe to drive|safely|fixed|ok|okay|oops|sorry|please|invalid|failed!|error|wrong|mistake|stupid|simply|just|easy)\b`)
	for _, l := range all(t) {
		for _, s := range texts(l) {
			if m := bad.FindString(s); m != "" {
				t.Errorf("%s says %q: %s", l.ID, m, s)
			}
			if strings.Contains(s, "  ") || strings.Contains(s, "..") {
				t.Errorf("%s: %q", l.ID, s)
			}
			for _, part := range strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(".!?", r) }) {
				if n := len(strings.Fields(part)); n > 22 {
					t.Errorf("%s: %d words in a sentence: %s", l.ID, n, part)
				}
			}
		}
	}
}

// grade is the Flesch-Kincaid grade level (Kincaid, Fishburne, Rogers and Chissom, 1975): 0.39 words a sentence plus 11.8
// syllables a word minus 15.59. Syllables are counted as groups of vowels (common practice), and bytes are no words.
func grade(texts []string) float64 {
	var sentences, words, syllables float64
	for _, t := range texts {
		for _, s := range strings.FieldsFunc(t, func(r rune) bool { return strings.ContainsRune(".:;!?", r) }) {
			before := words
			for _, w := range strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '\'' }) {
				if strings.ContainsFunc(w, unicode.IsDigit) || len(w) > 1 && strings.ToUpper(w) == w {
					continue
				}
				words++
				syllables += max(1, float64(len(vowels.FindAllString(strings.TrimSuffix(strings.ToLower(w), "e"), -1))))
			}
			if words > before {
				sentences++
			}
		}
	}
	return 0.39*words/sentences + 11.8*syllables/words - 15.59
}

var vowels = regexp.MustCompile(`[aeiouy]+`)

func TestReadingGradeOfLessons(t *testing.T) {
	if g := grade([]string{"The cat sat on the mat."}); g > 0 || g < -2 { // published: -1.4
		t.Errorf("six words of one syllable read at grade %.1f", g)
	}
	for _, l := range all(t) {
		g := grade(texts(l))
		t.Logf("%s reads at grade %.1f", l.ID, g)
		if g > 8 {
			t.Errorf("%s reads at grade %.1f", l.ID, g)
		}
	}
}

// A document that can't be taken is refused with what is wrong in it.
func TestParseRefuses(t *testing.T) {
	whole := func(step string) string {
		show := `{"kind":"show","say":["Look."],"frames":["7E0 02 3E 00"]}`
		return `{"id":"x","title":"X","about":"X.","minutes":5,"steps":[` + show + "," + show + "," + step + `]}`
	}
	for doc, says := range map[string]string{
		`{`: "unexpected", `{"id":"x"}`: "needs an id", `{"colour":1}`: "unknown field",
		`{"id":"x","title":"X","about":"X.","minutes":5,"steps":[]}`:  "0 steps",
		whole(`{"kind":"sing","say":["La."],"question":"?"}`):         "kind",
		whole(`{"kind":"show","say":[]}`):                             "says nothing",
		whole(`{"kind":"choose","say":["A."]}`):                       "asks nothing",
		whole(`{"kind":"show","say":["A."],"question":"?"}`):          "can't ask",
		whole(`{"kind":"show","say":["A."],"frames":["hello"]}`):      "no frame",
		whole(`{"kind":"show","say":["A."],"seen":["7E0 02 3E 00"]}`): "no line",
		whole(`{"kind":"show","say":["A."],"compare":true}`):          "compares 0",
		whole(`{"kind":"choose","say":["A."],"question":"?","options":[{"text":"a","why":"b","right":true},{"text":"a","why":"b","right":true}]}`): "2 of its options",
		whole(`{"kind":"choose","say":["A."],"question":"?","options":[{"text":"a","why":"","right":true},{"text":"c","why":"d"}]}`):               "no reason",
		whole(`{"kind":"choose","say":["A."],"question":"?","options":[{"text":"a","why":"b","right":true}]}`):                                     "1 options",
		whole(`{"kind":"mark","say":["A."],"question":"?","mark":"Nose","frames":["7E0 02 3E 00"]}`):                                               "no byte",
		whole(`{"kind":"type","say":["A."],"question":"?","want":"7E0 3E 00"}`):                                                                    "no well-formed",
		whole(`{"kind":"ask","say":["A."],"question":"?","want":"7E0 04 14 FF FF FF"}`):                                                            "class change",
		whole(`{"kind":"ask","say":["A."],"question":"?","want":"7E0 02 3E 00","options":[{"text":"a","why":"b"},{"text":"c","why":"d"}]}`):        "when it is right",
	} {
		if _, err := lesson.Parse([]byte(doc)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want %q", doc, err, says)
		}
	}
}
