package dtc

import (
	"strings"
	"testing"
)

// TestWordingInAnotherLanguage: the pieces of each kind of line, told in another language and put together in its way.
func TestWordingInAnotherLanguage(t *testing.T) {
	book := map[string]string{
		"{what}.": "{what}!", "{what}: {added}.": "{added}, {what}!", "{what} What failed: {added}.": "{added}! {what}",
		"the signal of {part} is too high": "{part} signali liian suuri", "fault in the heating of {part}": "{part} lämmitys",
		"short to battery in the wire of {part}": "{part} oikosulku", "short to battery": "oikosulku",
		"coolant temperature sensor 1": "öljyn anturi", "the oxygen sensor after the catalyst": "anturi", "bank 1, sensor 2": "rivi 1",
		"The car's maker decides what P1234 means.": "P1234?", "the status signal of the DC-DC converter": "ääni",
	}
	for code, want := range map[string]string{
		"P0118":    "Öljyn anturi signali liian suuri!",
		"P0118-12": "Oikosulku, öljyn anturi signali liian suuri!",
		"P0141":    "Anturi (rivi 1) lämmitys!",
		"P0A08-12": "Ääni oikosulku!",
		"P1234-12": "Oikosulku! P1234?",
		"P1234-00": "P1234?",
	} {
		c, err := Parse(code)
		if err != nil {
			t.Fatal(err)
		}
		got := c.Wording().In(func(s string) string {
			if other, ok := book[s]; ok {
				return other
			}
			return s
		}).String()
		if got != want {
			t.Errorf("%s: %q, want %q", code, got, want)
		}
	}
	if got := (Code{}).Wording().String(); got != "No code." {
		t.Errorf("no code: %q", got)
	}
}

// TestWordingIsWhole: of every code the pieces have no place of their own but those that are filled, and meaning and name
// are those of its description.
func TestWordingIsWhole(t *testing.T) {
	all := Known()
	if len(all) < 3000 {
		t.Errorf("only %d codes", len(all))
	}
	for _, c := range all {
		w, d := c.Wording(), Describe(c, nil, 0xFF, nil)
		if !strings.Contains(w.What, "{part}") || w.Part == "" || strings.ContainsAny(w.Part+w.Place+w.Added, "{}") {
			t.Errorf("%s: %+v", c, w)
		}
		if w.Meaning() != d.Meaning || w.Name() != d.Part || w.String() != d.Line {
			t.Errorf("%s: %q, %q and %q, described as %q, %q and %q", c, w.Meaning(), w.Name(), w, d.Meaning, d.Part, d.Line)
		}
	}
}
