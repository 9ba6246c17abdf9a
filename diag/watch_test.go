package diag_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/garage"
	"readback/diag/tongue"
)

// offered opens a practice car and asks what it offers.
func offered(t *testing.T, place adapter.Place, identifiers ...uint16) (*diag.Visit, []diag.LiveValue) {
	t.Helper()
	s := openStore(t)
	v, err := diag.Open(t.Context(), diag.Options{Place: place, Drivers: []adapter.Driver{practice.Driver()}, Store: s, Identifiers: identifiers})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := errors.Join(v.Close(), s.Close()); err != nil {
			t.Error(err)
		}
	})
	if _, err := v.Meet(t.Context(), ""); err != nil {
		t.Fatal(err)
	}
	values, err := v.Offered(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return v, values
}

func chosen(t *testing.T, values []diag.LiveValue, texts ...string) (keys []diag.LiveKey) {
	t.Helper()
	for _, text := range texts {
		x, err := diag.ChooseLive(values, text)
		if err != nil {
			t.Fatal(err)
		}
		keys = append(keys, x.Key)
	}
	return keys
}

// watch collects what comes within a time.
func watch(t *testing.T, v *diag.Visit, keys []diag.LiveKey, within time.Duration) (out []diag.Sample) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), within)
	defer cancel()
	for s, err := range v.Watch(ctx, keys) {
		if err != nil {
			if !errors.Is(err, context.DeadlineExceeded) {
				t.Fatalf("Watch ended with %v", err)
			}
			return out
		}
		out = append(out, s)
	}
	t.Fatal("Watch ended without an error")
	return nil
}

func of(samples []diag.Sample, name string) (out []diag.Sample) {
	for _, s := range samples {
		if s.FullName() == name {
			out = append(out, s)
		}
	}
	return out
}

// TestOfferedPractice: what the practice cars offer is in their scenarios, which are invented; names and units are those
// of SAE J1979, checked in diag/obd.
func TestOfferedPractice(t *testing.T) {
	for _, c := range []struct {
		place       adapter.Place
		identifiers []uint16
		want        []string // some of them
		not         []string
	}{
		{"practice:courier", nil, []string{"7E0:0C", "7E0:0D", "7E0:42", "supply"}, []string{"7E0:00", "7E0:20", "7E0:05A", "7E5:DD01"}},
		{"practice:courier", []uint16{0xDD01}, []string{"7E0:DD01", "7E4:DD01", "7E5:DD01"}, []string{"701:DD01"}},
		{"practice:runner", nil, []string{"7E0:0C", "7E0:05", "7E1:0D", "supply"}, []string{"7E0:F40C"}},
		{"practice:runner-uds", nil, []string{"7E0:F40C", "7E0:F405", "supply"}, []string{"7E0:0C", "7E0:F400"}},
	} {
		synctest.Test(t, func(t *testing.T) {
			_, values := offered(t, c.place, c.identifiers...)
			var got []string
			for _, x := range values {
				got = append(got, x.Key.String())
				if x.Name == "" || x.Source == "" || x.Module == "" && x.Key.Kind != diag.LiveSupply {
					t.Errorf("%s: %s is not described: %+v", c.place, x.Key, x)
				}
			}
			for _, w := range c.want {
				if !slices.Contains(got, w) {
					t.Errorf("%s does not offer %s: %v", c.place, w, got)
				}
			}
			for _, w := range c.not {
				if slices.Contains(got, w) {
					t.Errorf("%s offers %s", c.place, w)
				}
			}
		})
	}
}

// TestWatchRunning: the values of a running petrol car come often, with their units, and from both modules.
func TestWatchRunning(t *testing.T) {
	for _, place := range []adapter.Place{"practice:runner-running", "practice:runner-uds"} {
		synctest.Test(t, func(t *testing.T) {
			v, values := offered(t, place)
			before := v.Tally()
			names := []string{"engine speed", "05", "0D", "7E1:0D", "supply"}
			samples := watch(t, v, chosen(t, values, names...), 3*time.Second)
			units := map[string]int{}
			for _, s := range samples {
				units[s.Unit]++
				if s.State != garage.Yes || !s.Number || len(s.Raw) == 0 && s.Key.Kind != diag.LiveSupply {
					t.Errorf("%s: sample %+v", place, s)
				}
			}
			if units["1/min"] < 30 || units["°C"] < 30 || units["V"] < 3 || units["V"] > 4 {
				t.Errorf("%s: samples by unit %v", place, units)
			}
			speeds := map[diag.LiveKey]string{}
			for _, s := range samples {
				if s.Unit == "km/h" {
					speeds[s.Key] = s.Name
				}
			}
			if len(speeds) != 2 || speeds[chosen(t, values, "0D")[0]] == speeds[chosen(t, values, "7E1:0D")[0]] {
				t.Errorf("%s: speeds of two modules by one name: %v", place, speeds)
			}
			turning := of(samples, "Motor speed")
			last := turning[len(turning)-1]
			if last.Rate < 5 {
				t.Errorf("%s: the rate of %s is told as %.1f a second", place, last.Name, last.Rate)
			}
			now := v.Tally()
			if now.Changes != 0 || now.Refused != 0 || now.Reads-before.Reads < 30 || now.Reads-before.Reads > len(samples) {
				t.Errorf("%s: tally %+v after %+v for %d samples", place, now, before, len(samples))
			}
		})
	}
}

// TestWatchShares: six parameters of a module share a request (SAE J1979: up to six).
func TestWatchShares(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v, values := offered(t, "practice:runner-running")
		before := v.Tally().Reads
		samples := watch(t, v, chosen(t, values, "0C", "0D", "05", "04", "0F", "11"), time.Second)
		if n := v.Tally().Reads - before; len(samples) < 5*n {
			t.Errorf("%d requests for %d samples", n, len(samples))
		}
	})
}

// TestWatchOwnIdentifier: a value that the owner has added is read with the meaning that the car's profile has, and
// without one its bytes are shown.
func TestWatchOwnIdentifier(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v, values := offered(t, "practice:courier", 0xDD01, 0xDD02)
		samples := watch(t, v, chosen(t, values, "7E5:DD01", "7E5:22:DD02"), time.Second)
		volts, outside := of(samples, "12 V supply"), of(samples, "Temperature outside")
		if len(volts) < 3 || volts[0].Shown() != "12.6" || volts[0].Unit != "V" {
			t.Errorf("supply of the module: %+v", volts)
		}
		if len(outside) < 3 || outside[0].Shown() != "7" || outside[0].Unit != "°C" {
			t.Errorf("temperature outside: %+v", outside)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		v, values := offered(t, "practice:runner", 0xDD01)
		samples := watch(t, v, chosen(t, values, "DD01"), time.Second)
		if len(samples) < 3 || samples[0].Number || samples[0].Text != samples[0].Raw.String() || samples[0].Text == "" {
			t.Errorf("without a meaning: %+v", samples)
		}
	})
}

// TestWatchNoAnswer: what a module does not tell is no zero, does not hold up the others, and is asked more seldom.
func TestWatchNoAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v, values := offered(t, "practice:runner-running")
		keys := chosen(t, values, "0C")
		gone := keys[0]
		gone.Number = 0x7F // not offered by this car
		absent := keys[0]
		absent.Address.Request.Value, absent.Address.Answer.Value = 0x7E6, 0x7EE
		samples := watch(t, v, append(keys, gone, absent), 10*time.Second)
		counts := map[diag.LiveKey]int{}
		for _, s := range samples {
			counts[s.Key]++
			if s.Key == keys[0] {
				continue
			}
			state, text := garage.Silent, "no answer"
			if s.Key == gone {
				state, text = garage.Refused, "refused: it does not know this variant of the request"
			}
			if s.State != state || s.Number || s.Value != 0 || s.Raw != nil || s.Shown() != text {
				t.Fatalf("a value that nobody told: %+v", s)
			}
		}
		if counts[keys[0]] < 100 || counts[gone] == 0 {
			t.Errorf("samples: %v", counts)
		}
		if n := counts[absent]; n < 5 || n > 15 {
			t.Errorf("a silent module was asked %d times in 10 s", n)
		}
	})
}

// TestWatchLeft: leaving the loop ends everything; a bubble with a goroutine left does not end.
func TestWatchLeft(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v, values := offered(t, "practice:runner")
		keys := chosen(t, values, "0C", "7E1:0D", "supply")
		for range 3 {
			n := 0
			for _, err := range v.Watch(t.Context(), keys) {
				if err != nil {
					t.Fatal(err)
				}
				if n++; n == 4 {
					break
				}
			}
		}
		for _, err := range v.Watch(t.Context(), nil) {
			if !errors.Is(err, diag.ErrNothingToWatch) {
				t.Errorf("nothing chosen: %v", err)
			}
		}
		look(t, v) // the visit goes on
	})
}

// TestWatchGone: the sequence ends with the error of the adapter.
func TestWatchGone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:runner", practice.Driver())
		values, err := v.Offered(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		n, ended := 0, error(nil)
		for _, err := range v.Watch(t.Context(), chosen(t, values, "0C", "7E1:0D")) {
			ended = err
			if n++; n == 10 {
				if err := v.Close(); err != nil {
					t.Fatal(err)
				}
			}
		}
		if ended == nil || n < 10 {
			t.Errorf("ended with %v after %d", ended, n)
		}
	})
}

func TestChooseLive(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, values := offered(t, "practice:runner")
		for text, want := range map[string]string{
			"engine speed": "7E0:0C", "Engine Speed": "7E0:0C", "0c": "7E0:0C", "01:0C": "7E0:0C", "F40C": "7E0:0C", "22:F40C": "7E0:0C",
			"7E1:0D": "7E1:0D", "7e0:22:F40D": "7E0:0D", "supply": "supply", "rpm": "7E0:0C", "outside temp": "7E0:46",
		} {
			if x, err := diag.ChooseLive(values, text); err != nil || x.Key.String() != want {
				t.Errorf("%q is %s (%v), want %s", text, x.Key, err, want)
			}
		}
		for text, near := range map[string]bool{"": false, "warp speed": false, "DD00": false, "7E7:0C": false, "fuel": true, "22:0C": false, "7FF": false} {
			_, err := diag.ChooseLive(values, text)
			var c *diag.ChoiceError
			if !errors.As(err, &c) || (len(c.Near) > 1) != near {
				t.Errorf("%q: %v", text, err)
			}
		}
	})
}

// TestIdentifiersAreSingle: an owner adds what somebody knows; a range is not tried.
func TestIdentifiersAreSingle(t *testing.T) {
	_, err := diag.Open(t.Context(), diag.Options{Place: "practice:", Drivers: []adapter.Driver{practice.Driver()}, Identifiers: make([]uint16, 33)})
	if !errors.Is(err, diag.ErrManyIdentifiers) {
		t.Errorf("33 identifiers: %v", err)
	}
}

// TestAddIdentifier: a value that is added during a visit is offered and told, as one that was known when it began.
func TestAddIdentifier(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		v, before := offered(t, "practice:courier")
		if found := diag.FindLive(before, "22:DD01"); len(found) > 0 {
			t.Fatalf("offered without being added: %v", found)
		}
		for range 2 { // a second time it changes nothing
			if err := v.AddIdentifier(0xDD01); err != nil {
				t.Fatal(err)
			}
		}
		after, err := v.Offered(t.Context())
		if err != nil || len(after) <= len(before) {
			t.Fatalf("%d values are offered, then %d: %v", len(before), len(after), err)
		}
		for _, s := range watch(t, v, chosen(t, after, "22:DD01"), time.Second) {
			if s.State != garage.Yes || s.Raw == nil {
				t.Fatalf("%+v", s)
			}
		}
		if n := v.Tally().Refused; n != 0 {
			t.Errorf("the gate held back %d", n)
		}
		for id := uint16(1); id < 32; id++ {
			if err := v.AddIdentifier(id); err != nil {
				t.Fatal(err)
			}
		}
		if err := v.AddIdentifier(32); !errors.Is(err, diag.ErrManyIdentifiers) {
			t.Errorf("the 33rd: %v", err)
		}
	})
}

func TestFindLive(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, values := offered(t, "practice:runner-running")
		for text, want := range map[string]string{
			"rpm": "7E0:0C", "motor speed": "7E0:0C", "0c": "7E0:0C", "vehicle speed": "7E0:0D 7E1:0D", "speed gearbox": "7E1:0D", "7E1:": "7E1:01 7E1:0D 7E1:1C 7E1:42 7E1:A4",
			"01:0D": "7E0:0D 7E1:0D", "warp": "", "supply": "7E0:42 7E1:42 supply",
		} {
			var got []string
			for _, x := range diag.FindLive(values, text) {
				got = append(got, x.Key.String())
			}
			if strings.Join(got, " ") != want {
				t.Errorf("%q finds %q, want %q", text, got, want)
			}
		}
		if all := diag.FindLive(values, " "); len(all) != len(values) {
			t.Errorf("nothing looked for finds %d of %d", len(all), len(values))
		}
	})
}

// TestSampleLog: the form is that of RFC 4180, read back by the standard library. Words are in the language that is asked for,
// numbers and times are the same in each.
func TestSampleLog(t *testing.T) {
	german, err := tongue.Of("de")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		tell func(string) string
		want [][]string
	}{{nil, [][]string{
		{"time", "name", "value", "unit"},
		{"2026-11-25T14:02:00.250Z", "Vehicle speed", "812", "km/h"},
		{"2026-11-25T14:02:00.250Z", "Fuel, first: bank \"1\"", "open loop", ""},
		{"2026-11-25T14:02:00.250Z", "Vehicle speed", "no answer", ""},
		{"2026-11-25T14:02:00.250Z", "Load", "-1.25", "%"},
	}}, {german.Tell, [][]string{
		{"Zeit", "Name", "Wert", "Einheit"},
		{"2026-11-25T14:02:00.250Z", "Fahrgeschwindigkeit", "812", "km/h"},
		{"2026-11-25T14:02:00.250Z", "Fuel, first: bank \"1\"", "open loop", ""},
		{"2026-11-25T14:02:00.250Z", "Fahrgeschwindigkeit", "keine Antwort", ""},
		{"2026-11-25T14:02:00.250Z", "Load", "-1.25", "%"},
	}}} {
		sampleLog(t, c.tell, c.want)
	}
}

func sampleLog(t *testing.T, tell func(string) string, want [][]string) {
	t.Helper()
	at := time.Date(2026, 11, 25, 14, 2, 0, 250e6, time.UTC)
	var b bytes.Buffer
	log := diag.NewSampleLog(&b, tell)
	lines := 0
	for _, s := range []diag.Sample{
		{Name: "Vehicle speed", At: at, State: garage.Yes, Number: true, Value: 812.5, Digits: 0, Unit: "km/h"},
		{Name: "Fuel, first", Label: "bank \"1\"", At: at, State: garage.Yes, Text: "open loop"},
		{Name: "Vehicle speed", At: at, State: garage.Silent, Text: "no answer"},
		{Name: "Load", At: at, State: garage.Yes, Number: true, Value: -1.25, Digits: 2, Unit: "%"},
	} {
		if err := log.Write(s); err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(b.String(), "\n"); n != lines+1+min(lines, 0) && n != lines+2 {
			t.Errorf("%d lines after sample %d", n, lines)
		}
		lines++
	}
	got, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(got) != len(want) {
		t.Fatalf("%v: %q", err, got)
	}
	for i := range want {
		if !slices.Equal(got[i], want[i]) {
			t.Errorf("line %d: %q, want %q", i, got[i], want[i])
		}
	}
}

// TestWatchOneAtATime: a module that refuses several parameters in one request is asked for one at a time.
func TestWatchOneAtATime(t *testing.T) {
	file := filepath.Join(t.TempDir(), "single.json")
	const doc = `{"version": 1, "base": "runner", "modules": {"engine": {"refuse": [{"request": "01 0C 0D", "nrc": "12"}]}}}`
	if err := os.WriteFile(file, []byte(doc), 0o600); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		v, values := offered(t, adapter.Place("practice:"+file))
		keys := chosen(t, values, "0C", "0D", "05")
		told := map[diag.LiveKey]int{}
		for _, s := range watch(t, v, keys, 2*time.Second) {
			if s.State != garage.Yes {
				t.Errorf("%+v", s)
			}
			told[s.Key]++
		}
		for _, k := range keys {
			if told[k] < 20 {
				t.Errorf("%s came %d times in 2 s", k, told[k])
			}
		}
	})
}

// TestWatchSentences: what goes wrong has a sentence.
func TestWatchSentences(t *testing.T) {
	for _, err := range []error{diag.ErrNothingToWatch, diag.ErrManyIdentifiers, &diag.ChoiceError{Text: "x"}, &diag.ChoiceError{Text: "x", Near: []string{"a", "b"}}} {
		if s := diag.Sentence(err); s == "" || s == err.Error() || strings.Contains(s, "diag:") {
			t.Errorf("%v: %q", err, s)
		}
	}
}
