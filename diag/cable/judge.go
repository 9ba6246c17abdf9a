package cable

import (
	"fmt"
	"math"
)

// Judge tells what one reading means. A value without a unit is taken in the unit of the spot; one with another unit
// is refused with a [*ValueError].
func Judge(s Spot, v Value) (Verdict, error) {
	if v.Unit == "" {
		v.Unit = s.Unit
	}
	if v.Unit != s.Unit {
		return Verdict{}, &ValueError{v.String(), fmt.Sprintf("%s is measured in %s", s.Key, s.Unit)}
	}
	if v.Open && s.Unit == Volt {
		return Verdict{}, &ValueError{v.String(), "a meter that measures volts does not show this"}
	}
	n := v.Number
	if v.Open {
		n = math.Inf(1)
	}
	b := s.bands[len(s.bands)-1]
	for _, x := range s.bands {
		if n < x.below {
			b = x
			break
		}
	}
	return Verdict{Key: s.Key, Value: v.String(), Level: b.level, Text: b.text, Next: b.next, Source: b.source}, nil
}

// Reading is one reading with its name.
type Reading struct {
	Key   string `json:"key"`
	Value Value  `json:"-"`
}

// All judges readings one by one and together, in the order in which they are taken. What the readings say together
// stands at the end. The error is a [*KeyError] or a [*ValueError].
func All(readings []Reading) ([]Verdict, error) {
	given := map[string]Value{}
	for _, r := range readings {
		s, err := SpotOf(r.Key)
		if err != nil {
			return nil, err
		}
		given[s.Key] = r.Value
	}
	var out []Verdict
	for _, s := range spots {
		v, ok := given[s.Key]
		if !ok {
			continue
		}
		one, err := Judge(s, v)
		if err != nil {
			return nil, err
		}
		out = append(out, one)
	}
	for _, check := range crossChecks {
		if v, ok := check(given); ok {
			out = append(out, v)
		}
	}
	return out, nil
}

// Worst is the gravest level of verdicts, [Good] for none.
func Worst(verdicts []Verdict) Level {
	rank := map[Level]int{Good: 0, Note: 1, Doubt: 2, Stop: 3}
	worst := Good
	for _, v := range verdicts {
		if rank[v.Level] > rank[worst] {
			worst = v.Level
		}
	}
	return worst
}

// crossChecks are what two or more readings say together.
var crossChecks = []func(map[string]Value) (Verdict, bool){awakeWhileOhms, shortToGround, adapterHides, levelsTogether, wiresSwapped, supplyAtPost, noGround}

func both(given map[string]Value, a, b string) (x, y float64, ok bool) {
	va, okA := given[a]
	vb, okB := given[b]
	return va.Number, vb.Number, okA && okB && !va.Open && !vb.Open
}

// awakeWhileOhms: ohms mean nothing while the bus is awake.
func awakeWhileOhms(given map[string]Value) (Verdict, bool) {
	_, measured := given["car:6-14"]
	for _, key := range []string{"car:6-5-asleep", "car:14-5-asleep"} {
		if v, ok := given[key]; ok && measured && v.Number >= 0.2 {
			return Verdict{Key: "car:awake", Level: Doubt, Text: "The car was awake while the ohms were measured, so the ohms mean nothing.", Next: repeatAsleep, Source: practice, With: []string{key, "car:6-14"}}, true
		}
	}
	return Verdict{}, false
}

// shortToGround: where one wire is shorted, the other reads about 60 Ω through the end resistors.
func shortToGround(given map[string]Value) (Verdict, bool) {
	for _, to := range []string{"-5-ohm", "-16"} {
		high, low, ok := both(given, "car:6"+to, "car:14"+to)
		if !ok {
			continue
		}
		ground := map[string]string{"-5-ohm": "ground", "-16": "battery plus"}[to]
		for _, c := range []struct {
			name       string
			this, that float64
		}{{"CAN high, pin 6", high, low}, {"CAN low, pin 14", low, high}} {
			if c.this >= 0 && c.this < 10 && c.that >= 35 && c.that < 135 {
				return Verdict{Key: "car:short", Level: Stop, Text: fmt.Sprintf("%s is the wire that is shorted to %s. The other one is only seen through the end resistors.", c.name, ground),
					Next: "Pull out everything you added and measure again; if it stays, a workshop.", Source: "published service information: the cross effect", With: []string{"car:6" + to, "car:14" + to}}, true
			}
		}
	}
	return Verdict{}, false
}

// adapterHides: a resistor in the adapter can make a car with one resistor look right, and a right one look too low.
func adapterHides(given map[string]Value) (Verdict, bool) {
	own, car, ok := both(given, "adapter:2-7", "car:6-14")
	if !ok || own < 50 || own > 130 || car < 50 || car > 70 {
		return Verdict{}, false
	}
	return Verdict{Key: "car:hidden", Level: Doubt, Text: "The adapter's own end resistor is on. If it was plugged in while the car was measured, this value hides a missing one.",
		Next: "Unplug the adapter and measure the car again.", Source: resistors, With: []string{"adapter:2-7", "car:6-14"}}, true
}

// levelsTogether judges the two voltages of a bus that is awake by their sum and their difference.
func levelsTogether(given map[string]Value) (Verdict, bool) {
	high, low, ok := both(given, "car:6-5", "car:14-5")
	if !ok {
		return Verdict{}, false
	}
	v := Verdict{Key: "car:levels", Source: levels, With: []string{"car:6-5", "car:14-5"}, Level: Doubt}
	sum, apart := high+low, high-low
	switch {
	case high > 5.05 || low > 5.05 || sum > 6.5:
		v.Level, v.Text, v.Next = Stop, "A data wire carries battery voltage.", "Unplug everything at once."
	case high < 0.3 && low < 0.3:
		v.Text, v.Next = "Asleep, or both wires are held to ground.", "Wake the car: ignition on, wait 20 seconds, measure again. If it stays, measure each wire to ground in ohms."
	case high < 0.6 && low >= 4.5:
		v.Text, v.Next = "This is a slow bus of another kind, which rests at 0 and 5 V.", "Do not connect: the adapter is not made for it."
	case low < 0.1 && high < 2:
		v.Text, v.Next = "CAN low is held to ground. Such a bus works badly or not at all.", "Pull out everything you added and measure again; if it stays, a workshop."
	case apart < -0.2:
		v.Text, v.Next = "The two wires are swapped, or the probes are.", "Check which probe is on pin 6, then the wires of the cable."
	case sum < 4.5 || sum > 5.5:
		v.Text, v.Next = "The two together should make about 5 V. A bad ground, a wrong pin, or a damaged module.", "Measure again against pin 4."
	case math.Abs(apart) < 0.05:
		v.Level, v.Text, v.Next = Note, "Awake and quiet, which is usual behind a gateway; or the two wires touch.", "Measure the ohms between 6 and 14 with the car asleep."
	case sum < 4.6 || sum > 5.4 || apart > 1.0:
		v.Level, v.Text = Note, "Awake, at the edge of what is usual."
	default:
		v.Level, v.Text = Good, "Alive, with traffic."
	}
	return v, true
}

// wiresSwapped: the wires of the cable are crossed when each is joined to the other's pin; seen as two open wires
// between ends that do not touch.
func wiresSwapped(given map[string]Value) (Verdict, bool) {
	open := func(key string) bool {
		v, ok := given[key]
		return ok && (v.Open || v.Number > 10)
	}
	if !open("cable:6-7") || !open("cable:14-2") {
		return Verdict{}, false
	}
	return Verdict{Key: "cable:crossed", Level: Doubt, Text: "Neither data wire reaches its pin. The two may be swapped, or the cable is wired for another kind of plug.",
		Next: "Measure pin 6 and pin 14 to every pin of the plug and write down where each one goes.", Source: plug, With: []string{"cable:6-7", "cable:14-2"}}, true
}

// supplyAtPost: the socket should show what the battery has.
func supplyAtPost(given map[string]Value) (Verdict, bool) {
	for _, key := range []string{"car:16-5", "car:16-4"} {
		pin, post, ok := both(given, key, "car:post")
		if ok && pin > 1 && math.Abs(pin-post) > 0.1+1e-9 {
			return Verdict{Key: "car:drop", Level: Doubt, Text: fmt.Sprintf("The socket shows %.2f V, the battery %.2f V. They should agree within 0.1 V.", pin, post),
				Next: "Look at the fuse and at the ground pins 4 and 5.", Source: practice, With: []string{key, "car:post"}}, true
		}
	}
	return Verdict{}, false
}

// noGround: one ground pin without the other.
func noGround(given map[string]Value) (Verdict, bool) {
	five, four, ok := both(given, "car:16-5", "car:16-4")
	if !ok || math.Abs(five-four) <= 0.1+1e-9 {
		return Verdict{}, false
	}
	bad := "5"
	if four < five {
		bad = "4"
	}
	return Verdict{Key: "car:ground", Level: Doubt, Text: fmt.Sprintf("Pin 4 and pin 5 differ: the ground at pin %s is bad.", bad),
		Next: "Look for a bent contact; if it stays, a workshop.", Source: pins, With: []string{"car:16-5", "car:16-4"}}, true
}

// probes takes the mean of a reading and the same one with the probes swapped. They should differ by no more than 3 Ω:
// more means that a voltage is present, and ok is false.
func probes(a, b Value) (mean Value, ok bool) {
	if a.Open || b.Open {
		return Value{Open: a.Open && b.Open, Unit: Ohm, Number: math.Min(a.Number, b.Number)}, a.Open == b.Open
	}
	return Value{Number: (a.Number + b.Number) / 2, Unit: Ohm}, math.Abs(a.Number-b.Number) <= 3
}
