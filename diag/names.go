package diag

import (
	"strings"
	"unicode"

	"readback/diag/garage"
	"readback/diag/link"
)

// customary names the modules that usually listen at the identifiers that ISO 15765-4 sets aside (common practice,
// no source beyond 7E0 and 7E1).
var customary = map[uint32]string{
	0x7E0: "Engine or drive",
	0x7E1: "Gearbox",
	0x7E4: "Battery or hybrid",
}

// nameModule gives a module its name: what it calls itself (22 F197), else what is customary, else its identifier.
func nameModule(m *garage.Module) {
	switch own := plainName(m.Identification["F197"]); {
	case own != "":
		m.Name, m.NameSource = own, "read from the module"
	case !m.Request.Extended && customary[m.Request.Value] != "":
		m.Name, m.NameSource = customary[m.Request.Value], "common practice"
	default:
		m.Name, m.NameSource = "Module "+shortID(m.Request), "its identifier"
	}
	m.Safety = safetyName(m.Name)
}

func shortID(id link.ID) string { return id.String() }

// plainName turns a name plate such as "CHARGING " into "Charging".
func plainName(s string) string {
	s = strings.TrimFunc(s, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	if len(s) < 2 {
		return ""
	}
	if s != strings.ToUpper(s) {
		return s
	}
	return s[:1] + strings.ToLower(s[1:])
}

// safetyWords mark modules whose codes a workshop should see before anything is cleared.
var safetyWords = []string{"brake", "abs", "airbag", "restraint", "belt", "steering", "battery", "isolation", "high voltage", "inverter"}

func safetyName(name string) bool {
	name = strings.ToLower(name)
	for _, w := range safetyWords {
		if strings.Contains(name, w) {
			return true
		}
	}
	return false
}
