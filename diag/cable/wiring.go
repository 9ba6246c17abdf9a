package cable

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// Wiring tells which pin of the 9-pin plug each pin of the 16-pin socket is joined to.
type Wiring map[int]int

// Pins of the two ends.
const (
	SocketPins = 16
	PlugPins   = 9
)

// Pins whose meaning the standards set.
const (
	socketGround, socketSignal, socketHigh, socketLow, socketPlus = 4, 5, 6, 14, 16
	plugLow, plugGround, plugOther, plugHigh, plugPlus            = 2, 3, 6, 7, 9
)

// Plain is the cable for a CAN plug after CiA 303-1: two data wires and ground.
func Plain() Wiring {
	return Wiring{socketHigh: plugHigh, socketLow: plugLow, socketSignal: plugGround}
}

// FamilyA and FamilyB are the two kinds of ready-made cables that are sold (product pages of two electronics shops).
// A fits a CAN plug after CiA 303-1; B does not.
func FamilyA() Wiring { return Wiring{11: 1, 14: 2, 5: 3, 8: 4, 1: 5, 6: 7, 3: 8, 16: 9} }
func FamilyB() Wiring { return Wiring{5: 1, 4: 2, 6: 3, 7: 4, 14: 5, 10: 6, 2: 7, 15: 8, 16: 9} }

// socketNames and plugNames are what the pins are for. A pin that is not named is the maker's choice, or reserved.
var (
	socketNames = map[int]string{2: "J1850 bus +", 4: "chassis ground", 5: "signal ground", 6: "CAN high", 7: "K line", 10: "J1850 bus -", 14: "CAN low", 15: "L line", 16: "battery plus"}
	plugNames   = map[int]string{2: "CAN low", 3: "CAN ground", 5: "shield", 6: "ground", 7: "CAN high", 9: "supply"}
)

// socketName and plugName are what a pin is for.
func socketName(pin int) string {
	if s, ok := socketNames[pin]; ok {
		return s
	}
	return "the maker's choice"
}

func plugName(pin int) string {
	if s, ok := plugNames[pin]; ok {
		return s
	}
	return "reserved"
}

// Check judges where the wires of a cable go, for an adapter with a CAN plug after CiA 303-1.
func (w Wiring) Check() []Verdict {
	var out []Verdict
	say := func(key string, l Level, source, next, format string, args ...any) {
		out = append(out, Verdict{Key: key, Level: l, Text: fmt.Sprintf(format, args...), Next: next, Source: source})
	}
	wires := []struct {
		name     string
		from, to int
	}{{"CAN high", socketHigh, plugHigh}, {"CAN low", socketLow, plugLow}, {"Ground", socketSignal, plugGround}}
	crossed := w[socketHigh] == plugLow && w[socketLow] == plugHigh
	if crossed {
		say("wiring:crossed", Doubt, plug, "Swap the two wires at one end.", "The two data wires are swapped: pin 6 goes to 2 and pin 14 to 7. Nothing breaks, but nothing is heard.")
	}
	if maps.Equal(w, FamilyB()) {
		say("wiring:family", Doubt, "product pages of two electronics shops", "Use a cable wired 6 to 7, 14 to 2 and 5 to 3.", "This is the kind of cable that puts CAN high on the adapter's ground pin. It does not fit a CAN plug.")
	}
	for _, x := range wires {
		to, ok := w[x.from]
		switch {
		case ok && to == x.to:
			say(fmt.Sprintf("wiring:%d", x.from), Good, plug, "", "%s: %d to %d, as it should be.", x.name, x.from, x.to)
		case crossed && x.from != socketSignal:
		case ok:
			say(fmt.Sprintf("wiring:%d", x.from), Doubt, plug, fmt.Sprintf("Move it to pin %d.", x.to), "%s: %d goes to %d (%s).", x.name, x.from, to, plugName(to))
		default:
			say(fmt.Sprintf("wiring:%d", x.from), Doubt, plug, fmt.Sprintf("Join pin %d and pin %d.", x.from, x.to), "%s: pin %d goes nowhere.", x.name, x.from)
		}
	}
	for _, from := range slices.Sorted(maps.Keys(w)) {
		to := w[from]
		switch {
		case slices.Contains([]int{socketHigh, socketLow, socketSignal}, from):
		case from == socketPlus && to == plugPlus:
			say("wiring:16", Doubt, plug, "Cut this wire unless the adapter is powered by the car; then put a fuse of 1 A into it.", "Battery plus goes to pin 9 of the plug. That is harmless only where the adapter leaves its pin 9 open.")
		case from == socketPlus:
			say("wiring:16", Stop, pins, "Do not plug it in. Cut this wire.", "Battery plus goes to pin %d (%s).", to, plugName(to))
		case from == socketGround && (to == plugOther || to == plugGround):
			say("wiring:4", Good, plug, "", "Chassis ground: 4 to %d.", to)
		case to == plugHigh || to == plugLow || to == plugGround:
			say(fmt.Sprintf("wiring:%d", from), Doubt, pins, "Cut this wire at the 16-pin end.", "Pin %d (%s) goes to pin %d, which is %s.", from, socketName(from), to, plugName(to))
		default:
			say(fmt.Sprintf("wiring:%d", from), Note, pins, "Cut wires that are not used, at the 16-pin end.", "Pin %d (%s) is joined to pin %d.", from, socketName(from), to)
		}
	}
	return out
}

// Cautions come before any measuring.
func Cautions() []string {
	return []string{
		"Never plug a CAN cable into a serial (RS-232) port, nor into a lead from USB to RS-232. The plug has the same shape, and its voltages can destroy modules in the car.",
		"Pin 16 always carries battery plus. Never bridge it to a neighbour, and never use the amps or ohms range on it.",
		"Never touch orange parts, connectors or covers. Disconnecting the 12 V battery does not make high voltage safe.",
		"Set the meter before you touch a pin. Thin probes only: thick ones spread the contacts.",
	}
}

// String is the wiring as pairs of pins, of the socket and of the plug: "5-3 6-7 14-2".
func (w Wiring) String() string {
	var pairs []string
	for _, from := range slices.Sorted(maps.Keys(w)) {
		pairs = append(pairs, fmt.Sprintf("%d-%d", from, w[from]))
	}
	return strings.Join(pairs, " ")
}

// ErrWiring means that a text is no wiring.
var ErrWiring = errors.New("cable: no wiring of a 16-pin socket and a 9-pin plug")

// ParseWiring reads what [Wiring.String] writes. Each pin of the socket is joined to one of the plug at the most.
func ParseWiring(text string) (Wiring, error) {
	w := Wiring{}
	for _, pair := range strings.Fields(text) {
		a, b, ok := strings.Cut(pair, "-")
		from, err1 := strconv.Atoi(a)
		to, err2 := strconv.Atoi(b)
		if _, twice := w[from]; !ok || twice || errors.Join(err1, err2) != nil || from < 1 || from > SocketPins || to < 1 || to > PlugPins {
			return nil, fmt.Errorf("%w: %q", ErrWiring, pair)
		}
		w[from] = to
	}
	return w, nil
}
