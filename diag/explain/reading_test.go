package explain

import (
	"slices"
	"strings"
	"testing"
	"unicode"

	"readback/diag/link"
)

// grade is the Flesch-Kincaid grade level (Kincaid, Fishburne, Rogers and Chissom, 1975): 0.39 words a sentence plus 11.8
// syllables a word minus 15.59. Syllables are counted as groups of vowels, a silent e at the end left out (common
// practice). Numbers and bytes are no words: people skip them.
func grade(texts []string) float64 {
	sentences, words, syllables := 0, 0, 0
	for _, t := range texts {
		for _, s := range strings.FieldsFunc(t, func(r rune) bool { return strings.ContainsRune(".:;!?", r) }) {
			in := 0
			for _, w := range strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsLetter(r) && r != '\'' && !unicode.IsDigit(r) }) {
				if n := syllablesOf(w); n > 0 {
					in++
					syllables += n
				}
			}
			if in > 0 {
				sentences++
				words += in
			}
		}
	}
	return 0.39*float64(words)/float64(sentences) + 11.8*float64(syllables)/float64(words) - 15.59
}

func syllablesOf(w string) int {
	if strings.ContainsFunc(w, unicode.IsDigit) || len(w) > 1 && strings.ToUpper(w) == w {
		return 0
	}
	w = strings.ToLower(w)
	n, before := 0, false
	for _, r := range w {
		vowel := strings.ContainsRune("aeiouy", r)
		if vowel && !before {
			n++
		}
		before = vowel
	}
	table := strings.HasSuffix(w, "le") && len(w) > 2 && !strings.ContainsRune("aeiouy", rune(w[len(w)-3]))
	if n > 1 && strings.HasSuffix(w, "e") && !table {
		n--
	}
	return max(1, n)
}

// The two ends of the formula as published: short words in short sentences are below grade 1, long ones far above 12.
func TestGrade(t *testing.T) {
	if g := grade([]string{"The cat sat on the mat."}); g > 0 {
		t.Errorf("six words of one syllable: %.1f, want -1.4", g)
	}
	if g := grade([]string{"Electromagnetic compatibility regulations necessitate comprehensive documentation of instrumentation."}); g < 20 {
		t.Errorf("long words: %.1f", g)
	}
	for w, want := range map[string]int{"module": 2, "code": 1, "battery": 3, "table": 2, "the": 1, "7E5": 0, "VIN": 0, "repeat": 2} {
		if got := syllablesOf(w); got != want {
			t.Errorf("%s has %d syllables, want %d", w, got, want)
		}
	}
}

// ownerTexts are the sentences for owners, in groups that stand together on the page.
func ownerTexts() map[string][]string {
	out := map[string][]string{}
	add := func(group string, texts ...string) { out[group] = append(out[group], texts...) }
	for _, r := range slices.Concat(rules, olderRules) {
		add("reasons", r.why)
	}
	for _, m := range margins {
		add("margins", m.lost...)
		add("margins", m.cannot...)
		if m.sure != "" {
			add("margins", m.sure)
		}
	}
	for _, a := range advices {
		add("advices", a.text)
	}
	for c := range 256 {
		add("refusals", refusalText(0x14, byte(c), false), refusalText(0x22, byte(c), false))
	}
	for _, list := range []map[byte][]layout{layouts, olderLayouts} {
		for _, id := range sortedKeys(list) {
			for _, l := range list[id] {
				add("verbs", "Ask it to "+l.verb+".")
			}
		}
	}
	for _, hex := range []string{"14FFFFFF", "140A8013", "14FF00", "04", "03", "07", "0A", "1902FF", "190A", "19060A8013FF", "22F190", "22F187F18C", "221234",
		"1001", "1003", "1002", "3E00", "1101", "2801", "280003", "8501", "8502", "2701", "2EF19001", "2F010C03", "3101FF00", "340011", "010C", "010D05", "0902", "1A90", "1802FF00",
		"5902FF0A801308", "62F190", "410C0B30", "7F1422", "7F1478", "7F2231", "54", "44", "4302010201130", "5003003201F4", "7E00", "59060A8013080105"} {
		for _, o := range []Options{{}, van()} {
			e := ExplainMessage(link.Physical(link.ID11(0x7E5), link.ID11(0x7ED)), unhex(hex[:len(hex)/2*2]), o)
			add("messages", e.Summary, e.Reason, e.Sure)
			add("messages", e.Lost...)
			add("messages", e.Cannot...)
			for _, f := range e.Fields {
				add("messages", f.Text)
			}
		}
	}
	for _, data := range []string{"0414FFFFFF555555", "10140102030405", "2101020304", "30080A", "3100F5", "320000", "00", "0F22", "47"} {
		for _, f := range ExplainFrame(link.ID11(0x7E5), unhex(data), Options{}).Fields {
			add("frames", f.Text)
		}
	}
	return out
}

func sortedKeys(m map[byte][]layout) (out []byte) {
	for id := range m {
		out = append(out, id)
	}
	slices.Sort(out)
	return out
}

// Sentences for owners read at about grade 9 or below, on average and in each group of texts.
func TestReadingGrade(t *testing.T) {
	var all []string
	groups := ownerTexts()
	for name, texts := range groups {
		if len(texts) < 15 {
			t.Errorf("%s: only %d texts", name, len(texts))
		}
		if g := grade(texts); g > 9 {
			t.Errorf("%s read at grade %.1f", name, g)
		}
		t.Logf("%s: %d texts at grade %.1f", name, len(texts), grade(texts))
		all = append(all, texts...)
	}
	t.Logf("all: %d texts at grade %.1f", len(all), grade(all))
	if g := grade(all); g > 7 {
		t.Errorf("all texts read at grade %.1f", g)
	}
}

// Words that no text may have: this program promises nothing and blames nobody.
func TestWordsThatAreNotSaid(t *testing.T) {
	for name, texts := range ownerTexts() {
		for _, s := range texts {
			for _, w := range strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsLetter(r) }) {
				if slices.Contains([]string{"OK", "fixed", "Fixed", "error", "invalid", "illegal", "fail", "abort"}, w) {
					t.Errorf("%s: %q says %q", name, s, w)
				}
			}
			if strings.Contains(s, "safe to drive") || strings.Contains(s, "  ") || strings.Contains(s, "..") {
				t.Errorf("%s: %q", name, s)
			}
		}
	}
}
