package explain

import (
	"cmp"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"readback/diag/link"
)

// maxNear bounds the list of neighbours.
const maxNear = 8

// common are requests that are often passed on: what a mistyped one probably was, and what it could turn into.
var common = []string{"0100", "010C", "010D", "0142", "03", "04", "07", "08", "0902", "0904", "0A",
	"1001", "1002", "1003", "1101", "1103", "14FFFFFF", "14FF00", "1901FF", "1902FF", "19022F", "1902AF", "190208", "190209", "1903", "190A", "1915",
	"22F190", "22F187", "22F18C", "22F197", "22F186", "2701", "280001", "280301", "3E00", "8501", "8502", "13", "1802FF00", "1A90", "1A9B"}

// nearest lists the well-formed requests that are one slip away: a digit changed, swapped, missing or doubled, a byte
// missing, doubled or moved. The nearest come first, among equals the more dangerous.
func nearest(id link.ID, data []byte, o Options) []Near {
	n := neighbours{id: id, o: o, size: len(data), filler: 0x55, seen: map[string]bool{Canonical(id, data): true}}
	t := split(data, 0)
	switch {
	case t.kind == single && len(t.rest) > 0:
		n.filler = t.rest[len(t.rest)-1]
	case len(data) == 8 && isFiller(data[7]):
		n.filler = data[7]
	}
	wasFine := t.kind == single && readable(t.payload)
	from := [][]byte{data, trimmed(data, n.filler)}
	if t.kind == single {
		from = append(from, data[:1+t.count])
		if wasFine {
			from = from[2:]
		}
	}
	n.identifiers(data)
	if w := whoIs(id, data, o); len(n.found) > 0 && !w.known && !w.standard {
		return n.best() // the identifier is the likelier slip
	}
	for _, c := range common {
		p := unhex(c)
		framed := append([]byte{byte(len(p))}, p...)
		best := 9
		for _, f := range from {
			best = min(best, slip(f, framed))
		}
		if !wasFine {
			best = min(best, slip(trimmed(data, n.filler), trimmed(framed, n.filler)))
		}
		if best == 1 {
			n.add(id, framed, best)
		}
	}
	n.digits(from[len(from)-1])
	return n.best()
}

// best are the first of what was found, the nearest and among equals the more dangerous in front.
func (n *neighbours) best() []Near {
	slices.SortFunc(n.found, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.near.Distance, b.near.Distance), cmp.Compare(danger(b.class), danger(a.class)), cmp.Compare(a.near.Text, b.near.Text))
	})
	out := make([]Near, 0, maxNear)
	for _, c := range n.found[:min(len(n.found), maxNear)] {
		out = append(out, c.near)
	}
	return out
}

type candidate struct {
	near  Near
	class Class
}

type neighbours struct {
	id     link.ID
	o      Options
	size   int // of the frame as typed
	filler byte
	seen   map[string]bool
	found  []candidate
}

func danger(c Class) int {
	switch c {
	case Look:
		return 0
	case Change:
		return 1
	case Workshop:
		return 2
	}
	return 3
}

// add takes a candidate: its counted bytes are filled up as the typed frame is.
func (n *neighbours) add(id link.ID, counted []byte, distance int) {
	data := slices.Clone(counted)
	for len(data) < n.size {
		data = append(data, n.filler)
	}
	key := Canonical(id, data)
	if n.seen[key] {
		return
	}
	n.seen[key] = true
	t := split(data, 0)
	w := whoIs(id, data, n.o)
	class, _ := Classify(id, data, n.o)
	summary := summaryOf(id, w, t, Explanation{Direction: Request})
	n.found = append(n.found, candidate{Near{Text: id.String() + " " + hexOf(data), Distance: distance, Summary: summary}, class})
}

// digits tries every other digit in the counting byte, the service and the sub-function, where that makes a whole request.
func (n *neighbours) digits(from []byte) {
	places := 2
	if len(from) > 1 {
		if s := serviceOf(from[1]); s == nil || s.sub {
			places = 3
		}
	}
	for i := range 2 * min(len(from), places) {
		for d := byte(0); d < 16; d++ {
			q := slices.Clone(from)
			if i%2 == 0 {
				q[i/2] = q[i/2]&0x0F | d<<4
			} else {
				q[i/2] = q[i/2]&0xF0 | d
			}
			if t := split(pad(q, n.filler), 0); t.kind == single && t.count == len(q)-1 && readable(t.payload) {
				n.add(n.id, q, 1)
			}
		}
	}
}

func pad(d []byte, filler byte) []byte {
	d = slices.Clone(d)
	for len(d) < 8 {
		d = append(d, filler)
	}
	return d
}

// identifiers tries the known identifiers one slip away, for data that is a whole request.
func (n *neighbours) identifiers(data []byte) {
	t := split(data, 0)
	if t.kind != single || !readable(t.payload) {
		return
	}
	w := whoIs(n.id, data, n.o)
	for _, id := range knownIDs(n.o) {
		if len(n.o.Modules) == 0 && w.standard && id.Value != 0x7DF {
			continue // nothing is known of the others
		}
		if id != n.id && textSlip(id.String(), n.id.String()) == 1 {
			n.add(id, data, 1)
		}
	}
}

// knownIDs are the identifiers that a request may be meant for: this car's, or the standard's where nothing is known.
func knownIDs(o Options) []link.ID {
	ids := []link.ID{link.ID11(0x7DF), link.ID29(0x18DB33F1)}
	for _, m := range o.Modules {
		if !m.Address.Request.IsZero() {
			ids = append(ids, m.Address.Request)
		}
	}
	if len(o.Modules) == 0 {
		for v := uint32(0x7E0); v <= 0x7E7; v++ {
			ids = append(ids, link.ID11(v))
		}
	}
	return ids
}

// nearID names known identifiers one slip away.
func (x *typed) nearID() string {
	var names []string
	for _, id := range knownIDs(x.o) {
		if id != x.frame.ID && textSlip(id.String(), x.frame.ID.String()) == 1 && len(names) < 4 {
			names = append(names, id.String())
		}
	}
	if len(names) == 0 {
		return "Compare the identifier with the instructions."
	}
	return "One slip away: " + joinOr(names) + ". Compare the identifier with the instructions."
}

// swappedID is the known identifier that comes of swapping two neighbouring digits, "" when there is none.
func swappedID(id link.ID, o Options) string {
	s := []byte(id.String())
	for i := 0; i+1 < len(s); i++ {
		if s[i] == s[i+1] {
			continue
		}
		s[i], s[i+1] = s[i+1], s[i]
		for _, k := range knownIDs(o) {
			if k.String() == string(s) {
				return string(s)
			}
		}
		s[i], s[i+1] = s[i+1], s[i]
	}
	return ""
}

// trimmed is data without even filling at its end.
func trimmed(data []byte, filler byte) []byte {
	n := len(data)
	for n > 1 && data[n-1] == filler {
		n--
	}
	return data[:n]
}

// slip is 1 when two runs of bytes are one slip of a hand apart, 0 when equal, 2 when more. A slip is a digit
// changed, missing, doubled or swapped with its neighbour, or a whole byte missing, extra or swapped.
func slip(a, b []byte) int {
	if d := textSlip(hex.EncodeToString(a), hex.EncodeToString(b)); d < 2 {
		return d
	}
	return oneApart(a, b, false)
}

func textSlip(a, b string) int { return oneApart([]byte(a), []byte(b), true) }

// oneApart: 0 for equal runs, 1 when one element was dropped, added, swapped with its neighbour or, with replaced,
// became another one; else 2.
func oneApart(a, b []byte, replaced bool) int {
	if len(a) > len(b) {
		a, b = b, a
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	j := 0
	for j < len(a)-i && a[len(a)-1-j] == b[len(b)-1-j] {
		j++
	}
	switch len(b) - len(a) {
	case 0:
		switch middle := len(a) - i - j; {
		case middle <= 0:
			return 0
		case middle == 1 && replaced:
			return 1
		case middle == 2 && a[i] == b[i+1] && a[i+1] == b[i]:
			return 1
		}
	case 1:
		if i+j >= len(a) {
			return 1
		}
	}
	return 2
}

func unhex(s string) []byte {
	b, err := hex.DecodeString(strings.ToLower(s))
	if err != nil {
		return nil
	}
	return b
}

// guessed is what a text with look-alike letters could have meant; the owner has to type it again.
func guessed(c cleaned, o Options) []Near {
	if c.guess == "" {
		return []Near{}
	}
	g := clean(c.guess)
	steps := parse(&g)
	if len(steps) != 1 || steps[0].bad || !steps[0].hasID || len(steps[0].data) > 8 || hasWrong(g.findings) {
		return []Near{}
	}
	e := explainFrame(steps[0].id, steps[0].data, o)
	return []Near{{Text: fmt.Sprintf("%s %s", e.Frame.IDText, hexOf(e.Frame.Data)), Distance: c.slips, Summary: e.Summary}}
}
