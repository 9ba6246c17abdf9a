package app

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"readback/diag/dtc"
)

// codePieces are the texts of the tables that the engine makes the lines of trouble codes from: of every code of the
// standard with every failure type, and of codes whose meaning is not known.
func codePieces() map[string]bool {
	out := map[string]bool{}
	add := func(c dtc.Code) {
		w := c.Wording()
		what := w.What
		if w.Part == "" && !c.IsZero() {
			what = strings.ReplaceAll(what, c.Name(), "{1}")
		}
		for _, s := range append(strings.Split(w.Place, ", "), w.Frame, what, w.Part, w.Place, w.Added) {
			if s != "" {
				out[s] = true
			}
		}
	}
	for _, c := range append(dtc.Known(), dtc.From2(0x12, 0x34), dtc.From2(0x3F, 0xFF), dtc.From2(0xBF, 0xFF), dtc.From2(0x0F, 0xFE), dtc.Code{}) {
		add(c)
		if b := c.Bytes(); len(b) == 2 {
			for f := range 256 {
				add(dtc.From3(b[0], b[1], byte(f)))
			}
		}
	}
	return out
}

// codeStories are all other texts that the engine has for trouble codes, in every state.
func codeStories() map[string]bool {
	out := map[string]bool{}
	one := func(c dtc.Code, s *dtc.Status, lists ...string) {
		d := dtc.Describe(c, s, 0xFF, lists)
		for _, text := range append(append([]string{d.Letters, d.Area, d.Doubt, d.FailureText, d.VerdictText, d.Short, d.Severity, d.SeverityReason, d.Advice,
			d.ErasingText, d.Source}, d.Causes...), d.LookFirst...) {
			if text != "" {
				out[text] = true
			}
		}
	}
	for _, c := range append(dtc.Known(), dtc.From2(0x12, 0x34), dtc.From2(0x3F, 0xFF), dtc.From2(0xBF, 0xFF), dtc.From2(0x0F, 0xFE)) {
		b := c.Bytes()
		for _, full := range []dtc.Code{c, dtc.From3(b[0], b[1], 0x13)} {
			for _, s := range []dtc.Status{0x00, 0x09, 0x28, 0x2F, 0x50, 0x6F, 0x40, 0x04, 0x08, 0x0C, 0x20, 0xAF} {
				one(full, &s)
			}
			for _, list := range []string{"stored", "pending", "permanent", ""} {
				one(full, nil, list)
			}
		}
	}
	return out
}

// english are words that no German text has.
var english = map[string]*regexp.Regexp{
	"de": regexp.MustCompile(`\b(the|The|of|is|Is|are|and|And|or|Or|not|Not|by|By|for|from|has|have|been|module|modules|its|it|It|too|than|then|when|where|this|This|that|which|a|no|No|means|with|bank|inside|wire|plug|fault)\b`),
}

// TestCodesAreTold: every language beside English has words for every piece that the lines of trouble codes are made from,
// and for all that is told of a code beside; no word is left in English.
func TestCodesAreTold(t *testing.T) {
	all := tongues(t)
	pieces, stories := codePieces(), codeStories()
	if len(pieces) < 1700 || len(stories) < 700 {
		t.Errorf("only %d pieces and %d other texts", len(pieces), len(stories))
	}
	for tag, p := range all {
		missing := 0
		for s := range pieces {
			text, ok := p.Pieces[s]
			if !ok && strings.Contains(s, ", ") { // places are told one by one
				text, ok = p.Find(s)
			}
			switch {
			case !ok:
				missing++
				t.Errorf("%s has no words for %q", tag, s)
			case wordPlaces(text) != wordPlaces(s):
				t.Errorf("%s: %q and %q do not have the same places", tag, s, text)
			}
		}
		for s := range stories {
			text, ok := p.Find(s)
			if word := english[tag].FindString(text); !ok || word != "" {
				missing++
				t.Errorf("%s has no words for %q: %q has %q", tag, s, text, word)
			}
		}
		t.Logf("%s: %d pieces, %d other texts, %d without words", tag, len(pieces), len(stories), missing)
	}
}

var wordPlace = regexp.MustCompile(`\{\w+\}`)

func wordPlaces(s string) string {
	all := wordPlace.FindAllString(s, -1)
	slices.Sort(all)
	return fmt.Sprint(all)
}

// TestCodesSpeakGerman: whole lines, and the full story of every code, have no word of English.
func TestCodesSpeakGerman(t *testing.T) {
	speaking(t, "de")
	n := 0
	for _, c := range dtc.Known() {
		b := c.Bytes()
		for _, full := range []dtc.Code{c, dtc.From3(b[0], b[1], 0x11), dtc.From3(b[0], b[1], 0x13), dtc.From3(b[0], b[1], 0x62)} {
			got := lineOf(full)
			if word := english["de"].FindString(got); word != "" || place.MatchString(got) || strings.Contains(got, "{") {
				t.Errorf("%s: %q has %q", full, got, word)
			}
			n++
		}
		if got := told(c.Wording().Meaning()); upperFirst(got)+"." != lineOf(c) {
			t.Errorf("%s: its meaning is %q, its line %q", c, got, lineOf(c))
		}
	}
	if n < 10000 {
		t.Errorf("only %d lines", n)
	}
	for code, want := range map[string]string{
		"P0118":    "Sensor Kühlmitteltemperatur 1: Signal zu hoch.",
		"P0118-12": "Sensor Kühlmitteltemperatur 1: Signal zu hoch (Kurzschluss nach Plus).",
		"P0141":    "Lambdasonde nach dem Katalysator (Bank 1, Sensor 2): Fehler in der Heizung.",
		"P0300":    "Wechselnde Zylinder: Zündaussetzer.",
		"P0A08":    "Statussignal des Gleichspannungswandlers: elektrischer Fehler.",
		"P0A08-13": "Statussignal des Gleichspannungswandlers: Unterbrechung in der Leitung.",
		"P0AA6":    "Hochvoltsystem: Isolation zur Karosserie verloren.",
		"U0101":    "Steuergerät Getriebe: Verbindung verloren.",
		"B0001":    "Zünder des Fahrer-Frontairbags (Stufe 1): elektrischer Fehler.",
		"C0031-01": "Raddrehzahlsensor vorn links: elektrischer Fehler.",
		"P1234":    "Was P1234 bedeutet, bestimmt der Hersteller des Autos.",
		"P1234-13": "Was P1234 bedeutet, bestimmt der Hersteller des Autos. Was die Prüfung fand: Unterbrechung.",
	} {
		c, err := dtc.Parse(code)
		if err != nil {
			t.Fatal(err)
		}
		if got := lineOf(c); got != want {
			t.Errorf("%s: %q, want %q", code, got, want)
		}
	}
}

// speaking makes the window speak a language until the test ends.
func speaking(t *testing.T, tag string) {
	t.Helper()
	if err := UseLanguage(tag); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := UseLanguage("en"); err != nil {
			t.Error(err)
		}
	})
}
