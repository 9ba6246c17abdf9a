package dtc_test

import (
	"strings"
	"testing"
	"unicode"

	"readback/diag/dtc"
)

// clumsy are joins that no sentence may have.
var clumsy = []string{"  ", " ,", " .", "..", "{", "}", " a the ", " an the ", " of is ", " of are ", " the a ", ": .", "(,", "signal of the signal", "()", "’",
	"brakes is ", "brakes does ", "brakes has ", "lights is ", "lights does ", "lights has "}

// Every code with every failure type makes one sentence.
func TestLines(t *testing.T) {
	lines := 0
	for v := range 65536 {
		if _, known := dtc.From2(byte(v>>8), byte(v)).Meaning(); !known && v%251 != 0 {
			continue
		}
		for f := range 256 {
			c := dtc.From3(byte(v>>8), byte(v), byte(f))
			line := c.Line()
			lines++
			if !unicode.IsUpper(rune(line[0])) || !strings.HasSuffix(line, ".") || len(line) > 220 || strings.Count(line, ": ") > 2 {
				t.Fatalf("%s: %q", c, line)
			}
			for _, join := range clumsy {
				if strings.Contains(line, join) {
					t.Fatalf("%s has %q: %q", c, join, line)
				}
			}
			last := ""
			for word := range strings.FieldsSeq(strings.ToLower(line)) {
				if word == last {
					t.Fatalf("%s says %q twice: %q", c, word, line)
				}
				last = word
			}
		}
	}
	t.Log(lines, "lines")
}

// Meanings and failure types together, as they are read.
func TestLineExamples(t *testing.T) {
	for name, want := range map[string]string{
		"P0A08-13": "Break in the wire of the status signal of the DC-DC converter.",
		"U0140-87": "Lost contact with the body control module: message missing.",
		"P0AA6-00": "Loss of isolation between the high-voltage system and the body of the car.",
		"C0040-1C": "The voltage at the right front wheel speed sensor is out of range.",
		"P0420":    "The catalyst (bank 1) does not clean well enough.",
		"P0133-26": "The oxygen sensor before the catalyst (bank 1, sensor 1) reacts slowly: the signal changes too slowly.",
		"P1A34-13": "The car's maker decides what P1A34 means. What failed: the circuit is open.",
		"P0301-99": "Misfire in cylinder 1.", // lists contradict each other on 99
		"B3FFF":    "The standard gives B3FFF no meaning.",
		"P0A94-92": "The DC-DC converter does not work as it should.",
		"P0562-16": "The voltage of the 12 V supply is too low.", // said once
		"P0E3C-11": "The standard says what P0E3C means, but it is not in the table of this program. What failed: short to ground.",
	} {
		if got := code(t, name).Line(); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
}

// syllables counts groups of vowels, as readability formulas do; a silent e at the end does not count.
func syllables(word string) int {
	n, vowel := 0, false
	for _, r := range word {
		is := strings.ContainsRune("aeiouy", r)
		if is && !vowel {
			n++
		}
		vowel = is
	}
	if strings.HasSuffix(word, "e") && !strings.HasSuffix(word, "le") && n > 1 {
		n--
	}
	return max(n, 1)
}

// grade is the Flesch-Kincaid grade (Kincaid and others, 1975).
func grade(sentences, words, sounds float64) float64 {
	return 0.39*words/sentences + 11.8*sounds/words - 15.59
}

// count adds the sentences, words and syllables of texts.
func count(texts []string, sentences, words, sounds *float64) {
	for _, text := range texts {
		for sentence := range strings.FieldsFuncSeq(text, func(r rune) bool { return strings.ContainsRune(".;?!", r) }) {
			fields := strings.FieldsFunc(strings.ToLower(sentence), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
			if len(fields) > 0 {
				*sentences++
			}
			for _, word := range fields {
				*words++
				*sounds += float64(syllables(word))
			}
		}
	}
}

// The owner's texts have a reading grade of 8 or lower: the lines by themselves, and all that a code shows.
func TestReadingGrade(t *testing.T) {
	var sentences, words, sounds, lineSentences, lineWords, lineSounds float64
	worst, worstCode := 0.0, ""
	for v := range 65536 {
		c := dtc.From2(byte(v>>8), byte(v))
		if _, known := c.Meaning(); !known {
			continue
		}
		d := dtc.Describe(c, nil, 0xFF, nil)
		var s, w, y float64
		count(append(append([]string{d.Line, d.SeverityReason, d.Advice, d.ErasingText}, d.Causes...), d.LookFirst...), &s, &w, &y)
		count([]string{d.Line}, &lineSentences, &lineWords, &lineSounds)
		sentences, words, sounds = sentences+s, words+w, sounds+y
		if g := grade(s, w, y); g > worst {
			worst, worstCode = g, c.Name()
		}
	}
	lines, all := grade(lineSentences, lineWords, lineSounds), grade(sentences, words, sounds)
	t.Logf("grade %.1f of the lines, %.1f over all, %.1f at worst (%s)", lines, all, worst, worstCode)
	if lines > 8 || all > 8 || worst > 8 {
		t.Errorf("grade %.1f of the lines, %.1f over all, %.1f at worst (%s)", lines, all, worst, worstCode)
	}
}
