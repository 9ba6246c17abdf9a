package diag

import (
	"fmt"
	"strings"

	"readback/diag/dtc"
	"readback/diag/garage"
)

// Patterns are what several codes of the newest record say together.
func (v *Visit) Patterns() []Pattern {
	r, ok := v.Record()
	if !ok {
		return nil
	}
	return Patterns(r)
}

// Patterns reads the patterns of one record.
func Patterns(r garage.Visit) []Pattern {
	out := []Pattern{}
	if p, ok := flatBattery(r); ok {
		out = append(out, p)
	}
	if p, ok := untested(r); ok {
		out = append(out, p)
	}
	return out
}

// flatBattery: at least three codes about lost messages or supply, in at least two modules, none of them there now
// (the pattern test of the trade: common practice).
func flatBattery(r garage.Visit) (Pattern, bool) {
	p := Pattern{Key: "flat-battery"}
	modules := map[string]bool{}
	for _, m := range r.Modules {
		for _, c := range m.Codes {
			if c.Status == nil || !faulty(m, c) || !waveCode(c.Code) {
				continue
			}
			if thereNow(m, c) {
				continue
			}
			modules[m.Name] = true
			p.Codes = append(p.Codes, m.Name+" "+c.Code.String())
		}
	}
	if len(p.Codes) < 3 || len(modules) < 2 {
		return p, false
	}
	p.Text = fmt.Sprintf("%d codes in %d modules look like a flat-battery wave: the modules missed each other or their supply, and all of them only remember it. Charge and test the 12 V battery first.", len(p.Codes), len(modules))
	return p, true
}

// waveCode: lost contact, invalid data and supply codes of the standard.
func waveCode(c dtc.Code) bool {
	name := c.Name()
	if c.Origin() != dtc.Standard {
		return false
	}
	for _, prefix := range []string{"U00", "U01", "U02", "U04", "U300", "P056"} {
		if strings.HasPrefix(name, prefix) {
			return true
		}
	}
	return false
}

// untested: entries that have no result yet are no faults, but they make a list longer after an erase.
func untested(r garage.Visit) (Pattern, bool) {
	p := Pattern{Key: "no-result"}
	for _, m := range r.Modules {
		for _, c := range m.Codes {
			if !faulty(m, c) {
				p.Codes = append(p.Codes, m.Name+" "+c.Code.String())
			}
		}
	}
	if len(p.Codes) == 0 {
		return p, false
	}
	p.Text = fmt.Sprintf("%d entries have no result yet: the module has not tested them since they were erased or since switching on. They are not counted as faults.", len(p.Codes))
	return p, true
}
