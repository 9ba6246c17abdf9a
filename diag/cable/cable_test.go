package cable

import (
	"errors"
	"maps"
	"math"
	"strings"
	"testing"
)

func TestParse(t *testing.T) {
	for text, want := range map[string]Value{
		"60.4": {Number: 60.4}, "60,4": {Number: 60.4}, " 60.4 Ω": {60.4, Ohm, false}, "60.4Ω": {60.4, Ohm, false}, "0.3 ohm": {0.3, Ohm, false}, "0,3 Ohms": {0.3, Ohm, false},
		"1k2": {1200, Ohm, false}, "4R7": {4.7, Ohm, false}, "2M2": {2.2e6, Ohm, false}, "1.2k": {1200, Ohm, false}, "1,2 kΩ": {1200, Ohm, false}, "12 kohm": {12000, Ohm, false},
		"2.2M": {2.2e6, Ohm, false}, "2 MΩ": {2e6, Ohm, false}, "2 Mohm": {2e6, Ohm, false}, "1 megaohm": {1e6, Ohm, false},
		"OL": {Open: true}, "0L": {Open: true}, "O.L": {Open: true}, "0.L MΩ": {Open: true, Unit: Ohm}, "open": {Open: true}, "Open ": {Open: true}, "∞": {Open: true}, "infinite": {Open: true},
		"> 20 MΩ": {Open: true, Unit: Ohm}, ">2 k": {2000, Ohm, false}, "<0.2": {Number: 0.2},
		"12.7 V": {12.7, Volt, false}, "12,7 volts": {12.7, Volt, false}, "250 mV": {0.25, Volt, false}, "-0.1 V": {-0.1, Volt, false}, "−0.1V": {-0.1, Volt, false}, "2.6v": {2.6, Volt, false},
		"= 60": {Number: 60}, "~60": {Number: 60}, "+60": {Number: 60}, "0": {},
	} {
		got, err := Parse(text)
		if err != nil || math.Abs(got.Number-want.Number) > 1e-9*max(1, want.Number) || got.Unit != want.Unit || got.Open != want.Open {
			t.Errorf("%q is %+v (%v), not %+v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "  ", "sixty", "60.4.1", "1,200.5", "12 A", "6O", "1k2k", "k", "Ω", "--3", "1e9", "0x3C", "NaN", "inf5", "99999999999", "300 V", "300 mΩ", "1 mohm", "2m", "60 60"} {
		got, err := Parse(text)
		var e *ValueError
		if !errors.As(err, &e) {
			if text == "60 60" && err == nil {
				t.Errorf("two numbers became %+v", got)
				continue
			}
			t.Errorf("%q is %+v (%v), and should be refused", text, got, err)
		}
	}
}

// What is kept is read back as the same value, to the digits that are kept.
func TestKept(t *testing.T) {
	for _, v := range []Value{{60.4, Ohm, false}, {1234, Ohm, false}, {2.2e6, Ohm, false}, {12.68, Volt, false}, {-0.12, Volt, false}, {Open: true, Unit: Ohm}, {0, Ohm, false}} {
		got, err := Parse(v.String())
		if err != nil || got.Open != v.Open || math.Abs(got.Number-v.Number) > 0.05*max(1, math.Abs(v.Number)/10) {
			t.Errorf("%+v is kept as %q and read as %+v (%v)", v, v.String(), got, err)
		}
	}
}

func TestSpotOf(t *testing.T) {
	for text, key := range map[string]string{"6-7": "cable:6-7", "7-6": "cable:6-7", "14-2": "cable:14-2", "6-14": "car:6-14", "14-6": "car:6-14", "cable:6-14": "cable:6-14",
		"CABLE:14-6": "cable:6-14", "adapter:7-2": "adapter:2-7", "2-7": "adapter:2-7", "car:6-5": "car:6-5", "car:6-5-asleep": "car:6-5-asleep", "16-5": "car:16-5", "car:post": "car:post"} {
		if s, err := SpotOf(text); err != nil || s.Key != key {
			t.Errorf("%q is %q (%v), not %q", text, s.Key, err, key)
		}
	}
	for _, text := range []string{"", "6", "1-2", "car:99-1", "6:14", "boat:6-14"} {
		var e *KeyError
		if _, err := SpotOf(text); !errors.As(err, &e) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// The bands, row by row. The numbers are those of the tables that each row names: continuity of a home-made cable,
// the adapter alone, resistance and volts at the socket. "common practice" where no published source sets them.
func TestBands(t *testing.T) {
	hit := map[*band]bool{}
	defer func() { // every band has its row above
		for _, s := range Spots() {
			for i := range s.bands {
				if !hit[&s.bands[i]] {
					t.Errorf("%s: no row for the band below %g", s.Key, s.bands[i].below)
				}
			}
		}
	}()
	for _, c := range []struct {
		key, value string
		level      Level
		says       string
		source     string // what the verdict must rest on
	}{
		// A wire of a home-made cable (common practice).
		{"6-7", "0.3", Good, "Joined", "practice"}, {"14-2", "0.5", Good, "Joined", "practice"}, {"5-3", "0.51", Note, "Joined", "practice"}, {"6-7", "2", Note, "Joined", "practice"},
		{"6-7", "2.1", Doubt, "poor joint", "practice"}, {"6-7", "10", Doubt, "poor joint", "practice"}, {"6-7", "10.5", Doubt, "Not joined", "practice"}, {"6-7", "OL", Doubt, "Not joined", "practice"},
		// Between the two wires of the cable.
		{"cable:6-14", "3", Stop, "touch", "practice"}, {"cable:6-14", "60", Doubt, "Two end resistors", "ISO 11898-2"}, {"cable:6-14", "120", Doubt, "An end resistor is built", "ISO 11898-2"},
		{"cable:6-14", "90 k", Doubt, "joins", "practice"}, {"cable:6-14", "150k", Note, "Not joined", "practice"}, {"cable:6-14", "open", Good, "No short", "practice"}, {"cable:6-14", "2M", Good, "No short", "practice"},
		{"6-7", "-3", Doubt, "no measurement", "practice"}, {"cable:6-14", "-1", Doubt, "no measurement", "practice"}, {"cable:6-14", "30", Stop, "joins", "practice"}, {"cable:6-14", "85", Doubt, "joins", "practice"},
		// Each wire to ground and to battery plus (SAE J1962 for what the pins are).
		{"cable:6-4", "OL", Good, "Not joined", "practice"}, {"cable:6-5", "500k", Stop, "must not be", "practice"}, {"cable:14-4", "1 k", Stop, "must not be", "practice"}, {"cable:14-5", "OL", Good, "Not joined", "practice"},
		{"cable:16-6", "OL", Good, "Not joined", "J1962"}, {"cable:16-14", "5", Stop, "Battery plus", "J1962"}, {"cable:16-4", "0.2", Stop, "Battery plus", "J1962"}, {"cable:16-5", "100k", Stop, "Battery plus", "J1962"},
		{"cable:16-9", "0.3", Doubt, "reaches the adapter", "CiA 303-1"}, {"cable:16-9", "OL", Good, "stays in the car", "CiA 303-1"},
		// The adapter alone.
		{"2-7", "OL", Good, "No end resistor", "ISO 11898-2"}, {"2-7", "40k", Good, "No end resistor", "ISO 11898-2"}, {"2-7", "9 k", Note, "No end resistor", "practice"}, {"2-7", "120.3", Doubt, "is on", "ISO 11898-2"},
		{"2-7", "60", Doubt, "Two end resistors", "ISO 11898-2"}, {"2-7", "5", Doubt, "Far too low", "practice"},
		{"2-7", "-2", Doubt, "no measurement", "practice"}, {"2-7", "90", Doubt, "switched on between", "practice"},
		// The sleeping car: volts first.
		{"car:6-5-asleep", "0.05", Good, "Asleep", "practice"}, {"car:14-5-asleep", "0.2", Doubt, "awake", "practice"}, {"car:6-5-asleep", "2.5", Doubt, "awake", "practice"},
		{"car:6-5-asleep", "-0.3", Doubt, "no measurement", "practice"},
		// Pins 6 to 14 (published service information, and ISO 11898-2 for 60 and 120 ohms).
		{"6-14", "0", Stop, "touch", "published service information"}, {"6-14", "4.9", Stop, "touch", "published service information"}, {"6-14", "5", Doubt, "Partly shorted", "11898-2"}, {"6-14", "24", Doubt, "Partly shorted", "11898-2"}, {"6-14", "30", Doubt, "Partly shorted", "11898-2"},
		{"6-14", "40", Doubt, "too many", "11898-2"}, {"6-14", "49.9", Doubt, "too many", "11898-2"}, {"6-14", "50", Note, "little low", "11898-2"}, {"6-14", "54.9", Note, "little low", "11898-2"},
		{"6-14", "55", Good, "Both line ends", "11898-2"}, {"6-14", "60.4", Good, "Both line ends", "11898-2"}, {"6-14", "60,4 Ω", Good, "Both line ends", "11898-2"}, {"6-14", "65", Good, "Both line ends", "11898-2"}, {"6-14", "65.1", Note, "little high", "11898-2"},
		{"6-14", "70", Doubt, "poor contact", "11898-2"}, {"6-14", "109", Doubt, "poor contact", "11898-2"}, {"6-14", "120", Doubt, "Only one end resistor", "11898-2"}, {"6-14", "134", Doubt, "Only one end resistor", "11898-2"},
		{"6-14", "135", Doubt, "bad joint", "practice"}, {"6-14", "999", Doubt, "bad joint", "practice"}, {"6-14", "1k", Doubt, "only chips", "11898-2"}, {"6-14", "99k", Doubt, "only chips", "11898-2"},
		{"6-14", "100k", Doubt, "Nothing is connected", "J1962"}, {"6-14", "OL", Doubt, "Nothing is connected", "J1962"}, {"6-14", "-12", Doubt, "no measurement", "practice"},
		// One wire to ground or to battery plus.
		{"car:6-5-ohm", "4", Stop, "dead short", "published service information"}, {"car:14-5-ohm", "400", Doubt, "Suspicious", "published service information"}, {"car:6-16", "20k", Good, "Usual", "practice"}, {"car:14-16", "OL", Good, "As it should be", "practice"},
		{"car:6-5-ohm", "-20", Doubt, "no measurement", "practice"},
		// Volts with the ignition on (ISO 11898-2 for the levels).
		{"car:6-5", "2.7", Good, "traffic", "11898-2"}, {"car:6-5", "2.5", Good, "little is said", "11898-2"}, {"car:6-5", "0.1", Doubt, "Asleep", "11898-2"}, {"car:6-5", "1.2", Doubt, "Too low", "11898-2"}, {"car:6-5", "3.5", Doubt, "Too high", "11898-2"}, {"car:6-5", "12", Stop, "battery voltage", "11898-2"},
		{"car:14-5", "2.3", Good, "little is said", "11898-2"}, {"car:14-5", "2.1", Good, "traffic", "11898-2"}, {"car:14-5", "0.1", Doubt, "Asleep", "11898-2"}, {"car:14-5", "1", Doubt, "Too low", "11898-2"}, {"car:14-5", "4.8", Doubt, "another kind", "11898-2"}, {"car:14-5", "12", Stop, "battery voltage", "11898-2"}, {"car:14-5", "3", Doubt, "Too high", "11898-2"},
		{"car:6-5", "-0.5", Doubt, "Below ground", "practice"}, {"car:14-5", "-0.5", Doubt, "Below ground", "practice"},
		// Supply (published rest voltages; limits for diagnosis are common practice).
		{"16-5", "0", Doubt, "No supply", "J1962"}, {"16-5", "-12.5", Doubt, "swapped", "J1962"}, {"16-4", "11.4", Stop, "flat", "rest voltages"}, {"16-5", "11.8", Doubt, "nearly empty", "rest voltages"}, {"16-5", "12.1", Note, "low", "rest voltages"}, {"16-5", "12.3", Note, "fair", "rest voltages"},
		{"16-5", "12.4", Good, "well charged", "rest voltages"}, {"16-5", "12.8", Good, "well charged", "rest voltages"}, {"16-5", "13", Good, "Just charged", "rest voltages"}, {"16-5", "14.4", Good, "charger", "rest voltages"}, {"16-5", "14.9", Note, "High", "rest voltages"}, {"16-5", "15.5", Stop, "Too high", "rest voltages"},
		{"car:4-body", "0.05", Good, "good ground", "practice"}, {"car:5-body", "0.15", Note, "fair ground", "0.2 V"}, {"car:4-body", "0.4", Doubt, "differs", "practice"}, {"car:4-body", "-0.5", Doubt, "differs", "practice"},
	} {
		s, err := SpotOf(c.key)
		if err != nil {
			t.Fatal(err)
		}
		v, err := Parse(c.value)
		if err != nil {
			t.Fatal(err)
		}
		for i := range s.bands {
			if v.Open && i == len(s.bands)-1 || !v.Open && v.Number < s.bands[i].below {
				hit[&s.bands[i]] = true
				break
			}
		}
		got, err := Judge(s, v)
		if err != nil || got.Level != c.level || !strings.Contains(got.Text, c.says) {
			t.Errorf("%s = %s: %s %q (%v), not %s %q", c.key, c.value, got.Level, got.Text, err, c.level, c.says)
			continue
		}
		if !strings.Contains(got.Source, c.source) {
			t.Errorf("%s = %s rests on %q, not on %q", c.key, c.value, got.Source, c.source)
		}
		if got.Level == Good && got.Next != "" || got.Level == Stop && got.Next == "" || got.Level == Doubt && got.Next == "" {
			t.Errorf("%s = %s: level %s with the next step %q", c.key, c.value, got.Level, got.Next)
		}
	}
}

// The bands of every table grow, so that each value has exactly one.
func TestBandsGrow(t *testing.T) {
	for _, s := range Spots() {
		if len(s.bands) == 0 || !math.IsInf(s.bands[len(s.bands)-1].below, 1) {
			t.Errorf("%s: the last band has an end", s.Key)
		}
		for i := 1; i < len(s.bands); i++ {
			if s.bands[i].below <= s.bands[i-1].below {
				t.Errorf("%s: band %d does not grow", s.Key, i)
			}
		}
		if got, err := SpotOf(s.Key); err != nil || got.Key != s.Key {
			t.Errorf("%s is found as %q (%v)", s.Key, got.Key, err)
		}
	}
}

func TestWrongUnit(t *testing.T) {
	s, _ := SpotOf("6-14")
	var e *ValueError
	if _, err := Judge(s, Value{Number: 2.5, Unit: Volt}); !errors.As(err, &e) {
		t.Errorf("volts as ohms: %v", err)
	}
	s, _ = SpotOf("16-5")
	if _, err := Judge(s, Value{Open: true}); !errors.As(err, &e) {
		t.Errorf("an open circuit as volts: %v", err)
	}
}

// What readings say together. 5 V for the sum and the cross effect of a short are published (ISO 11898-2 levels,
// service information); the rest is common practice.
func TestCrossChecks(t *testing.T) {
	hit := map[string]bool{}
	for _, c := range []struct {
		name     string
		readings string
		key      string
		level    Level
		says     string
		source   string // what the verdict must rest on
	}{
		{"awake while measuring ohms", "car:6-5-asleep=2.5 car:6-14=60", "car:awake", Doubt, "awake", "practice"},
		{"awake, seen at the other wire", "car:14-5-asleep=2.5 car:6-14=60", "car:awake", Doubt, "awake", "practice"},
		{"CAN high shorted to ground", "car:6-5-ohm=2 car:14-5-ohm=60", "car:short", Stop, "CAN high, pin 6 is the wire that is shorted to ground", "cross effect"},
		{"CAN low shorted to ground", "car:6-5-ohm=60 car:14-5-ohm=2", "car:short", Stop, "CAN low, pin 14 is the wire that is shorted to ground", "cross effect"},
		{"CAN high shorted to plus", "car:6-16=0 car:14-16=62", "car:short", Stop, "CAN high, pin 6 is the wire that is shorted to battery plus", "cross effect"},
		{"CAN low shorted to plus", "car:6-16=62 car:14-16=1", "car:short", Stop, "CAN low, pin 14 is the wire that is shorted to battery plus", "cross effect"},
		{"the adapter's resistor hides a missing one", "2-7=120 6-14=60", "car:hidden", Doubt, "hides a missing one", "ISO 11898-2"},
		{"alive", "car:6-5=2.7 car:14-5=2.3", "car:levels", Good, "Alive", "ISO 11898-2"},
		{"busy", "car:6-5=2.8 car:14-5=2.2", "car:levels", Good, "Alive", "ISO 11898-2"},
		{"quiet", "car:6-5=2.5 car:14-5=2.5", "car:levels", Note, "behind a gateway", "ISO 11898-2"},
		{"quiet, with chips of 3.3 V", "car:6-5=2.3 car:14-5=2.3", "car:levels", Note, "behind a gateway", "ISO 11898-2"},
		{"asleep", "car:6-5=0.1 car:14-5=0.1", "car:levels", Doubt, "Asleep", "ISO 11898-2"},
		{"low to ground", "car:6-5=1.2 car:14-5=0.02", "car:levels", Doubt, "CAN low is held to ground", "ISO 11898-2"},
		{"at battery", "car:6-5=12 car:14-5=2.5", "car:levels", Stop, "battery voltage", "ISO 11898-2"},
		{"too much together", "car:6-5=4 car:14-5=2.6", "car:levels", Stop, "battery voltage", "ISO 11898-2"},
		{"a slow bus", "car:6-5=0.3 car:14-5=4.7", "car:levels", Doubt, "slow bus", "ISO 11898-2"},
		{"crossed", "car:6-5=2.2 car:14-5=2.8", "car:levels", Doubt, "swapped", "ISO 11898-2"},
		{"a bad ground, below", "car:6-5=2.1 car:14-5=2.0", "car:levels", Doubt, "about 5 V", "ISO 11898-2"},
		{"a bad ground, above", "car:6-5=3.2 car:14-5=2.5", "car:levels", Doubt, "about 5 V", "ISO 11898-2"},
		{"far apart", "car:6-5=3.1 car:14-5=2.0", "car:levels", Note, "edge", "ISO 11898-2"},
		{"neither wire arrives", "6-7=OL 14-2=OL", "cable:crossed", Doubt, "may be swapped", "CiA 303-1"},
		{"a drop to the socket", "16-5=12.1 car:post=12.6", "car:drop", Doubt, "12.10 V, the battery 12.60 V", "practice"},
		{"a drop to the chassis ground", "16-4=12.2 car:post=12.6", "car:drop", Doubt, "12.20 V, the battery 12.60 V", "practice"},
		{"the chassis ground is bad", "16-5=12.6 16-4=11.9", "car:ground", Doubt, "at pin 4 is bad", "SAE J1962"},
		{"the signal ground is bad", "16-5=11.9 16-4=12.6", "car:ground", Doubt, "at pin 5 is bad", "SAE J1962"},
		{"one wire alone", "6-7=OL 14-2=0.4", "", "", "", ""},
		{"agreeing posts", "16-5=12.6 16-4=12.6 car:post=12.65", "", "", "", ""},
		{"ohms in a sleeping car", "car:6-5-asleep=0.02 car:14-5-asleep=0.01 car:6-14=60.4 2-7=OL", "", "", "", ""},
	} {
		var readings []Reading
		for _, f := range strings.Fields(c.readings) {
			key, value, _ := strings.Cut(f, "=")
			v, err := Parse(value)
			if err != nil {
				t.Fatal(err)
			}
			readings = append(readings, Reading{key, v})
		}
		got, err := All(readings)
		if err != nil {
			t.Fatal(err)
		}
		var cross []Verdict
		for _, v := range got {
			if len(v.With) > 0 {
				cross = append(cross, v)
			}
		}
		switch {
		case c.key == "" && len(cross) > 0:
			t.Errorf("%s: says %+v", c.name, cross)
		case c.key == "":
		case len(cross) != 1 || cross[0].Key != c.key || cross[0].Level != c.level || !strings.Contains(cross[0].Text, c.says) || !strings.Contains(cross[0].Source, c.source):
			t.Errorf("%s: says %+v", c.name, cross)
		case cross[0].Next == "" && c.level != Good && c.level != Note:
			t.Errorf("%s: no next step", c.name)
		default:
			hit[c.key] = true
		}
	}
	if len(hit) != len(crossChecks) {
		t.Errorf("%d of %d checks have a row: %v", len(hit), len(crossChecks), hit)
	}
}

func TestWiring(t *testing.T) {
	for _, c := range []struct {
		name  string
		w     Wiring
		level Level
		says  string
	}{
		{"plain", Plain(), Good, "CAN high: 6 to 7"},
		{"plain with chassis ground", Wiring{6: 7, 14: 2, 5: 3, 4: 6}, Good, "Chassis ground"},
		{"family A", FamilyA(), Doubt, "harmless only where"},
		{"family B", FamilyB(), Doubt, "does not fit"},
		{"crossed", Wiring{6: 2, 14: 7, 5: 3}, Doubt, "swapped"},
		{"no ground", Wiring{6: 7, 14: 2}, Doubt, "pin 5 goes nowhere"},
		{"plus on a data pin", Wiring{6: 7, 14: 2, 5: 3, 16: 2}, Stop, "Battery plus goes to pin 2"},
		{"a second bus on the data pin", Wiring{6: 7, 14: 2, 5: 3, 3: 7}, Doubt, "Pin 3"},
		{"nothing", Wiring{}, Doubt, "goes nowhere"},
	} {
		got := c.w.Check()
		var all []string
		for _, v := range got {
			all = append(all, v.Text)
			if v.Source == "" {
				t.Errorf("%s: %q has no source", c.name, v.Text)
			}
		}
		if Worst(got) != c.level || !strings.Contains(strings.Join(all, " "), c.says) {
			t.Errorf("%s: %s %q", c.name, Worst(got), all)
		}
	}
}

// TestBothWaysRound: a resistance that was measured with the probes swapped is the mean of both; more than 3 ohm between
// them is a voltage (common practice, no source).
func TestBothWaysRound(t *testing.T) {
	for text, want := range map[string]string{"60.4 / 60.8": "60.6 Ω", "60,4/60,8 ohm": "60.6 Ω", "0.3Ω / 0.5Ω": "0.4 Ω", "OL / OL": "open", "1k2/1201": "1.20 kΩ"} {
		if v, err := Parse(text); err != nil || v.String() != want {
			t.Errorf("%q: %s, %v, want %s", text, v, err, want)
		}
	}
	for text, why := range map[string]string{"60 / 64": "a voltage is present", "60 / OL": "a voltage is present", "1/2/3": "more than two", "60 /": "nothing is typed",
		"/": "nothing is typed", "12.4 V / 12.5 V": "only a resistance", "60 / x": "not a number"} {
		var wrong *ValueError
		if v, err := Parse(text); !errors.As(err, &wrong) || !strings.Contains(wrong.Why, why) {
			t.Errorf("%q: %s, %v, want %q", text, v, err, why)
		}
	}
}

func TestProbes(t *testing.T) {
	if v, ok := probes(Value{Number: 60}, Value{Number: 62}); !ok || v.Number != 61 {
		t.Error(v, ok)
	}
	if _, ok := probes(Value{Number: 60}, Value{Number: 64}); ok {
		t.Error("4 Ω apart, and no voltage suspected")
	}
	if _, ok := probes(Value{Number: 60}, Value{Open: true}); ok {
		t.Error("open one way only")
	}
	if v, ok := probes(Value{Open: true}, Value{Open: true}); !ok || !v.Open {
		t.Error(v, ok)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"60.4", "1k2", "OL", "> 2 MΩ", "0,3 ohm", "mΩ", "<<<1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := Parse(s)
		if err == nil && (math.IsNaN(v.Number) || math.IsInf(v.Number, 0)) {
			t.Errorf("%q is %v", s, v)
		}
		var e *ValueError
		if err != nil && !errors.As(err, &e) {
			t.Errorf("%q: %v", s, err)
		}
	})
}

// A wiring is kept with a car, and comes in with another's car file: whatever the text, pins that there are, or ErrWiring.
func FuzzWiring(f *testing.F) {
	for _, s := range []string{"", Plain().String(), FamilyA().String(), FamilyB().String(), "6-7 6-2", "17-1", "6-10", "0-1", "6", "6--7", "+6-7", "6-7\n14-2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		w, err := ParseWiring(s)
		if err != nil {
			if !errors.Is(err, ErrWiring) || w != nil {
				t.Fatalf("%q: %v, %v", s, w, err)
			}
			return
		}
		for from, to := range w {
			if from < 1 || from > SocketPins || to < 1 || to > PlugPins {
				t.Errorf("%q joins %d to %d", s, from, to)
			}
		}
		again, err := ParseWiring(w.String())
		if err != nil || !maps.Equal(again, w) {
			t.Errorf("%q becomes %q, which is %v, %v", s, w, again, err)
		}
		for _, v := range w.Check() {
			if v.Key == "" || v.Text == "" || v.Source == "" {
				t.Errorf("%q: %+v", s, v)
			}
		}
	})
}
