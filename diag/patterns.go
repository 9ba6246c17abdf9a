package diag

import (
	"fmt"
	"slices"
	"strings"

	"readback/diag/dtc"
	"readback/diag/garage"
)

// Keys of the patterns.
const (
	PatternSupply   = "supply-low"         // the 12 V supply is too low while the car is read
	PatternSilent   = "silent-module"      // several modules miss one that did not answer
	PatternMissed   = "missed-but-answers" // several modules miss one that did answer
	PatternUnclear  = "missed-module"      // several modules miss one, and which one that is can't be told
	PatternBattery  = "flat-battery"
	PatternBefore   = "missed-before" // several modules remember to have missed one
	PatternEvent    = "one-event"     // many codes with the same odometer reading or time
	PatternSameCode = "same-code"     // one code in several modules
	PatternNoResult = "no-result"     // entries that have not been tested yet
)

// Patterns are what several codes of the newest record say together.
func (v *Visit) Patterns() []Pattern {
	r, ok := v.Record()
	if !ok {
		return nil
	}
	return Patterns(r)
}

// Patterns reads the patterns of one record, those first that concern what is the matter now. It is pure.
func Patterns(r garage.Visit) []Pattern {
	held := faultsOf(r)
	out := []Pattern{}
	add := func(p Pattern, ok bool) {
		if ok {
			out = append(out, p)
		}
	}
	add(supplyLow(r, held))
	out = append(out, missedNow(r, held)...)
	wave, ok := flatBattery(held)
	add(wave, ok)
	if !ok {
		wave = Pattern{}
		out = append(out, missedBefore(r, held)...)
	}
	out = append(out, oneEvent(held, wave.Codes)...)
	var told []string
	for _, p := range out {
		told = append(told, p.Codes...)
	}
	add(sameCode(held, told))
	add(untested(r))
	return out
}

// holding is a fault with the module that holds it.
type holding struct {
	module garage.Module
	code   garage.CodeRecord
	now    bool // its last test had failed
}

func (h holding) String() string { return h.module.Name + " " + h.code.Code.String() }

// faultsOf are the faults of a record, in its order.
func faultsOf(r garage.Visit) (out []holding) {
	for _, m := range r.Modules {
		for _, c := range m.Codes {
			if faulty(m, c) {
				out = append(out, holding{m, c, thereNow(m, c)})
			}
		}
	}
	return out
}

// where are the holdings that fit.
func where(held []holding, fits func(holding) bool) (out []holding) {
	for _, h := range held {
		if fits(h) {
			out = append(out, h)
		}
	}
	return out
}

// modulesOf counts the modules that hold them, told apart by their address.
func modulesOf(held []holding) int {
	seen := map[string]bool{}
	for _, h := range held {
		seen[h.module.Request.String()+" "+h.module.Answer.String()] = true
	}
	return len(seen)
}

func namesOf(held []holding) []string {
	out := make([]string, len(held))
	for i, h := range held {
		out[i] = h.String()
	}
	return out
}

// sameCode: one code in several modules has mostly one cause, outside of them.
func sameCode(held []holding, told []string) (Pattern, bool) {
	p := Pattern{Key: PatternSameCode, Codes: []string{}, Source: byPractice}
	byCode := map[string][]holding{}
	var order []string
	for _, h := range held {
		name := h.code.Code.Name()
		if slices.Contains(told, h.String()) {
			continue
		}
		if byCode[name] == nil {
			order = append(order, name)
		}
		byCode[name] = append(byCode[name], h)
	}
	var said []string
	for _, name := range order {
		if n := modulesOf(byCode[name]); n > 1 {
			said = append(said, fmt.Sprintf("%s in %d modules", name, n))
			p.Codes = append(p.Codes, namesOf(byCode[name])...)
		}
	}
	if len(said) == 0 {
		return p, false
	}
	const most = 5
	if len(said) > most {
		said = append(said[:most], fmt.Sprintf("%d more", len(said)-most))
	}
	p.Text = "The same code stands in several modules: " + strings.Join(said, ", ") + ". Mostly that is one cause that all of them see, and not a fault in each."
	p.Next = "Look for what these modules share: a sensor, a supply, a message. Show the list to a workshop as one matter."
	return p, true
}

// untested: entries that have no result yet are no faults, but they make a list longer after an erase.
func untested(r garage.Visit) (Pattern, bool) {
	p := Pattern{Key: PatternNoResult, Codes: []string{}, Source: "ISO 14229-1 annex D.2, bits 4 and 6 of the status"}
	for _, m := range r.Modules {
		for _, c := range m.Codes {
			if !faulty(m, c) && c.Status != nil && *c.Status&available(m)&(dtc.TestNotCompletedSinceLastClear|dtc.TestNotCompletedThisOperationCycle) != 0 {
				p.Codes = append(p.Codes, m.Name+" "+c.Code.String())
			}
		}
	}
	if len(p.Codes) == 0 {
		return p, false
	}
	p.Text = fmt.Sprintf("%s no result yet: the module has not tested them since they were erased or since switching on. They are not counted as faults.", have(len(p.Codes), "entry has", "entries have"))
	p.Next = "Drive as on any other day, then read the car again."
	return p, true
}

// have is a number with the words for one or for several.
func have(n int, one, several string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, several)
}
