package cable

import (
	"fmt"
	"slices"
	"strings"
)

// Where a reading is taken.
type Where string

const (
	Bench   Where = "cable"   // the cable alone, unplugged at both ends
	Adapter Where = "adapter" // the adapter alone, unplugged
	Car     Where = "car"     // at the car's socket, adapter unplugged
)

// Spot is one thing that can be measured.
type Spot struct {
	Key   string // "cable:6-7", "car:6-14"
	Where Where
	From  string // a pin, or "post" and "body"
	To    string
	Unit  Unit
	Awake bool   // in the car: ignition on; else asleep
	What  string // a sentence for the owner
	bands []band
}

// Level says what a verdict means for going on.
type Level string

const (
	Good  Level = "good"  // as it should be
	Note  Level = "note"  // accepted; worth writing down
	Doubt Level = "doubt" // do what the next step says first
	Stop  Level = "stop"  // do not plug in
)

// Verdict is what a reading means.
type Verdict struct {
	Key    string   `json:"key"`
	Value  string   `json:"value"`
	Level  Level    `json:"level"`
	Text   string   `json:"text"` // what it means, one sentence
	Next   string   `json:"next"` // the one next step, "" when there is none
	Source string   `json:"source"`
	With   []string `json:"with,omitempty"` // for a cross-check: the readings it rests on
}

// KeyError means that a reading is named in a way that is not known.
type KeyError struct {
	Text string
}

func (e *KeyError) Error() string {
	return fmt.Sprintf("cable: there is no reading %q; examples are 6-7, cable:6-14, adapter:2-7, car:6-14, car:6-5", e.Text)
}

// Spots are all readings in the order in which they are taken.
func Spots() []Spot { return slices.Clone(spots) }

// plain are the readings that are meant when no place is named.
var plain = map[string]string{"6-7": "cable:6-7", "14-2": "cable:14-2", "5-3": "cable:5-3", "16-9": "cable:16-9", "2-7": "adapter:2-7",
	"6-14": "car:6-14", "16-5": "car:16-5", "16-4": "car:16-4"}

// SpotOf finds a reading by its key, whatever the order of its pins and the case of its letters. The error is a [*KeyError].
func SpotOf(text string) (Spot, error) {
	key := strings.ToLower(strings.Join(strings.Fields(text), ""))
	where, pins, named := strings.Cut(key, ":")
	if !named {
		where, pins = "", key
	}
	for _, p := range []string{pins, turned(pins)} {
		full := where + ":" + p
		if !named {
			full = plain[p]
		}
		for _, s := range spots {
			if s.Key == full {
				return s, nil
			}
		}
	}
	return Spot{}, &KeyError{text}
}

func turned(pins string) string {
	from, to, _ := strings.Cut(pins, "-")
	return to + "-" + from
}

// spots: resistance of the wires, insulation, the adapter's own resistor, the sleeping car, the car with ignition on.
var spots = []Spot{
	wire("6", "7", "CAN high, socket pin 6 to plug pin 7"),
	wire("14", "2", "CAN low, socket pin 14 to plug pin 2"),
	wire("5", "3", "Signal ground, socket pin 5 to plug pin 3"),
	{Key: "cable:6-14", Where: Bench, From: "6", To: "14", Unit: Ohm, What: "The two data wires, socket pin 6 to 14", bands: betweenWires},
	apart("6", "4"), apart("6", "5"), apart("14", "4"), apart("14", "5"),
	supplyApart("6"), supplyApart("14"), supplyApart("4"), supplyApart("5"),
	{Key: "cable:16-9", Where: Bench, From: "16", To: "9", Unit: Ohm, What: "Battery plus, socket pin 16 to plug pin 9", bands: supplyWire},
	{Key: "adapter:2-7", Where: Adapter, From: "2", To: "7", Unit: Ohm, What: "The adapter's own end resistor, plug pin 2 to 7", bands: ownResistor},
	{Key: "car:6-5-asleep", Where: Car, From: "6", To: "5", Unit: Volt, What: "Volts on pin 6 to pin 5, car asleep", bands: asleepVolts},
	{Key: "car:14-5-asleep", Where: Car, From: "14", To: "5", Unit: Volt, What: "Volts on pin 14 to pin 5, car asleep", bands: asleepVolts},
	{Key: "car:6-14", Where: Car, From: "6", To: "14", Unit: Ohm, What: "The two data wires in the car, pin 6 to 14, car asleep", bands: endResistors},
	lineToGround("6"), lineToGround("14"), lineToPlus("6"), lineToPlus("14"),
	{Key: "car:6-5", Where: Car, From: "6", To: "5", Unit: Volt, Awake: true, What: "Volts on pin 6 to pin 5, ignition on", bands: highVolts},
	{Key: "car:14-5", Where: Car, From: "14", To: "5", Unit: Volt, Awake: true, What: "Volts on pin 14 to pin 5, ignition on", bands: lowVolts},
	supply("5"), supply("4"),
	{Key: "car:post", Where: Car, From: "post", To: "post", Unit: Volt, Awake: true, What: "Volts at the posts of the 12 V battery", bands: supplyVolts},
	bodyVolts("4"), bodyVolts("5"),
}

func wire(from, to, what string) Spot {
	return Spot{Key: "cable:" + from + "-" + to, Where: Bench, From: from, To: to, Unit: Ohm, What: what, bands: wireOhms}
}

func apart(from, to string) Spot {
	return Spot{Key: "cable:" + from + "-" + to, Where: Bench, From: from, To: to, Unit: Ohm, What: fmt.Sprintf("Nothing may join pin %s and pin %s of the socket end", from, to), bands: insulation}
}

func supplyApart(to string) Spot {
	return Spot{Key: "cable:16-" + to, Where: Bench, From: "16", To: to, Unit: Ohm, What: fmt.Sprintf("Nothing may join battery plus, pin 16, and pin %s", to), bands: supplyInsulation}
}

func lineToGround(pin string) Spot {
	return Spot{Key: "car:" + pin + "-5-ohm", Where: Car, From: pin, To: "5", Unit: Ohm, What: fmt.Sprintf("Pin %s to ground, pin 5, car asleep", pin), bands: toGround}
}

func lineToPlus(pin string) Spot {
	return Spot{Key: "car:" + pin + "-16", Where: Car, From: pin, To: "16", Unit: Ohm, What: fmt.Sprintf("Pin %s to battery plus, pin 16, car asleep", pin), bands: toGround}
}

func supply(to string) Spot {
	return Spot{Key: "car:16-" + to, Where: Car, From: "16", To: to, Unit: Volt, Awake: true, What: fmt.Sprintf("Battery plus, pin 16, to ground, pin %s", to), bands: supplyVolts}
}

func bodyVolts(pin string) Spot {
	return Spot{Key: "car:" + pin + "-body", Where: Car, From: pin, To: "body", Unit: Volt, Awake: true, What: fmt.Sprintf("Ground, pin %s, to a bare bolt of the body", pin), bands: groundVolts}
}
