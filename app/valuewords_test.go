package app

import (
	"io/fs"
	"regexp"
	"strings"
	"testing"

	"readback/assets"
	"readback/diag/obd"
	"readback/diag/quantity"
	"readback/diag/uds"
)

// asTold are texts that every language has: figures, bytes, codes and the marks of standards.
var asTold = regexp.MustCompile(`^([0-9]{3}|[0-9A-F]{1,2}( [0-9A-F]{1,2})*|[PCBU][0-3][0-9A-F]{3}|E?OBD( I)?|JOBD|EMD\+?|HD E?OBD[-IVCN ]*|WWH OBD|OBDBr-[12]|[KI]OBD( II?)?)$`)

// valueNames are the names that the engine has for values, self-tests, name plates and their states.
func valueNames(t *testing.T) map[string]bool {
	t.Helper()
	out := map[string]bool{}
	add := func(all ...string) {
		for _, s := range all {
			if s != "" && !asTold.MatchString(s) {
				out[s] = true
			}
		}
	}
	for id := range 256 {
		name, _ := obd.ParameterName(byte(id))
		add(name)
		for size := range 64 {
			for _, fill := range []byte{0xFF, 0x00} {
				data := make([]byte, size)
				for i := range data {
					data[i] = fill
				}
				m, err := obd.DecodeParameter(byte(id), data)
				if err != nil || len(m.Readings) == 0 {
					continue
				}
				for at := range data {
					for v := range 256 {
						data[at] = byte(v)
						m, err := obd.DecodeParameter(byte(id), data)
						if err != nil {
							t.Fatal(err)
						}
						for _, r := range m.Readings {
							add(r.Label, r.Text)
						}
					}
					data[at] = fill
				}
			}
		}
		name, _ = obd.MonitorName(byte(id))
		add(name)
		name, _ = obd.InfoName(byte(id))
		add(name)
		_, name, _ = uds.PlateName(0xF100 | uint16(id))
		add(name)
		for unit := range 256 {
			tests, err := obd.DecodeSelfTestData(byte(id), []byte{byte(id), byte(unit), 0, byte(unit), 0, 1, 0, 9})
			if err != nil {
				t.Fatal(err)
			}
			add(tests[0].Name, tests[0].TestName, tests[0].Value.Label, tests[0].Value.Text, tests[0].Verdict.String())
		}
	}
	for _, p := range obd.Parameters() {
		for _, v := range p.Values {
			add(v.Label)
		}
	}
	for v := obd.NoVerdict; v <= obd.Above; v++ {
		add(v.String())
	}
	for _, b := range [][]byte{{0xFF, 0x77, 0xFF, 0xFF}, {0xFF, 0x7F, 0xFF, 0xFF}} {
		m, err := obd.DecodeMonitors(b)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range m.Fitted {
			add(x.Name)
		}
	}
	for _, kind := range []byte{0x08, 0x0B} {
		x, err := obd.DecodeInfoData(kind, make([]byte, 56))
		if err != nil {
			t.Fatal(err)
		}
		for _, test := range x.Tracking.Tests {
			add(test.Name)
		}
	}
	return out
}

// TestValuesAreTold: every language beside English has words for every name and state of the values that a car tells.
func TestValuesAreTold(t *testing.T) {
	all := tongues(t)
	names := valueNames(t)
	if len(names) < 450 {
		t.Errorf("only %d names", len(names))
	}
	for tag, p := range all {
		missing := 0
		for s := range names {
			text, ok := p.Find(s)
			if word := english[tag].FindString(text); !ok || word != "" {
				missing++
				t.Errorf("%s has no words for %q: %q has %q", tag, s, text, word)
			}
		}
		t.Logf("%s: %d names, %d without words", tag, len(names), missing)
	}
}

// TestNamesOfThePracticeCars: what the modules of the practice cars call themselves, and the values of their profile, have
// words in every language beside English.
func TestNamesOfThePracticeCars(t *testing.T) {
	all := tongues(t)
	names := map[string]bool{}
	for _, b := range assets.Profiles() {
		for _, m := range regexp.MustCompile(`"name": *"([^"]+)"`).FindAllStringSubmatch(string(b), -1) {
			names[m[1]] = true
		}
	}
	files, err := fs.Glob(assets.Scenarios, "scenarios/*.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		b, err := assets.Scenarios.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`"F197": *"([A-Z ]{4,})"`).FindAllStringSubmatch(string(b), -1) {
			names[m[1][:1]+strings.ToLower(m[1][1:])] = true
		}
	}
	if len(names) < 15 {
		t.Errorf("only %d names", len(names))
	}
	for tag, p := range all {
		for s := range names {
			if _, ok := p.Find(s); !ok {
				t.Errorf("%s has no words for %q", tag, s)
			}
		}
	}
	speaking(t, "de")
	for in, want := range map[string]string{
		"Module 7E3": "Steuergerät 7E3", "Module 7E3 said nothing": "Module 7E3 said nothing", "Coolant temperature": "Kühlmitteltemperatur",
		"Long-term fuel trim, bank 2": "Langzeitkorrektur Gemisch, Bank 2", "Oxygen sensor 3, wide range": "Lambdasonde 3, Breitband", "Grandfather's pump": "Grandfather's pump", "": "",
	} {
		if got := named(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

// TestUnitsNeedNoWords: units are shown as they are; those with a word in them are told.
func TestUnitsNeedNoWords(t *testing.T) {
	speaking(t, "de")
	for unit, want := range map[quantity.Unit]string{
		quantity.Volt: "V", quantity.PerMinute: "1/min", quantity.MgPerStroke: "mg/Hub", quantity.GramPerCylinder: "g/Zyl.", quantity.Minute: "min", quantity.LitrePerH: "L/h", quantity.Celsius: "°C",
	} {
		if got := told(string(unit)); got != want {
			t.Errorf("%s: %q, want %q", unit, got, want)
		}
	}
	if got := measured("12.5 mg/stroke"); got != "12,5 mg/Hub" {
		t.Errorf("a figure: %q", got)
	}
}
