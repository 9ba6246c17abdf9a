package report

import (
	"encoding/hex"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"readback/diag/garage"
)

// Secrets are what a shared copy must not tell.
type Secrets struct {
	VIN     string   // the identification number: its letters and its bytes
	Serials []string // serial numbers of modules
	Names   []string // names of people, of the car as its owner calls it
	Places  []string // ports and paths, which may hold a user's name
}

// SecretsOf are the secrets of a report.
func SecretsOf(in Input) Secrets {
	s := Secrets{VIN: in.Car.VIN, Names: []string{in.Car.Name, in.Who}, Places: []string{in.Car.Place, in.Before.Place}}
	for _, v := range append([]*garage.Visit{&in.Before}, in.After) {
		if v == nil {
			continue
		}
		s.Places = append(s.Places, v.Place)
		for _, m := range v.Modules {
			if t := strings.TrimSpace(m.Identification["F18C"]); t != "" {
				s.Serials = append(s.Serials, t)
			}
			// A module may hold another number than the car's: it belongs to somebody too.
			if t := strings.TrimSpace(m.Identification["F190"]); len(t) == vinLength && t != s.VIN {
				s.Names = append(s.Names, t)
			}
		}
	}
	for _, n := range in.Notes {
		s.Names = append(s.Names, n.Who)
	}
	return s
}

const vinLength = 17

// hidden tells which letters of an identification number a shared copy hides: the check digit, from which part of the
// serial number can be computed, and the plant and serial number. What is left says the maker, the model and the year.
func hidden(place int) bool { return place == 8 || place >= 10 }

// MaskVIN hides the letters of an identification number that name one car.
func MaskVIN(vin string) string {
	b := []byte(vin)
	for i := range b {
		if hidden(i) {
			b[i] = '*'
		}
	}
	return string(b)
}

// shortestPiece is the least number of letters of the identification number that is taken for a piece of it among raw
// bytes. Frames cut it into pieces of three and more.
const shortestPiece = 3

// Share takes what must not be told out of a copy of a document. The original stays as it is.
func Share(d Document, s Secrets) Document {
	out := d.clone()
	counts := map[string]int{}
	out.each(func(text string) string {
		text = s.maskVIN(text, counts)
		for _, x := range []struct {
			what string
			all  []string
		}{{"serial numbers of modules", s.Serials}, {"names", s.Names}, {"places and paths", s.Places}} {
			for _, secret := range longestFirst(x.all) {
				text = s.replace(text, secret, x.what, counts)
			}
		}
		return paths(text, counts)
	})
	out.Shared = true
	for _, what := range slices.Sorted(maps.Keys(counts)) {
		out.Removed = append(out.Removed, fmt.Sprintf("%s: %d", what, counts[what]))
	}
	return out
}

// longestFirst sorts secrets so that one that holds another goes first; what is too short to be one is left out.
func longestFirst(all []string) []string {
	var kept []string
	for _, s := range all {
		if s = strings.TrimSpace(s); len(s) >= 2 && !slices.Contains(kept, s) {
			kept = append(kept, s)
		}
	}
	slices.SortStableFunc(kept, func(a, b string) int { return len(b) - len(a) })
	return kept
}

const removed = "[removed]"

// replace takes one secret out, whatever its case: as text, and as bytes in hex.
func (s Secrets) replace(text, secret, what string, counts map[string]int) string {
	text, n := swapText(text, secret, func(string) string { return removed })
	for _, pattern := range []string{hexOf([]byte(secret)), hexOf(bytesOf(secret))} {
		if pattern == "" {
			continue
		}
		re := regexp.MustCompile(pattern)
		n += len(re.FindAllString(text, -1))
		text = re.ReplaceAllLiteralString(text, removed)
	}
	if n > 0 {
		counts[what] += n
	}
	return text
}

// swapText puts something else for each place of a secret, whatever its case, and counts them. Text that is no UTF-8, as a
// module may tell it, has no case.
func swapText(text, secret string, by func(string) string) (string, int) {
	if !utf8.ValidString(secret) {
		return strings.ReplaceAll(text, secret, by(secret)), strings.Count(text, secret)
	}
	re := regexp.MustCompile(`(?i)` + regexp.QuoteMeta(secret))
	return re.ReplaceAllStringFunc(text, by), len(re.FindAllString(text, -1))
}

// bytesOf are the bytes that a text stands for which is a number in hex; nil for any other.
func bytesOf(text string) []byte {
	b, err := hex.DecodeString(text)
	if err != nil {
		return nil
	}
	return b
}

// hexOf matches bytes written in hex, with or without a space, a dash or a colon between them. None are "".
func hexOf(raw []byte) string {
	if len(raw) < shortestPiece {
		return ""
	}
	var b strings.Builder
	b.WriteString(`(?i)`)
	for i, x := range raw {
		if i > 0 {
			b.WriteString(`[ :\-]?`)
		}
		fmt.Fprintf(&b, "%02X", x)
	}
	return b.String()
}

// maskVIN hides the letters of the identification number: as text, and as bytes, whole or in the pieces into which
// frames cut it.
func (s Secrets) maskVIN(text string, counts map[string]int) string {
	if len(s.VIN) != vinLength {
		if s.VIN != "" {
			return s.replace(text, s.VIN, "identification number", counts)
		}
		return text
	}
	text, n := swapText(text, s.VIN, MaskVIN)
	if n > 0 {
		counts["identification number"] += n
	}
	return s.maskBytes(text, counts)
}

var hexPair = regexp.MustCompile(`(?i)[0-9A-F]{2}`)

// maskBytes walks over runs of hex digits and hides every byte that stands for a hidden letter of the number inside a
// piece of it.
func (s Secrets) maskBytes(text string, counts map[string]int) string {
	run := regexp.MustCompile(`(?i)\b(?:[0-9A-F]{2}[ :\-]?){2,}[0-9A-F]{2}\b`)
	return run.ReplaceAllStringFunc(text, func(hex string) string {
		places := hexPair.FindAllStringIndex(hex, -1)
		raw := make([]byte, len(places))
		for i, p := range places {
			fmt.Sscanf(hex[p[0]:p[1]], "%02X", &raw[i])
		}
		hide := map[int]bool{}
		for at := range raw {
			for from := range vinLength {
				n := 0
				for at+n < len(raw) && from+n < vinLength && raw[at+n] == s.VIN[from+n] {
					n++
				}
				if n < shortestPiece {
					continue
				}
				for k := range n {
					if hidden(from + k) {
						hide[at+k] = true
					}
				}
			}
		}
		if len(hide) == 0 {
			return hex
		}
		counts["identification number in raw bytes"]++
		out := []byte(hex)
		for i := range hide {
			out[places[i][0]], out[places[i][0]+1] = '*', '*'
		}
		return string(out)
	})
}

// userPath finds the folder of a user in a path, which is mostly a name.
var userPath = regexp.MustCompile(`(?i)(/home/|/Users/|\\Users\\)[^/\\\s]+`)

func paths(text string, counts map[string]int) string {
	if n := len(userPath.FindAllString(text, -1)); n > 0 {
		counts["places and paths"] += n
		text = userPath.ReplaceAllString(text, "${1}"+removed)
	}
	return text
}
