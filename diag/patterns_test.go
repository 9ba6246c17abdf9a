package diag_test

import (
	"slices"
	"strings"
	"testing"

	"readback/diag"
	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/link"
)

// fault is one line of a made record: a code, its status byte and what was kept with it.
type fault struct {
	code   string
	status dtc.Status
	kept   []garage.Value
}

func keptWith(odometer, supply string) []garage.Value {
	var out []garage.Value
	if odometer != "" {
		out = append(out, garage.Value{Identifier: 0xDD00, Name: "Odometer", Text: odometer})
	}
	if supply != "" {
		out = append(out, garage.Value{Identifier: 0xDD01, Name: "12 V supply", Text: supply})
	}
	return out
}

// moduleWith makes a module of a record. Its identifier follows from its name, so that names tell modules apart.
func moduleWith(t *testing.T, name string, answered garage.Answered, faults ...fault) garage.Module {
	t.Helper()
	at := uint32(0x700)
	for _, r := range name {
		at = 0x700 | (at*31+uint32(r))&0xFF
	}
	m := garage.Module{Name: name, NameSource: "read from the module", Request: link.ID11(at), Answered: answered}
	if strings.HasPrefix(name, "Module ") {
		m.NameSource = "its identifier"
	}
	for _, f := range faults {
		c, err := dtc.Parse(f.code)
		if err != nil {
			t.Fatal(err)
		}
		status := f.status
		rec := garage.CodeRecord{Code: c, Status: &status}
		if f.kept != nil {
			rec.Snapshots = []garage.Snapshot{{Record: 1, Values: f.kept}}
		}
		m.Codes = append(m.Codes, rec)
	}
	return m
}

const (
	present    = dtc.TestFailed | dtc.ConfirmedDTC
	remembered = dtc.ConfirmedDTC
	notTested  = dtc.TestNotCompletedSinceLastClear | dtc.TestNotCompletedThisOperationCycle
)

// TestPatterns holds the rules: each pattern where it belongs, and its neighbours where it does not. The rules are
// common practice (no source); the bits of "no result" are those of ISO 14229-1 annex D.2; what the codes of lost contact
// miss is from memory of SAE J2012, U0100, U0140 and U0151 compared with public service information.
func TestPatterns(t *testing.T) {
	wave := keptWith("41198 km", "9.1 V")
	for _, c := range []struct {
		name    string
		supply  float64
		modules []garage.Module
		want    []string // keys, in order
		says    string   // of the first
		codes   []string // of the first; nil: not checked
	}{
		{name: "no codes", supply: 12.6, modules: []garage.Module{moduleWith(t, "Drive", garage.Yes)}},
		{name: "a wave", supply: 12.6, modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"P0562-00", remembered, wave}, fault{"U0111-00", remembered, wave}),
			moduleWith(t, "Body", garage.Yes, fault{"U0155-00", remembered, wave}),
		}, want: []string{"flat-battery"}, says: "at 41198 km. The supply had 9.1 V then.", codes: []string{"Drive P0562-00", "Drive U0111-00", "Body U0155-00"}},
		{name: "a wave without snapshots", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"U0100-00", remembered, nil}, fault{"U0111-00", remembered, nil}),
			moduleWith(t, "Body", garage.Yes, fault{"U0155-00", remembered, nil}),
		}, want: []string{"flat-battery"}, says: "None of them names the supply"},
		{name: "a wave of two codes is none", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"P0562-00", remembered, wave}),
			moduleWith(t, "Body", garage.Yes, fault{"U0155-00", remembered, wave}),
		}},
		{name: "a wave in one module is none", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"P0562-00", remembered, wave}, fault{"U0111-00", remembered, wave}, fault{"U0155-00", remembered, wave}),
		}},
		{name: "a wave that is there now is none", supply: 12.6, modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"U0140-00", present, wave}, fault{"U0111-00", present, wave}),
			moduleWith(t, "Body", garage.Yes, fault{"U0155-00", remembered, wave}),
		}, want: []string{"one-event"}},
		{name: "codes from three times are no wave", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"P0562-00", remembered, keptWith("100 km", "")}, fault{"U0111-00", remembered, keptWith("200 km", "")}),
			moduleWith(t, "Body", garage.Yes, fault{"U0155-00", remembered, keptWith("300 km", "")}),
		}},
		{name: "cruise control codes are no wave", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"P0565-00", remembered, nil}, fault{"P0566-00", remembered, nil}),
			moduleWith(t, "Body", garage.Yes, fault{"P0567-00", remembered, nil}),
		}},
		{name: "makers' codes are no wave", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"U1100-00", remembered, nil}, fault{"U1101-00", remembered, nil}),
			moduleWith(t, "Body", garage.Yes, fault{"U1102-00", remembered, nil}),
		}},
		{name: "all remember to have missed the same one", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"U0140-00", remembered, nil}),
			moduleWith(t, "Charging", garage.Yes, fault{"U0140-87", remembered, nil}),
			moduleWith(t, "Brakes", garage.Yes, fault{"U0140-00", remembered, nil}),
			moduleWith(t, "Body", garage.Yes),
		}, want: []string{"missed-before"}, says: "3 modules remember that contact with the body control module was lost"},
		{name: "the same, with a flat battery kept", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"U0140-00", remembered, wave}),
			moduleWith(t, "Charging", garage.Yes, fault{"U0140-87", remembered, wave}),
			moduleWith(t, "Brakes", garage.Yes, fault{"U0140-00", remembered, wave}),
		}, want: []string{"flat-battery"}},

		{name: "one is silent", supply: 12.6, modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"U0140-00", present, nil}),
			moduleWith(t, "Brakes", garage.Yes, fault{"U0140-87", present, nil}),
			moduleWith(t, "Body", garage.Silent),
		}, want: []string{"silent-module"}, says: "Body did not answer this program either", codes: []string{"Drive U0140-00", "Brakes U0140-87"}},
		{name: "one is silent and was never met", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"U0151-00", present, nil}),
			moduleWith(t, "Brakes", garage.Yes, fault{"U0151-00", present, nil}),
		}, want: []string{"silent-module"}, says: "It seems silent"},
		{name: "it may be one without a name", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"U0151-00", present, nil}),
			moduleWith(t, "Brakes", garage.Yes, fault{"U0151-00", present, nil}),
			moduleWith(t, "Module 7A4", garage.Yes),
		}, want: []string{"silent-module"}, says: "1 module that answered has no name"},
		{name: "one witness is not enough", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"U0140-00", present, nil}),
			moduleWith(t, "Body", garage.Silent),
		}},
		{name: "two codes of one witness are not enough", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"U0140-00", present, nil}, fault{"U0141-00", present, nil}),
			moduleWith(t, "Body", garage.Silent),
		}},
		{name: "the missed one is no witness of itself", modules: []garage.Module{
			moduleWith(t, "Drive", garage.Yes, fault{"U0140-00", present, nil}),
			moduleWith(t, "Body", garage.Yes, fault{"U0140-00", present, nil}),
		}, want: []string{"same-code"}},
		{name: "missed, but it answers", modules: []garage.Module{
			moduleWith(t, "Charging", garage.Yes, fault{"U0100-00", present, nil}),
			moduleWith(t, "Brakes", garage.Yes, fault{"U0100-00", present, nil}),
			moduleWith(t, "Drive", garage.Yes),
		}, want: []string{"missed-but-answers"}, says: "but Drive answered this program"},
		{name: "whom they miss can't be told", modules: []garage.Module{
			moduleWith(t, "Charging", garage.Yes, fault{"U0199-00", present, nil}),
			moduleWith(t, "Brakes", garage.Yes, fault{"U0199-00", present, nil}),
		}, want: []string{"missed-module"}, says: "door control module A"},

		{name: "supply low by the meter", supply: 11.4, modules: []garage.Module{moduleWith(t, "Drive", garage.Yes)}, want: []string{"supply-low"}, says: "11.4 V", codes: []string{}},
		{name: "supply not measured", modules: []garage.Module{moduleWith(t, "Drive", garage.Yes)}},
		{name: "supply low by a code", modules: []garage.Module{moduleWith(t, "Drive", garage.Yes, fault{"P0562-00", present, nil})},
			want: []string{"supply-low"}, says: "1 code says that the supply is too low now", codes: []string{"Drive P0562-00"}},
		{name: "a code against the meter", supply: 12.6, modules: []garage.Module{moduleWith(t, "Body", garage.Yes, fault{"U3003-16", present, nil})},
			want: []string{"supply-low"}, says: "lost on the way"},
		{name: "too high is not too low", supply: 12.6, modules: []garage.Module{moduleWith(t, "Body", garage.Yes, fault{"U3003-17", present, nil}, fault{"P0563-00", present, nil})}},
		{name: "remembered is not now", supply: 12.6, modules: []garage.Module{moduleWith(t, "Body", garage.Yes, fault{"U3003-16", remembered, nil})}},

		{name: "one event", modules: []garage.Module{
			moduleWith(t, "Body", garage.Yes, fault{"B1A14-15", remembered, keptWith("500 km", "")}, fault{"B1A15-15", present, keptWith("500 km", "")}),
			moduleWith(t, "Seat", garage.Yes, fault{"B1E05-00", remembered, keptWith("500 km", "")}),
		}, want: []string{"one-event"}, says: "same odometer reading, 500 km"},
		{name: "one event by its time", modules: []garage.Module{
			moduleWith(t, "Body", garage.Yes, fault{"B1A14-15", remembered, []garage.Value{{Name: "Clock", Text: "14:02"}}}, fault{"B1A15-15", present, []garage.Value{{Name: "Clock", Text: "14:02"}}}),
			moduleWith(t, "Seat", garage.Yes, fault{"B1E05-00", remembered, []garage.Value{{Name: "Clock", Text: "14:02"}}}),
		}, want: []string{"one-event"}, says: "same time, 14:02"},
		{name: "the same time since switching on is no event", modules: []garage.Module{
			moduleWith(t, "Body", garage.Yes, fault{"B1A14-15", remembered, []garage.Value{{Name: "Time since switching on", Text: "2 s"}}}, fault{"B1A15-15", present, []garage.Value{{Name: "Time since switching on", Text: "2 s"}}}),
			moduleWith(t, "Seat", garage.Yes, fault{"B1E05-00", remembered, []garage.Value{{Name: "Time since switching on", Text: "2 s"}}}),
		}},
		{name: "two codes are no event", modules: []garage.Module{
			moduleWith(t, "Body", garage.Yes, fault{"B1A14-15", remembered, keptWith("500 km", "")}),
			moduleWith(t, "Seat", garage.Yes, fault{"B1E05-00", remembered, keptWith("500 km", "")}),
		}},

		{name: "the same code", modules: []garage.Module{
			moduleWith(t, "Body", garage.Yes, fault{"B1A14-15", present, nil}),
			moduleWith(t, "Seat", garage.Yes, fault{"B1A14-11", remembered, nil}),
		}, want: []string{"same-code"}, says: "B1A14 in 2 modules"},
		{name: "the same code twice in one module", modules: []garage.Module{
			moduleWith(t, "Body", garage.Yes, fault{"B1A14-15", present, nil}, fault{"B1A14-11", present, nil}),
		}},

		{name: "no result", modules: []garage.Module{moduleWith(t, "Body", garage.Yes, fault{"B1A14-15", notTested, nil})}, want: []string{"no-result"}, says: "1 entry has no result yet"},
		{name: "tested and passed is a result", modules: []garage.Module{moduleWith(t, "Body", garage.Yes, fault{"B1A14-15", 0, nil})}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := diag.Patterns(garage.Visit{Supply: c.supply, Modules: c.modules})
			var keys []string
			for _, p := range got {
				keys = append(keys, p.Key)
				if p.Text == "" || p.Next == "" || p.Source == "" || p.Codes == nil {
					t.Errorf("%s is not complete: %+v", p.Key, p)
				}
			}
			if !slices.Equal(keys, c.want) {
				t.Fatalf("patterns %v, want %v: %+v", keys, c.want, got)
			}
			if len(got) > 0 && !strings.Contains(got[0].Text, c.says) {
				t.Errorf("%q does not say %q", got[0].Text, c.says)
			}
			if c.codes != nil && !slices.Equal(got[0].Codes, c.codes) {
				t.Errorf("rests on %v, want %v", got[0].Codes, c.codes)
			}
		})
	}
}

// TestPatternsWithoutStatus: an OBD list does not tell whether a code is there now, so it is in no pattern about that.
func TestPatternsWithoutStatus(t *testing.T) {
	c, err := dtc.Parse("U0140")
	if err != nil {
		t.Fatal(err)
	}
	rec := garage.CodeRecord{Code: c, Lists: []string{"stored"}}
	a, b := moduleWith(t, "Drive", garage.Yes), moduleWith(t, "Gearbox", garage.Yes)
	a.Codes, b.Codes = []garage.CodeRecord{rec}, []garage.CodeRecord{rec}
	got := diag.Patterns(garage.Visit{Modules: []garage.Module{a, b, moduleWith(t, "Body", garage.Silent)}})
	if len(got) != 1 || got[0].Key != diag.PatternSameCode {
		t.Errorf("patterns %+v, want the same code alone", got)
	}
}

// TestPatternsWording: no text promises what nobody can.
func TestPatternsWording(t *testing.T) {
	wave := keptWith("1 km", "9.0 V")
	for _, p := range diag.Patterns(garage.Visit{Supply: 11.0, Modules: []garage.Module{
		moduleWith(t, "Drive", garage.Yes, fault{"U0140-00", present, nil}, fault{"P0562-00", present, nil}, fault{"U0111-00", remembered, wave}),
		moduleWith(t, "Brakes", garage.Yes, fault{"U0140-00", present, nil}, fault{"U0155-00", remembered, wave}, fault{"U0121-00", remembered, wave}),
	}}) {
		for _, word := range []string{"safe to drive", "fixed", "OK", "your fault"} {
			if strings.Contains(p.Text+p.Next, word) {
				t.Errorf("%s says %q: %s %s", p.Key, word, p.Text, p.Next)
			}
		}
	}
}
