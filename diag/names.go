package diag

import (
	"slices"
	"strings"
	"unicode"

	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/link"
)

// Where a module's name comes from.
const (
	byModule     = "read from the module"
	byPractice   = "common practice"
	byIdentifier = "its identifier"
	byOwner      = "by you"
)

// customary names the modules that usually listen at an identifier. 7E0 and 7E1, and the addresses 10 and 18 of 29-bit
// identifiers, are what ISO 15765-4 recommends for engine and gearbox (from memory); 7E2 and 7E4 are common practice
// among hybrids and battery cars. The rest of 700 to 7FF and of 18DAxxF1 differs from maker to maker and has no name here.
var customary = map[link.ID]string{
	link.ID11(0x7E0):      "Engine or drive",
	link.ID11(0x7E1):      "Gearbox",
	link.ID11(0x7E2):      "Hybrid control",
	link.ID11(0x7E4):      "Battery or hybrid",
	link.ID29(0x18DA10F1): "Engine or drive",
	link.ID29(0x18DA18F1): "Gearbox",
}

// nameModule gives a module its name: what the owner calls it, else what it calls itself, else what is customary, else
// its identifier. It marks the safety modules, by their names or by what their codes are about.
func nameModule(m *garage.Module) {
	own := ownName(m.Identification)
	switch {
	case m.NameSource == byOwner && m.Name != "":
	case own != "":
		m.Name, m.NameSource = own, byModule
	case customary[m.Request] != "":
		m.Name, m.NameSource = customary[m.Request], byPractice
	default:
		m.Name, m.NameSource = "Module "+m.Request.String(), byIdentifier
	}
	m.Safety = safetyName(m.Name) || slices.ContainsFunc(m.Codes, func(c garage.CodeRecord) bool { return safetyCode(c.Code) })
}

// ownName is what a module calls itself: its system name (22 F197, ISO 14229-1 annex C), else its name in emission
// control (22 F80A, SAE J1979-2; the text is that of 09 0A, from memory), "" where it tells none.
func ownName(plates map[string]string) string {
	if n := plainName(plates["F197"]); n != "" {
		return n
	}
	text := plates["F80A"]
	if _, after, ok := strings.Cut(text, "-"); ok && plainName(after) != "" {
		text = after
	}
	return plainName(parted(text))
}

// plainName turns a name plate such as "CHARGING " into "Charging". Part numbers and bytes in hex digits are no names.
func plainName(s string) string {
	s = strings.TrimFunc(s, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	letters, digits, hex := 0, 0, true
	for _, r := range s {
		switch {
		case unicode.IsLetter(r):
			letters++
		case unicode.IsDigit(r):
			digits++
		case unicode.IsControl(r):
			return ""
		}
		hex = hex && (unicode.IsDigit(r) || 'A' <= r && r <= 'F' || r == ' ')
	}
	switch {
	case letters < 2 || digits > letters || hex && digits > 0:
		return ""
	case s != strings.ToUpper(s) || letters < 4: // written as it is to be read, or an abbreviation
		return s
	}
	first := []rune(s)[:1]
	return string(first) + strings.ToLower(s[len(string(first)):])
}

// parted puts spaces between the words of "EngineControl".
func parted(s string) string {
	var b strings.Builder
	small := false
	for _, r := range s {
		if small && unicode.IsUpper(r) {
			b.WriteByte(' ')
			r = unicode.ToLower(r)
		}
		small = unicode.IsLower(r)
		b.WriteRune(r)
	}
	return b.String()
}

// safetyWords mark modules whose codes a workshop should see before anything is cleared (common practice): restraints,
// brakes, steering, and what works with high voltage and can hurt.
var safetyWords = []string{"airbag", "restraint", "srs", "belt", "pretensioner", "brake", "abs", "esc", "stability", "steering", "eps",
	"battery", "bms", "isolation", "inverter", "contactor"}

func safetyName(name string) bool {
	return called(name, safetyWords) || strings.Contains(strings.ToLower(name), "high voltage")
}

// safetyCode: codes of the standard that only such modules hold: B00 restraints, C00 brakes and steering (SAE J2012).
func safetyCode(c dtc.Code) bool {
	name := c.Name()
	return c.Origin() == dtc.Standard && (strings.HasPrefix(name, "B00") || strings.HasPrefix(name, "C00"))
}
