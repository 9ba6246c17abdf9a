package diag

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"readback/diag/dtc"
	"readback/diag/garage"
)

// Figures in volts for a 12 V supply (rest voltages and limits of common practice).
const (
	// lowVolts is what a supply has to have while a car is read.
	lowVolts = 12.2
	// flatVolts in a snapshot tell that the battery was flat, or that its supply broke down.
	flatVolts = 11.5
)

// Codes of the standard about the 12 V supply, named from memory of SAE J2012.
var supplyCodes = []string{"P0560", "P0561", "P0562", "P0563", "U3003", "U3006"}

// supplyCode: a code of the standard about the supply, high ones too.
func supplyCode(c dtc.Code) bool {
	return c.Origin() == dtc.Standard && slices.Contains(supplyCodes, c.Name())
}

// lowCode: a supply code that says that the supply is too low: P0562 does by its name, the others by the failure types
// 16 and A2, of which A2 is from memory.
func lowCode(c dtc.Code) bool {
	_, failure, _ := strings.Cut(c.String(), "-")
	return supplyCode(c) && (c.Name() == "P0562" || failure == "16" || failure == "A2")
}

// waveCode: a code that a flat 12 V battery leaves behind: bus off, lost contact, invalid data, and supply.
func waveCode(c dtc.Code) bool {
	if c.Origin() != dtc.Standard {
		return false
	}
	if supplyCode(c) {
		return true
	}
	return slices.ContainsFunc([]string{"U00", "U01", "U02", "U04"}, func(p string) bool { return strings.HasPrefix(c.Name(), p) })
}

// supplyLow: the supply is too low while the car is read. Codes that are there now can come from that alone.
func supplyLow(r garage.Visit, held []holding) (Pattern, bool) {
	now := where(held, func(h holding) bool { return h.now && lowCode(h.code.Code) })
	p := Pattern{Key: PatternSupply, Codes: namesOf(now), Source: byPractice + "; names of the codes: SAE J2012"}
	measured := r.Supply > 0
	low := measured && r.Supply < lowVolts
	switch {
	case low:
		p.Text = fmt.Sprintf("The 12 V supply had %.1f V while the car was read. That is too low: modules may fail to answer, and may store codes that are not about them.", r.Supply)
		if n := len(now); n > 0 {
			p.Text += fmt.Sprintf(" %s so too, now.", have(n, "code says", "codes say"))
		}
		p.Next = "Charge the 12 V battery, or connect a charger that supports it, then read the car again before believing any other code."
	case len(now) == 0:
		return p, false
	case measured:
		p.Text = fmt.Sprintf("%s that the supply is too low now, and at the socket there were %.1f V. So it gets lost on the way to the module.", have(len(now), "code says", "codes say"), r.Supply)
		p.Next = "Have the fuse, the wires and the ground of " + heldBy(now) + " measured."
	default:
		p.Text = fmt.Sprintf("%s that the supply is too low now. Other codes may come from that.", have(len(now), "code says", "codes say"))
		p.Next = "Measure the 12 V battery with a meter, charge it if it has less than 12.4 V, then read the car again."
	}
	return p, true
}

// heldBy names the modules that hold these, each once.
func heldBy(held []holding) string {
	var names []string
	for _, h := range held {
		if !slices.Contains(names, h.module.Name) {
			names = append(names, h.module.Name)
		}
	}
	return listed(names)
}

// listed joins names: "A", "A and B", "A, B and C".
func listed(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// flatBattery: at least three codes about lost messages or supply, in at least two modules, none of them there now, of
// one odometer reading where that was kept. Codes that all miss the same module, without a trace of a low supply, say
// something about that module instead.
func flatBattery(held []holding) (Pattern, bool) {
	p := Pattern{Key: PatternBattery, Codes: []string{}, Source: byPractice}
	wave := where(held, func(h holding) bool { return h.code.Status != nil && !h.now && waveCode(h.code.Code) })
	at, wave := oneReading(wave)
	modules := modulesOf(wave)
	if len(wave) < 3 || modules < 2 {
		return p, false
	}
	least, kept := lowestSupply(wave)
	spoken := slices.ContainsFunc(wave, func(h holding) bool { return supplyCode(h.code.Code) })
	if !spoken && !(kept && least < flatVolts) && oneMissed(wave) {
		return p, false
	}
	p.Codes = namesOf(wave)
	p.Text = fmt.Sprintf("%d codes in %d modules look like a flat-battery wave: the modules missed each other or their supply, and all of them only remember it.", len(wave), modules)
	if at != "" {
		p.Text += " What was kept with them is from one time, at " + at + "."
	}
	switch {
	case kept && least < flatVolts:
		p.Text += fmt.Sprintf(" The supply had %.1f V then.", least)
	case !spoken:
		p.Text += " None of them names the supply, so work on the battery or a plug may also have caused it."
	}
	p.Next = "Charge and test the 12 V battery first."
	return p, true
}

// oneReading keeps those of the odometer reading that most of them share, and those without any.
func oneReading(held []holding) (at string, out []holding) {
	groups := byReading(held, odometerOf)
	if len(groups) == 0 {
		return "", held
	}
	at = groups[0].text
	return at, where(held, func(h holding) bool {
		all := odometerOf(h.code)
		return len(all) == 0 || slices.Contains(all, at)
	})
}

// oneEvent: at least three codes, in at least two modules, with one odometer reading or one time, apart from those that
// another pattern rests on.
func oneEvent(held []holding, told []string) []Pattern {
	out := []Pattern{}
	for _, by := range []struct {
		of   func(garage.CodeRecord) []string
		what string
	}{{odometerOf, "odometer reading"}, {timeOf, "time"}} {
		rest := where(held, func(h holding) bool { return !slices.Contains(told, h.String()) })
		for _, g := range byReading(rest, by.of) {
			if len(g.held) < 3 || modulesOf(g.held) < 2 {
				continue
			}
			p := Pattern{Key: PatternEvent, Codes: namesOf(g.held), Source: byPractice}
			p.Text = fmt.Sprintf("%d codes in %d modules were stored at the same %s, %s. Mostly that is one event, and not a fault in each module.", len(g.held), modulesOf(g.held), by.what, g.text)
			p.Next = "Remember what happened then: a flat battery, a repair, water, a knock. Tell the workshop that, and the " + by.what + "."
			out = append(out, p)
			told = append(told, p.Codes...)
		}
	}
	return out
}

// reading is a text that was kept with codes, and those that it was kept with.
type reading struct {
	text string
	held []holding
}

// byReading groups by what was kept, the largest group first; of equals, the one that was met first.
func byReading(held []holding, of func(garage.CodeRecord) []string) (out []reading) {
	for _, h := range held {
		for _, text := range of(h.code) {
			i := slices.IndexFunc(out, func(r reading) bool { return r.text == text })
			if i < 0 {
				out, i = append(out, reading{text: text}), len(out)
			}
			out[i].held = append(out[i].held, h)
		}
	}
	slices.SortStableFunc(out, func(a, b reading) int { return len(b.held) - len(a.held) })
	return out
}

// Identifiers of SAE J1979-2 (parameter A6 is the odometer, 42 the supply of the module); the mapping is from memory.
const (
	idOdometer uint16 = 0xF4A6
	idSupply   uint16 = 0xF442
)

func odometerOf(c garage.CodeRecord) []string {
	return keptTexts(c, func(v garage.Value) bool { return v.Identifier == idOdometer || hasWord(v.Name, "odometer") })
}

// timeOf are dates and clock times. A time since switching on tells nothing: it begins anew each time.
func timeOf(c garage.CodeRecord) []string {
	return keptTexts(c, func(v garage.Value) bool { return hasWord(v.Name, "date") || hasWord(v.Name, "clock") })
}

// keptTexts are the texts of the values that fit, in all snapshots of a code, each once.
func keptTexts(c garage.CodeRecord, fits func(garage.Value) bool) (out []string) {
	for _, s := range c.Snapshots {
		for _, v := range s.Values {
			if v.Text != "" && fits(v) && !slices.Contains(out, v.Text) {
				out = append(out, v.Text)
			}
		}
	}
	return out
}

// lowestSupply is the lowest supply in volts that was kept with codes.
func lowestSupply(held []holding) (least float64, kept bool) {
	for _, h := range held {
		for _, text := range keptTexts(h.code, func(v garage.Value) bool { return v.Identifier == idSupply || hasWord(v.Name, "supply") }) {
			number, unit, _ := strings.Cut(text, " ")
			volts, err := strconv.ParseFloat(number, 64)
			if err != nil || unit != "V" {
				continue
			}
			if !kept || volts < least {
				least, kept = volts, true
			}
		}
	}
	return least, kept
}
