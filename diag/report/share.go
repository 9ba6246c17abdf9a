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
	"readback/diag/tongue"
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

// sharing is a copy that is being made.
type sharing struct {
	Secrets
	removed string // what stands in place of a secret
	counts  map[string]int
}

// Share takes what must not be told out of a copy of a document. The original stays as it is.
func Share(d Document, s Secrets) Document {
	out, l := d.clone(), spoken(d.Language)
	x := sharing{s, l.Tell(removed), map[string]int{}}
	kinds := []struct {
		what string
		all  []string
	}{{"serial numbers of modules", longestFirst(l, s.Serials)}, {"names", longestFirst(l, s.Names)}, {"places and paths", longestFirst(l, s.Places)}}
	out.each(func(text string) string {
		text = x.maskVIN(text)
		for _, kind := range kinds {
			for _, secret := range kind.all {
				text = x.replace(text, secret, kind.what)
			}
		}
		return x.paths(text)
	})
	out.Shared = true
	for _, what := range slices.Sorted(maps.Keys(x.counts)) {
		out.Removed = append(out.Removed, fmt.Sprintf("%s: %d", l.Tell(what), x.counts[what]))
	}
	return out
}

// longestFirst sorts secrets so that one that holds another goes first; what is too short to be one is left out. A secret may
// stand in a document as its language has it, such as a number with another decimal mark.
func longestFirst(l *tongue.Tongue, all []string) []string {
	var kept []string
	for _, s := range all {
		s = strings.TrimSpace(s)
		for _, s := range []string{s, l.Tell(s), l.Measured(s)} {
			if len(s) >= 2 && !slices.Contains(kept, s) {
				kept = append(kept, s)
			}
		}
	}
	slices.SortStableFunc(kept, func(a, b string) int { return len(b) - len(a) })
	return kept
}

const removed = "[removed]"

// replace takes one secret out, whatever its case: as text, and as bytes in hex.
func (s sharing) replace(text, secret, what string) string {
	text, n := swapText(text, secret, func(string) string { return s.removed })
	for _, pattern := range []string{hexOf([]byte(secret)), hexOf(bytesOf(secret))} {
		if pattern == "" {
			continue
		}
		re := regexp.MustCompile(pattern)
		n += len(re.FindAllString(text, -1))
		text = re.ReplaceAllLiteralString(text, s.removed)
	}
	if n > 0 {
		s.counts[what] += n
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
func (s sharing) maskVIN(text string) string {
	if len(s.VIN) != vinLength {
		if s.VIN != "" {
			return s.replace(text, s.VIN, "identification number")
		}
		return text
	}
	text, n := swapText(text, s.VIN, MaskVIN)
	if n > 0 {
		s.counts["identification number"] += n
	}
	return s.maskBytes(text)
}

var hexPair = regexp.MustCompile(`(?i)[0-9A-F]{2}`)

// maskBytes walks over runs of hex digits and hides every byte that stands for a hidden letter of the number inside a
// piece of it.
func (s sharing) maskBytes(text string) string {
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
		s.counts["identification number in raw bytes"]++
		out := []byte(hex)
		for i := range hide {
			out[places[i][0]], out[places[i][0]+1] = '*', '*'
		}
		return string(out)
	})
}

// userPath finds the folder of a user in a path, which is mostly a name.
var userPath = regexp.MustCompile(`(?i)(/home/|/Users/|\\Users\\)[^/\\\s]+`)

func (s sharing) paths(text string) string {
	if n := len(userPath.FindAllString(text, -1)); n > 0 {
		s.counts["places and paths"] += n
		text = userPath.ReplaceAllString(text, "${1}"+s.removed)
	}
	return text
}
