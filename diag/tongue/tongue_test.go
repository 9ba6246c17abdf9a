package tongue

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"readback/diag/dtc"
)

func german(t testing.TB) *Tongue {
	t.Helper()
	l, err := Of("de")
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func TestOf(t *testing.T) {
	for tag, want := range map[string]string{"de": "de", "de-AT": "de", "de_AT.UTF-8": "de", "DE": "de", "en": English, "en-GB": English} {
		if l, err := Of(tag); err != nil || l.Tag() != want {
			t.Errorf("%q: %v, %v", tag, l, err)
		}
	}
	for _, tag := range []string{"", "xx", "german", "../de"} {
		if l, err := Of(tag); !errors.Is(err, ErrUnknown) {
			t.Errorf("%q: %v, %v", tag, l, err)
		}
	}
	if got := Tags(); !slices.Equal(got, []string{"de", "en"}) {
		t.Errorf("languages: %q", got)
	}
}

// TestForms: numbers, dates and lists as each language writes them.
func TestForms(t *testing.T) {
	day := time.Date(2026, 3, 5, 23, 0, 0, 0, time.UTC)
	names := []string{"A", "B", "C"}
	for _, c := range []struct {
		l                                  *Tongue
		day, list, two, commas, volts, hub string
	}{
		{InEnglish(), "5 March 2026", "A, B and C", "A and B", "A, B, C", "12.6 V", "7.5 mg/stroke"},
		{german(t), "5. März 2026", "A, B und C", "A und B", "A, B, C", "12,6 V", "7,5 mg/Hub"},
	} {
		for _, x := range [][2]string{{c.l.Day(day), c.day}, {c.l.Listed(names), c.list}, {c.l.Listed(names[:2]), c.two}, {c.l.Listed(names[:1]), "A"}, {c.l.Listed(nil), ""}, {c.l.Commas(names), c.commas},
			{c.l.Measured("12.6 V"), c.volts}, {c.l.Measured("7.5 mg/stroke"), c.hub}, {c.l.Figures("12.6 V"), c.volts}} {
			if x[0] != x[1] {
				t.Errorf("%s: %q, want %q", c.l.Tag(), x[0], x[1])
			}
		}
	}
}

// TestSay: what is put into a sentence stays as it is, whatever it says.
func TestSay(t *testing.T) {
	for _, with := range []string{"Grete's van", "{2}", "There now.", "12.6 V", ""} {
		if got, want := german(t).Say("Trouble codes of {1}, before and after a change", with), "Fehlercodes vor und nach einer Änderung: "+with; got != want {
			t.Errorf("%q, want %q", got, want)
		}
		if got, want := InEnglish().Say("Read on {1}. Written by {2}.", with, "x"), "Read on "+with+". Written by x."; got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// TestTell: what is known, what is not, and more of both than is remembered.
func TestTell(t *testing.T) {
	l := german(t)
	for range 2 {
		for in, want := range map[string]string{"": "", "There now.": "Jetzt vorhanden.", "Nobody has written this sentence.": "Nobody has written this sentence.", "Grandfather's pump": "Grandfather's pump"} {
			if got := l.Tell(in); got != want {
				t.Errorf("%q: %q, want %q", in, got, want)
			}
		}
		for n := range manyTold + 1 {
			if s := strings.Repeat("x", n%7) + " " + time.Duration(n).String(); l.Tell(s) != s {
				t.Errorf("%q is told as %q", s, l.Tell(s))
			}
		}
	}
	c, err := dtc.Parse("P0118")
	if err != nil {
		t.Fatal(err)
	}
	if got, want := l.Line(c), "Sensor Kühlmitteltemperatur 1: Signal zu hoch."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got := InEnglish().Line(c); got != c.Line() {
		t.Errorf("%q, want %q", got, c.Line())
	}
}
