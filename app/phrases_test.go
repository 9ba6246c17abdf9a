package app

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/cable"
	"readback/diag/dtc"
	"readback/diag/explain"
	"readback/diag/gate"
	"readback/diag/tongue"
)

// tongues are the languages beside English that have the engine's sentences.
func tongues(t testing.TB) map[string]*tongue.Tongue {
	t.Helper()
	out := map[string]*tongue.Tongue{}
	for _, tag := range tongue.Tags() {
		if tag == tongue.English {
			continue
		}
		one, err := tongue.Of(tag)
		if err != nil || len(one.Pieces) == 0 {
			t.Fatalf("%s: %v, %d sentences", tag, err, len(one.Pieces))
		}
		out[tag] = one
	}
	if len(out) == 0 {
		t.Fatal("no language beside English")
	}
	return out
}

var (
	place  = regexp.MustCompile(`\{(\d)(\*?)\}`) // of what the engine puts into a sentence
	number = regexp.MustCompile(`^-?\d+(\.\d+)?( \S+)?$`)
	quoted = regexp.MustCompile(`"[^"]*"`)
)

// engineSays collects what the engine says of every verdict, latch, step and cause.
func engineSays(t *testing.T) []string {
	t.Helper()
	said := map[string]bool{}
	add := func(all ...string) {
		for _, s := range all {
			if s != "" && !number.MatchString(s) {
				said[s] = true
			}
		}
	}
	for _, code := range []string{"P0171", "P0217", "P0301", "C1234", "B1A14", "U3003", "U0140", "P1D5A", "P0A0D", "P0AA6", "C0561", "P3500", "B3FFF"} {
		c, err := dtc.Parse(code)
		if err != nil {
			t.Fatal(err)
		}
		for b := range 256 {
			s := dtc.Status(b)
			for _, mask := range []dtc.Status{0xFF, 0x09, 0} {
				d := dtc.Describe(c, &s, mask, nil)
				add(d.VerdictText, d.Short, d.Severity, d.SeverityReason, d.ErasingText, d.Area, d.Letters)
				if !d.Known {
					add(d.Meaning, d.Advice)
				}
			}
		}
		for _, list := range []string{"stored", "pending", "permanent", ""} {
			d := dtc.Describe(c, nil, 0xFF, []string{list})
			add(d.VerdictText, d.Short, d.Severity, d.SeverityReason, d.ErasingText)
		}
	}
	for b := range 256 {
		text, _ := dtc.FailureText(byte(b))
		add(text, dtc.CarJudgement(byte(b)))
	}
	for _, b := range dtc.Status(0).Bits(0xFF) {
		add(b.Text)
	}
	ohms := []float64{-1, 0.2, 1.5, 5, 20, 38, 45, 52, 60, 67, 80, 105, 120, 500, 5e3, 5e4, 2e5, 5e5, 2e6}
	volts := []float64{-5, -0.1, 0.1, 0.15, 0.25, 0.6, 2.1, 2.5, 2.8, 3.5, 4.8, 6, 11.7, 12.1, 12.3, 12.6, 13, 14, 14.9, 16}
	for _, s := range cable.Spots() {
		add(s.What)
		values := ohms
		if s.Unit == cable.Volt {
			values = volts
		}
		for _, n := range append(slices.Clone(values), math.Inf(1)) {
			if math.IsInf(n, 1) && s.Unit == cable.Volt {
				continue
			}
			v, err := cable.Judge(s, cable.Value{Number: min(n, 1e9), Unit: s.Unit, Open: math.IsInf(n, 1)})
			if err != nil {
				t.Fatal(err)
			}
			add(v.Text, v.Next)
		}
	}
	for _, a := range volts {
		for _, b := range volts {
			var in []cable.Reading
			for key, n := range map[string]float64{"car:6-5": a, "car:14-5": b, "car:16-5": a, "car:16-4": b, "car:post": 12.6} {
				in = append(in, cable.Reading{Key: key, Value: cable.Value{Number: n, Unit: cable.Volt}})
			}
			for key, n := range map[string]float64{"cable:6-7": 100, "cable:14-2": 100, "adapter:2-7": 120, "car:6-14": 60, "car:6-5-ohm": 1, "car:14-5-ohm": 60, "car:6-16": 60, "car:14-16": 1} {
				in = append(in, cable.Reading{Key: key, Value: cable.Value{Number: n, Unit: cable.Ohm}})
			}
			in = append(in, cable.Reading{Key: "car:6-5-asleep", Value: cable.Value{Number: 2, Unit: cable.Volt}})
			all, err := cable.All(in)
			if err != nil {
				t.Fatal(err)
			}
			for _, v := range all {
				add(v.Text, v.Next)
			}
		}
	}
	for from := 1; from <= cable.SocketPins; from++ {
		for to := 1; to <= cable.PlugPins; to++ {
			for _, v := range (cable.Wiring{from: to}).Check() {
				add(v.Text, v.Next)
			}
		}
	}
	for _, w := range []cable.Wiring{cable.FamilyA(), cable.FamilyB(), {6: 2, 14: 7}} {
		for _, v := range w.Check() {
			add(v.Text, v.Next)
		}
	}
	add(cable.Cautions()...)
	for _, text := range []string{"12 34", "2m", "", "1,2,3", "twelve", "9e9", "900000 V", ">", "1.2x"} {
		var wrong *cable.ValueError
		if _, err := cable.Parse(text); errors.As(err, &wrong) {
			add(wrong.Why)
		}
	}
	for _, step := range []string{diag.ProofNow, diag.ProofSleep, diag.ProofReady, diag.ProofDrive, diag.ProofPlug, diag.ProofCold, diag.ProofWeek} {
		g := diag.GuideOf(step)
		add(g.When, g.Do, g.Why)
	}
	for _, f := range []diag.BusFacts{{State: bus.StateStopped}, {State: bus.StateOff}, {Listened: adapter.ErrNoRate}, {Broken: 5}, {Broken: 5, BitRate: 500_000}, {Unacknowledged: 3},
		{State: bus.StatePassive, Heard: 40, Broken: 2}, {State: bus.StateWarning, Heard: 40, Broken: 1}, {Lost: 1}, {Lost: 4}, {Load: 0.9}, {Heard: 1}, {Heard: 90}, {Sent: 40}, {}} {
		h := diag.JudgeBus(f)
		add(append(h.Causes, h.Text, h.Next)...)
	}
	for _, l := range latchStates() {
		if add(l.Title, l.Why); l.Key != gate.SaidBack { // its value is what the owner typed
			add(l.Value)
		}
	}
	var out []string
	for s := range said {
		out = append(out, s)
	}
	slices.Sort(out)
	return out
}

// latchStates are the latches in every state that they can have.
func latchStates() (out []gate.Latch) {
	now := time.Date(2026, 11, 21, 14, 9, 0, 0, time.UTC)
	e := explain.Explain(clearText, explain.Options{})
	all := explain.Explain("7DF 04 14 FF FF FF 55 55 55", explain.Options{})
	at := func(v float64, ago time.Duration) *gate.Reading {
		return &gate.Reading{Value: v, At: now.Add(-ago), Source: gate.FromCar}
	}
	said := func(ago time.Duration) map[gate.Key]time.Time {
		m := map[gate.Key]time.Time{}
		for _, k := range []gate.Key{gate.Standing, gate.DriveOff, gate.SupplyGood, gate.NotCharging, gate.Reach} {
			m[k] = now.Add(-ago)
		}
		return m
	}
	record := func(ago time.Duration, complete bool, n int) *gate.RecordFacts {
		return &gate.RecordFacts{At: now.Add(-ago), Complete: complete, Codes: n, Snapshots: n, Modules: n}
	}
	states := []gate.State{{}, {Said: said(time.Minute), Reaches: []string{"Body", "Motor"}}, {Said: said(10 * time.Minute), Reaches: []string{"Body"}}, {Reaches: []string{"Body"}},
		{Record: record(time.Minute, true, 1), Safety: gate.SafetyFacts{Read: true}}, {Record: record(time.Minute, true, 9), Safety: gate.SafetyFacts{Read: true, Now: []string{"Brakes"}}},
		{Record: record(time.Minute, false, 9), Safety: gate.SafetyFacts{Read: true, Now: []string{"Brakes", "Airbag"}, Target: "Airbag"}},
		{Record: record(9*time.Minute, true, 9), Safety: gate.SafetyFacts{Read: true, Now: []string{"Brakes"}, Acknowledged: now.Add(-time.Minute)}},
		{Record: record(time.Second, true, 9), Safety: gate.SafetyFacts{Read: true, Now: []string{"Brakes"}, Acknowledged: now.Add(-time.Minute)}}}
	for _, v := range []float64{0, 1, math.NaN()} {
		for _, ago := range []time.Duration{time.Second, time.Minute, -time.Minute} {
			states = append(states, gate.State{Speed: at(v, ago), Motor: at(v, ago), Charging: at(v, ago)}, gate.State{RunTime: at(v, ago)}, gate.State{Motor: at(0, ago), RunTime: at(v, ago)})
		}
	}
	for _, v := range []float64{11, 11.7, 12.1, 12.3, 12.6, 13.8, 14.9, 16, -1} {
		states = append(states, gate.State{Supply: at(v, time.Second)}, gate.State{Supply: at(v, time.Second), Said: said(time.Minute)}, gate.State{Supply: at(v, time.Second), Supplies: []gate.Reading{*at(13.4, time.Minute)}})
	}
	states = append(states, gate.State{Supplies: []gate.Reading{*at(11.1, time.Minute)}})
	for _, s := range states {
		for _, x := range []explain.Explanation{e, all, {}} {
			for _, words := range []string{"", "zebra", e.Words[0]} {
				out = append(out, gate.Line(x, s, words, now)...)
			}
		}
	}
	return out
}

// TestEngineSentencesAreTold: every language beside English has words for all that the engine says of verdicts, latches,
// steps and causes, with every place filled.
func TestEngineSentencesAreTold(t *testing.T) {
	all := tongues(t)
	said := engineSays(t)
	if len(said) < 400 {
		t.Fatalf("only %d sentences", len(said))
	}
	for tag, p := range all {
		for _, s := range said {
			if got, ok := p.Find(s); !ok {
				t.Errorf("%s has no words for %q", tag, s)
			} else if place.MatchString(got) {
				t.Errorf("%s: %q has a place left open: %q", tag, s, got)
			}
		}
	}
}

// TestPhrasesAreTheEngines: the English text of every phrase still stands in the engine or in its tables; both have the
// same places, and no translation promises too much.
func TestPhrasesAreTheEngines(t *testing.T) {
	all := tongues(t)
	var source strings.Builder
	for _, dir := range []string{"../diag", "../assets"} {
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if d.IsDir() && d.Name() == "tongue" {
				return fs.SkipDir
			}
			if err != nil || d.IsDir() || strings.HasSuffix(path, "_test.go") || !slices.Contains([]string{".go", ".tsv", ".json"}, filepath.Ext(path)) {
				return err
			}
			b, err := os.ReadFile(path)
			source.Write(b)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	text, pieces := source.String(), codePieces()
	for tag, p := range all {
		for english, other := range p.Pieces {
			for _, part := range place.Split(english, -1) {
				words := strings.Fields(strings.Trim(part, " ."))
				name := strings.Fields(strings.ToUpper(part))                       // modules tell their names in capitals
				one := strings.Fields(strings.ReplaceAll(part, " their ", " its ")) // of all modules at once it speaks in the plural
				if !pieces[english] && !says(text, words) && !says(text, name) && !says(text, one) {
					t.Errorf("%s: the engine does not say %q of %q", tag, part, english)
				}
			}
			holes := func(s string) []string {
				all := place.FindAllString(strings.ReplaceAll(s, "*", ""), -1)
				slices.Sort(all)
				return all
			}
			if !slices.Equal(holes(english), holes(other)) {
				t.Errorf("%s: %q and %q do not have the same places", tag, english, other)
			}
			if m := promises[tag].FindString(other); promises[tag] == nil || m != "" {
				t.Errorf("%s: %q says %q", tag, other, m)
			}
		}
	}
}

// TestPhrasesAreGivenOnce: no two files of a language, and no two places of one file, translate the same sentence.
func TestPhrasesAreGivenOnce(t *testing.T) {
	files, err := tongue.Files.ReadDir("text")
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]string{}
	for _, f := range files {
		b, err := tongue.Files.ReadFile("text/" + f.Name())
		if err != nil {
			t.Fatal(err)
		}
		tag, _, _ := strings.Cut(strings.TrimSuffix(f.Name(), ".json"), "-")
		keys := keysOf(t, b)
		if len(keys) == 0 {
			t.Errorf("%s has no sentences", f.Name())
		}
		for _, k := range keys {
			if other := at[tag+" "+k]; other != "" {
				t.Errorf("%s: %q is given in %s, too", f.Name(), k, other)
			}
			at[tag+" "+k] = f.Name()
		}
	}
}

// keysOf are the keys of a JSON object in order, those that are given twice as well.
func keysOf(t *testing.T, b []byte) (out []string) {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(b))
	for i := 0; ; i++ {
		token, err := d.Token()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		if s, ok := token.(string); ok && i%2 == 1 { // the brace, then a key, its text, a key
			out = append(out, s)
		}
	}
}

// says tells whether a text has these words in a row. A word or two at either end may come from elsewhere: numbers and what
// they count are put into a sentence by a verb of its format.
func says(text string, words []string) bool {
	for from := range min(3, len(words)) {
		for to := len(words); to > from && to >= len(words)-2; to-- {
			if strings.Contains(text, strings.TrimSuffix(strings.Join(words[from:to], " "), "s")) {
				return true
			}
		}
	}
	return len(words) == 0
}

// TestTold: sentences with places, several sentences, figures, and what the book does not know.
func TestTold(t *testing.T) {
	if err := UseLanguage("de"); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := UseLanguage("en"); err != nil {
			t.Error(err)
		}
	})
	for in, want := range map[string]string{
		"There now.":                      "Jetzt vorhanden.",
		"9 codes, 1 snapshot, 11 modules": "9 Fehlercodes, 1 Satz Umgebungsdaten, 11 Steuergeräte",
		"answered 2 times, the first after 1.5 ms; it asked for time once":                                       "2-mal beantwortet, zuerst nach 1,5 ms; es bat einmal um Zeit",
		"it fell from 12.9 V to 12.1 V within 2 min: wait until it has held for 5 minutes, or connect a charger": "sie fiel von 12,9 V auf 12,1 V binnen 2 min: Warten Sie, bis sie 5 Minuten gehalten hat, oder schließen Sie ein Ladegerät an",
		"Not by itself. It returns when its cause is still there.":                                               "Allein nicht. Er kehrt zurück, wenn seine Ursache noch besteht.",
		"Not by itself. Nobody has written this sentence.":                                                       "Not by itself. Nobody has written this sentence.",
		"Found twice, 9 days apart. That is too few to tell a trend.":                                            "Zweimal gefunden, Abstand 9 Tage. Das ist zu wenig für eine Aussage über den Verlauf.",
	} {
		if got := told(in); got != want {
			t.Errorf("%q:\n got %q\nwant %q", in, got, want)
		}
	}
	if got := measured("12.6 V"); got != "12,6 V" {
		t.Errorf("a value: %q", got)
	}
}
