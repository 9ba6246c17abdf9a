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
const maxNear = 6

// common are requests that are often passed on: what a mistyped one probably was, and what it could turn into.
var common = []string{"0100", "010C", "010D", "0142", "03", "04", "07", "08", "0902", "0904", "0A",
	"1001", "1002", "1003", "1101", "1103", "14FFFFFF", "14FF00", "1901FF", "1902FF", "19022F", "1902AF", "190208", "190209", "1903", "190A", "1915",
	"22F190", "22F187", "22F18C", "22F197", "22F186", "2701", "280001", "280301", "3E00", "8501", "8502", "13", "1802FF00", "1A90", "1A9B"}

// nearest lists the well-formed requests that are one slip away: a digit changed or swapped, a byte missing, doubled,
// moved or too many, another identifier. All that one slip can make is computed and compared with the grammar of the
// usual requests; what the counting byte, the service and the sub-function can turn into counts whatever it is. For a
// request that is not usual, the likeliest come first; for a usual one, the most dangerous.
func nearest(id link.ID, data []byte, o Options) []Near {
	if len(data) == 0 || len(data) > 8 {
		return []Near{}
	}
	n := newNeighbours(id, data, o)
	t := split(data, 0)
	fine := t.kind == single && readable(t.payload)
	if fine {
		n.identifiers(data)
		if !n.w.known && !n.w.standard && len(n.found) > 0 {
			return n.best() // the identifier is the likelier slip
		}
	}
	common := fine && usual(t.payload, n.w, &o)
	n.common = common
	deep := len(data)
	if common {
		deep = n.deciding(data)
	}
	for v := range digitChanges(data, deep) {
		n.try(v, v.data[0] != data[0] || len(data) > 1 && v.data[1] != data[1] || n.decides(data, v.data))
	}
	if common {
		return n.best()
	}
	for v := range swaps(data) {
		n.try(v, false)
	}
	for v := range shorter(data) {
		n.try(v, false)
	}
	if !fine || t.payload[len(t.payload)-1] == n.fill { // filling that counts may stand for a byte that was lost
		for v := range longer(data, 5) {
			n.try(v, false)
		}
	}
	return n.best()
}

type candidate struct {
	id      link.ID
	data    []byte
	slip    string
	kind    slipKind
	usual   bool
	likes   bool // does what the owner wants
	class   Class
	payload []byte
}

type neighbours struct {
	id     link.ID
	w      who
	o      Options
	size   int // of the frame as typed
	fill   byte
	common bool // the frame as typed is a usual request
	seen   map[string]bool
	found  []candidate
}

func newNeighbours(id link.ID, data []byte, o Options) *neighbours {
	n := &neighbours{id: id, w: whoIs(id, data, o), o: o, size: len(data), fill: 0x55, seen: map[string]bool{Canonical(id, data): true}}
	t := split(data, 0)
	switch {
	case t.kind == single && len(t.rest) > 0:
		n.fill = t.rest[len(t.rest)-1]
	case len(data) > 0 && isFiller(data[len(data)-1]):
		n.fill = data[len(data)-1]
	}
	return n
}

// deciding is how many bytes at the front decide what is done: counting byte, service and sub-function.
func (n *neighbours) deciding(data []byte) int {
	if len(data) > 1 {
		if s := serviceOf(data[1]); s == nil || s.sub {
			return 3
		}
	}
	return 2
}

// decides reports a change of the sub-function.
func (n *neighbours) decides(was, is []byte) bool {
	return n.deciding(is) == 3 && len(was) > 2 && len(is) > 2 && was[2] != is[2] && was[1] == is[1]
}

// try takes a variant that is a usual request, or, with any, whatever is well formed.
func (n *neighbours) try(v variant, any bool) {
	t := split(v.data, 0)
	if t.kind != single && len(v.data) > 0 && len(v.data) < 8 && v.data[0] > 0 && v.data[0] < 8 { // filling makes up for what is short
		t = split(n.filled(v.data), 0)
	}
	if t.kind != single || !filling(t.rest) || !readable(t.payload) {
		return
	}
	common := usual(t.payload, n.w, &n.o)
	if !common && !any {
		return
	}
	n.add(n.id, v.data[:min(len(v.data), 1+t.count)], v, common)
}

func (n *neighbours) filled(data []byte) []byte {
	data = slices.Clone(data)
	for len(data) < max(n.size, 1+int(data[0]&0x0F)) && len(data) < 8 {
		data = append(data, n.fill)
	}
	return data
}

// add takes a candidate: its counted bytes are filled up as the typed frame is.
func (n *neighbours) add(id link.ID, counted []byte, v variant, common bool) {
	data := n.filled(counted)
	t := split(data, 0)
	if t.kind != single {
		return
	}
	key := Canonical(id, data)
	if n.seen[key] {
		return
	}
	n.seen[key] = true
	w := whoIs(id, data, n.o)
	class := w.class
	if class != Never {
		class = judgeFrame(w, t, &n.o).class
	}
	n.found = append(n.found, candidate{id: id, data: data, slip: v.slip, kind: v.kind, usual: common, class: class, likes: n.o.Wish.wants(t.payload), payload: t.payload})
}

// wants reports a request that does what the owner said.
func (w Wish) wants(p []byte) bool {
	switch w {
	case WishRead:
		return reads(p)
	case WishClear:
		return erases(p)
	}
	return false
}

// best are the first of what was found.
func (n *neighbours) best() []Near {
	slices.SortStableFunc(n.found, func(a, b candidate) int {
		byDanger := cmp.Compare(danger(b.class), danger(a.class))
		if n.common {
			return cmp.Or(before(a.likes, b.likes), byDanger, before(a.usual, b.usual), cmp.Compare(a.kind, b.kind))
		}
		return cmp.Or(before(a.likes, b.likes), before(a.usual, b.usual), before(n.frequent(a.payload), n.frequent(b.payload)), cmp.Compare(a.kind, b.kind), byDanger)
	})
	out := make([]Near, 0, maxNear)
	for _, c := range n.found[:min(len(n.found), maxNear)] {
		w := whoIs(c.id, c.data, n.o)
		out = append(out, Near{Text: c.id.String() + " " + hexOf(c.data), Distance: 1, Class: c.class, Slip: c.slip, kind: c.kind,
			Summary: summaryOf(c.id, w, split(c.data, 0), Explanation{Direction: Request})})
	}
	return out
}

func (n *neighbours) frequent(p []byte) bool { return slices.Contains(common, fmt.Sprintf("%X", p)) }

// before puts what holds in front of what does not.
func before(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return -1
	}
	return 1
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

// identifiers tries the known identifiers one slip away.
func (n *neighbours) identifiers(data []byte) {
	t := split(data, 0)
	for _, id := range knownIDs(n.o) {
		if len(n.o.Modules) == 0 && n.w.standard && id.Value != 0x7DF {
			continue // nothing is known of the others
		}
		if id == n.id || textSlip(id.String(), n.id.String()) != 1 {
			continue
		}
		n.add(id, data[:1+t.count], variant{slip: fmt.Sprintf("The identifier: %s instead of %s.", n.id, id), kind: changedDigit}, true)
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

// guessed is what a text with look-alike letters, or with a digit missing or too many, could have meant; the owner has to
// type it again.
func guessed(c cleaned, typed step, o Options) []Near {
	if c.guess == "" {
		return oddGuesses(c, typed, o)
	}
	g := clean(c.guess)
	steps := parse(&g)
	if len(steps) != 1 || steps[0].bad || !steps[0].hasID || len(steps[0].data) > 8 || hasWrong(g.findings) {
		return []Near{}
	}
	e := explainFrame(steps[0].id, steps[0].data, o)
	if t := split(steps[0].data, 0); t.kind != single || !readable(t.payload) {
		return []Near{}
	}
	return []Near{{Text: fmt.Sprintf("%s %s", e.Frame.IDText, hexOf(e.Frame.Data)), Distance: c.slips, Summary: e.Summary, Class: e.Class,
		Slip: fmt.Sprintf("With %s for %s.", plural(c.slips, "a digit", "digits"), plural(c.slips, "the letter", "the letters"))}}
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// oddGuesses are the usual requests that come of one digit more or less.
func oddGuesses(c cleaned, typed step, o Options) []Near {
	for _, f := range c.findings {
		if f.Level == Wrong && f.Code != "odd-digits" {
			return []Near{}
		}
	}
	if !typed.hasID {
		return []Near{}
	}
	n := newNeighbours(typed.id, nil, o)
	n.size = (len(typed.typed) + 1) / 2
	for v := range mended(string(typed.typed)) {
		if len(v.data) > 0 && len(v.data) < 9 {
			n.fill = 0x55
			if last := v.data[len(v.data)-1]; isFiller(last) {
				n.fill = last
			}
			n.try(v, false)
		}
	}
	return n.best()
}
