package elm

import (
	"slices"
	"strings"
)

// meaning is what a line of the adapter's own words says.
type meaning uint8

const (
	plain    meaning = iota // no alert: a frame, or the answer to a setting
	working                 // it goes on: SEARCHING..., BUS INIT: ...
	nothing                 // NO DATA: it waited, and nothing came through its filter
	stopped                 // STOPPED: a character interrupted it
	damaged                 // a line with a frame that can't be trusted
	trouble                 // the request has ended in an alert
	lost                    // an alert with which all settings are lost
	notKnown                // ?: not understood, or not allowed now
)

const bufferFull = "BUFFERFULL"

// alerts without their spaces; the pages are those of the ELM327 data sheet DSJ.
var alerts = map[string]meaning{
	"?":               notKnown, // p. 87
	"NODATA":          nothing,  // p. 88
	"STOPPED":         stopped,  // p. 88-89
	"UNABLETOCONNECT": trouble,  // p. 89
	bufferFull:        trouble,  // p. 87
	"BUSBUSY":         trouble,  // p. 87
	"BUSERROR":        trouble,  // p. 87
	"FBERROR":         trouble,  // p. 88
	"DATAERROR":       trouble,  // p. 88
	"CANERROR":        trouble,  // p. 87
	"LVRESET":         lost,     // p. 88
	"ACTALERT":        lost,     // p. 87: it goes to low power and wakes with its defaults
	"LPALERT":         lost,     // p. 88
	"LPMODE":          lost,
}

// meaningOf tells what a line says. An alert may begin with "!" (p. 87).
func meaningOf(line string) meaning {
	s := strings.TrimPrefix(squeeze(line), "!")
	if m, ok := alerts[s]; ok {
		return m
	}
	switch {
	case strings.HasSuffix(s, "<DATAERROR"), strings.HasSuffix(s, "<RXERROR"): // p. 87-88: stands behind the bytes
		return damaged
	case strings.HasPrefix(s, "ERR94"): // p. 88: fatal, settings lost
		return lost
	case isInternal(s):
		return trouble
	case strings.HasPrefix(s, "BUSINIT"):
		if strings.HasSuffix(s, "ERROR") {
			return trouble
		}
		return working
	case strings.HasPrefix(s, "SEARCHING"):
		return working
	case strings.HasPrefix(s, "ELM32"): // its greeting: it has started anew
		return lost
	}
	return plain
}

// isInternal: ERR and two digits (p. 88).
func isInternal(s string) bool {
	return len(s) == 5 && strings.HasPrefix(s, "ERR") && strings.Trim(s[3:], "0123456789") == ""
}

// withoutSearch is what stands behind SEARCHING... on the same line.
func withoutSearch(line string) string {
	rest, ok := strings.CutPrefix(strings.TrimLeft(line, " "), "SEARCHING")
	if !ok {
		return line
	}
	return strings.TrimLeft(rest, ". ")
}

// accepted: some line of the answer ends with OK; stray characters before it don't count.
func accepted(lines []string) bool {
	return slices.ContainsFunc(lines, func(l string) bool { return strings.HasSuffix(squeeze(l), "OK") })
}
