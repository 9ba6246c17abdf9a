package diag

import (
	"fmt"
	"slices"
	"strings"

	"readback/diag/dtc"
	"readback/diag/garage"
)

// role is what a module does, as far as a code of lost contact and a module's name can be matched.
type role struct {
	key   string
	words []string // in the name of such a module; those of up to three letters as whole words, longer ones as beginnings
	codes []string // of lost contact with it
}

// roles tell which module a code of lost contact misses. The codes are from memory of SAE J2012. U0100, U0101, U0110,
// U0122, U0126, U0129, U0130, U0131, U0140, U0151, U0155, U0164 and U0198 were compared with public service information;
// the others were not. The words are common practice; a name belongs to the first role that it fits, so that a drive
// battery is a battery. A code that is not here still tells its own words, but not which module of a record it is.
var roles = []role{
	{"gearbox", []string{"gearbox", "transmission", "tcm"}, []string{"U0101"}},
	{"motor", []string{"inverter", "motor"}, []string{"U0110"}},
	{"battery", []string{"battery", "bms"}, []string{"U0111", "U0112"}},
	{"brakes", []string{"brake", "abs", "esc", "stability"}, []string{"U0121", "U0122", "U0129"}},
	{"steering", []string{"steering", "eps"}, []string{"U0130", "U0131"}},
	{"body", []string{"body", "bcm"}, []string{"U0140", "U0141"}},
	{"gateway", []string{"gateway"}, []string{"U0146"}},
	{"airbag", []string{"airbag", "restraint", "srs"}, []string{"U0151"}},
	{"panel", []string{"panel", "instrument", "cluster"}, []string{"U0155"}},
	{"climate", []string{"climate", "conditioning", "hvac"}, []string{"U0164"}},
	{"radio", []string{"radio", "audio"}, []string{"U0184"}},
	{"telematics", []string{"telematic"}, []string{"U0198"}},
	{"converter", []string{"converter"}, []string{"U0298"}},
	{"drive", []string{"engine", "drive", "powertrain", "ecm", "pcm"}, []string{"U0100", "U0115", "U0293"}},
}

// lostContact: U0100 to U02FF of the standard say that contact with a module was lost (the structure of SAE J2012).
func lostContact(c dtc.Code) bool {
	name := c.Name()
	return c.Origin() == dtc.Standard && (strings.HasPrefix(name, "U01") || strings.HasPrefix(name, "U02"))
}

// missing is what several codes miss: a role, or where none is known, what one code says.
func missing(c dtc.Code) string {
	for _, r := range roles {
		if slices.Contains(r.codes, c.Name()) {
			return r.key
		}
	}
	return c.Name()
}

// isRole tells whether what is missed is a role.
func isRole(missed string) bool {
	return slices.ContainsFunc(roles, func(r role) bool { return r.key == missed })
}

// roleOf is the role that a module has by its name, "" for none.
func roleOf(name string) string {
	for _, r := range roles {
		if called(name, r.words) {
			return r.key
		}
	}
	return ""
}

// called tells whether a module's name is one of the words.
func called(name string, words []string) bool {
	return slices.ContainsFunc(words, func(w string) bool { return hasWord(name, w) })
}

// hasWord: one of the words of text is word or, where word has four letters and more, begins with it.
func hasWord(text, word string) bool {
	fields := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !('a' <= r && r <= 'z' || '0' <= r && r <= '9') })
	return slices.ContainsFunc(fields, func(f string) bool {
		return f == word || len(word) > 3 && strings.HasPrefix(f, word)
	})
}

// oneMissed: all of them are of lost contact, and with the same module.
func oneMissed(held []holding) bool {
	return !slices.ContainsFunc(held, func(h holding) bool {
		return !lostContact(h.code.Code) || missing(h.code.Code) != missing(held[0].code.Code)
	})
}

// missedGroups are the modules that at least two others miss, most missed first.
func missedGroups(held []holding) []reading {
	groups := byReading(held, func(c garage.CodeRecord) []string { return []string{missing(c.Code)} })
	out := []reading{}
	for _, g := range groups {
		// What a module says of itself, or of its like, is no witness.
		g.held = where(g.held, func(h holding) bool { return roleOf(h.module.Name) != g.text })
		if modulesOf(g.held) > 1 {
			out = append(out, g)
		}
	}
	return out
}

// sourceMissed names what the patterns of missed modules rest on.
const sourceMissed = byPractice + "; which module a code misses: SAE J2012, from memory"

// missedNow: at least two modules hold, there now, that contact with the same module is lost. Whether that module
// answered tells what is the matter.
func missedNow(r garage.Visit, held []holding) []Pattern {
	out := []Pattern{}
	for _, g := range missedGroups(where(held, func(h holding) bool { return h.now && lostContact(h.code.Code) })) {
		p := Pattern{Codes: namesOf(g.held), Source: sourceMissed}
		who := fmt.Sprintf("%d modules say that contact with %s is lost now", modulesOf(g.held), part(g.held[0].code.Code))
		answered, silent := fitting(r, g.text)
		unnamed := unnamedIn(r)
		switch {
		case !isRole(g.text):
			p.Key = PatternUnclear
			p.Text = who + ". This program can't tell which module of this car that is."
			p.Next = "Look through the list for that module. If it is not there, or did not answer, have its fuse and plug looked at first."
		case len(answered) > 0:
			p.Key = PatternMissed
			p.Text = fmt.Sprintf("%s, but %s answered this program at %s. So it has power, and its messages get lost on their way to the others.", who, answered[0].Name, answered[0].Request)
			p.Next = "Wait a minute with the ignition on and read the car again. If it stays, ask a workshop to look at the bus wires and at the gateway between them, not at the module."
		case len(silent) > 0:
			p.Key = PatternSilent
			p.Text = fmt.Sprintf("%s, and %s did not answer this program either. The module is silent: it has no power, or its plug is off, or it has failed.", who, silent[0].Name)
			p.Next = "Have its fuse, its plug and its ground looked at before any part is changed."
		default:
			p.Key = PatternSilent
			p.Text = who + ", and no module of that name answered this program."
			if unnamed > 0 {
				p.Text += fmt.Sprintf(" %s, and it may be one of these.", have(unnamed, "module that answered has no name", "modules that answered have no name"))
			} else {
				p.Text += " It seems silent: it has no power, or its plug is off, or it has failed."
			}
			p.Next = "Have its fuse, its plug and its ground looked at before any part is changed."
		}
		out = append(out, p)
	}
	return out
}

// missedBefore: at least two modules remember that contact with the same module was lost.
func missedBefore(r garage.Visit, held []holding) []Pattern {
	out := []Pattern{}
	remembered := where(held, func(h holding) bool { return h.code.Status != nil && !h.now && lostContact(h.code.Code) })
	for _, g := range missedGroups(remembered) {
		p := Pattern{Key: PatternBefore, Codes: namesOf(g.held), Source: sourceMissed}
		p.Text = fmt.Sprintf("%d modules remember that contact with %s was lost. None of them says that it is so now.", modulesOf(g.held), part(g.held[0].code.Code))
		if answered, _ := fitting(r, g.text); len(answered) > 0 {
			p.Text += fmt.Sprintf(" %s answered this program.", answered[0].Name)
		}
		p.Next = "Keep this record. If it comes back, have the plug and the supply of that one module looked at."
		out = append(out, p)
	}
	return out
}

// part is what a code misses, in the words of its meaning.
func part(c dtc.Code) string {
	p := dtc.Describe(c, nil, 0xFF, nil).Part
	switch {
	case p == "":
		return "the module that " + c.Name() + " is about"
	case strings.HasPrefix(p, "the "):
		return p
	}
	return "the " + p
}

// fitting are the modules of a record that can be what is missed: those that answered and those that did not.
func fitting(r garage.Visit, missed string) (answered, silent []garage.Module) {
	for _, m := range r.Modules {
		switch {
		case roleOf(m.Name) != missed:
		case m.Answered == garage.Yes:
			answered = append(answered, m)
		case m.Answered == garage.Silent:
			silent = append(silent, m)
		}
	}
	return answered, silent
}

// unnamedIn counts the modules that answered and are known by their identifier alone.
func unnamedIn(r garage.Visit) (n int) {
	for _, m := range r.Modules {
		if m.Answered == garage.Yes && m.NameSource == byIdentifier {
			n++
		}
	}
	return n
}
