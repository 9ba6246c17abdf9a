package explain

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"readback/diag/link"
)

// step is one frame found in a text.
type step struct {
	hasID    bool
	id       link.ID
	idAt     int
	from     int // the digits of the identifier, runes of the input
	to       int
	by       bool // an adapter command set the identifier
	inherits bool // the identifier is that of the frame before
	data     []byte
	at       []int  // place of each data byte in the input
	typed    []byte // the digits of data, those too that are no whole bytes
	bad      bool   // something of it can't be read
}

// parse puts the tokens of a cleaned text together to frames.
func parse(c *cleaned) []step {
	var steps []step
	headers := c.headers
	var current *step
	begin := func() {
		steps = append(steps, step{})
		current = &steps[len(steps)-1]
	}
	for i := 0; i < len(c.tokens); {
		if len(headers) > 0 && headers[0].before <= i {
			h := headers[0]
			headers = headers[1:]
			if len(headers) > 0 && headers[0].before == h.before {
				continue // nothing was sent with this one
			}
			begin()
			current.by = true
			current.setID(c, h.text, h.at)
			current.from, current.to = h.from, h.to
			continue
		}
		if n := decimalBytes(c.tokens[i:]); n > 0 {
			if current == nil {
				begin()
			}
			current.decimal(c, c.tokens[i:i+n])
			i += n
			continue
		}
		t := c.tokens[i]
		fresh := i == 0 || c.tokens[i-1].line != t.line
		switch {
		case current == nil:
			begin()
			i += current.lead(c, c.tokens[i:])
			continue
		case len(current.data) == 0 && !current.hasID && !current.bad:
			i += current.lead(c, c.tokens[i:])
			continue
		case (t.hash || t.id) && (len(t.text) == 3 || len(t.text) == 8), startsFrame(c.tokens[i:], fresh) && (len(current.data) > 0 || fresh):
			begin()
			i += current.lead(c, c.tokens[i:])
			continue
		case fresh && (current.finished() && !filling(lineOf(c.tokens[i:])) || current.by && uncounted(current.data) > 0):
			before := *current
			begin()
			current.inherits, current.by = before.hasID, before.by
			current.hasID, current.id, current.idAt, current.from, current.to = before.hasID, before.id, before.idAt, before.from, before.to
		}
		current.add(c, t)
		i++
	}
	if len(headers) > 0 {
		h := headers[len(headers)-1]
		begin()
		current.setID(c, h.text, h.at)
		current.from, current.to = h.from, h.to
	}
	return steps
}

// startsFrame tells whether tokens in the middle of a text begin a new frame.
func startsFrame(t []token, fresh bool) bool {
	s := t[0].text
	if len(t) < 2 {
		return false
	}
	switch {
	case len(s) == 3:
		return fresh || s[0] == '7'
	case !fresh:
		return false
	case len(s) == 8:
		return strings.HasPrefix(s, "18D")
	}
	n, _ := idInParts(t)
	return n > 0
}

// pairedID tells how many words at the front are a 29-bit identifier written in parts: 18 DA 10 F1, 18DA 10F1. more is how
// many digits of the last one are left over for bytes. n is 0 when they are none, or nothing follows.
func pairedID(t []string) (n, more int) {
	if len(t) < 2 || !strings.HasPrefix(t[0], "18") || len(t[0]) > 6 {
		return 0, 0
	}
	joined := ""
	for i, x := range t[:min(len(t), 4)] {
		if joined += x; len(x)%2 == 1 {
			return 0, 0
		}
		if len(joined) < 8 {
			continue
		}
		more = len(joined) - 8
		if wide(joined) && (joined[6:8] == "F1" || joined[4:6] == "F1") && (more > 0 || i+1 < len(t)) {
			return i + 1, more
		}
		break
	}
	return 0, 0
}

// idInParts is [pairedID] of tokens: nothing is put together over a label.
func idInParts(t []token) (n, more int) {
	n, more = pairedID(textsOf(t))
	for i := 1; i < n; i++ {
		if t[i].named {
			return 0, 0
		}
	}
	return n, more
}

func textsOf(t []token) []string {
	out := make([]string, 0, 5)
	for _, x := range t[:min(len(t), 5)] {
		out = append(out, x.text)
	}
	return out
}

// idInBytes tells how many words at the front are a short identifier written as bytes: 07 E5, or 00 00 07 E5.
func idInBytes(t []string) int {
	zeros := 0
	for zeros < 2 && zeros < len(t) && t[zeros] == "00" {
		zeros++
	}
	if zeros != 1 && len(t) > zeros+2 && t[zeros] == "07" && len(t[zeros+1]) == 2 && t[zeros+1] >= "DF" && t[zeros+1] < "F0" && t[zeros+2] < "10" {
		return zeros + 2
	}
	return 0
}

// decimalBytes tells how many words at the front are bytes in decimal digits: none is above 255, and one behind the
// first has three digits.
func decimalBytes(t []token) int {
	n, three := 0, false
	for ; n < min(len(t), 64) && t[n].line == t[0].line; n++ {
		x := t[n].text
		v, err := strconv.Atoi(x)
		if err != nil || v > 255 || len(x) > 1 && x[0] == '0' || t[n].hash || t[n].id {
			break
		}
		three = three || n > 0 && len(x) == 3
	}
	if n < 3 || !three {
		return 0
	}
	return n
}

// decimal refuses bytes in decimal digits and says what they would be.
func (s *step) decimal(c *cleaned, t []token) {
	s.bad = true
	data := make([]byte, 0, len(t))
	for _, x := range t {
		v, _ := strconv.Atoi(x.text) // decimalBytes has read it
		data = append(data, byte(v))
	}
	c.found("bytes-decimal", Wrong, t[0].at, "These look like bytes in decimal digits.", fmt.Sprintf("In hex they are %s. If that is meant, type it.", hexOf(data[:min(len(data), 8)])))
}

func lineOf(t []token) []byte {
	var out []byte
	for i := 0; i < len(t) && t[i].line == t[0].line; i++ {
		for j := 0; j+1 < len(t[i].text); j += 2 {
			v, _ := strconv.ParseUint(t[i].text[j:j+2], 16, 8)
			out = append(out, byte(v))
		}
	}
	return out
}

// filling reports bytes that are all the same and usual as filling.
func filling(b []byte) bool {
	for _, x := range b {
		if x != b[0] {
			return false
		}
	}
	return len(b) == 0 || isFiller(b[0])
}

func isFiller(b byte) bool {
	switch b {
	case 0x00, 0x55, 0xAA, 0xCC, 0xFF:
		return true
	}
	return false
}

// finished reports that the bytes so far are a single frame of their own.
func (s *step) finished() bool { return split(s.data, 0).kind == single }

// lead reads the identifier at the front of tokens and returns how many it took. Where the first token is no
// identifier, it takes none or all of the token as data.
func (s *step) lead(c *cleaned, t []token) int {
	for k := range t[:min(len(t), 4)] {
		if t[k].line != t[0].line {
			break
		}
		if t[k].hash {
			var text string
			for _, x := range t[:k+1] {
				text += x.text
			}
			s.setID(c, text, t[0].at)
			s.to = t[k].at + len(t[k].text)
			s.whole(c)
			return k + 1
		}
	}
	first := t[0].text
	paired, more := idInParts(t)
	switch {
	case len(first) == 3:
		s.setID(c, first, t[0].at)
		return 1 + s.dropLength(c, t[1:])
	case len(first) == 8 && (strings.HasPrefix(first, "18D") || strings.HasPrefix(first, "00000") || len(t) > 1 && len(t[1].text) <= 2):
		s.setID(c, first, t[0].at)
		return 1 + s.dropLength(c, t[1:])
	case paired > 0:
		s.inParts(c, t[:paired], more)
		return paired
	case idInBytes(textsOf(t)) > 0:
		n := idInBytes(textsOf(t))
		s.bad = true
		short := "7" + t[n-1].text
		c.found("id-width", Wrong, t[0].at, fmt.Sprintf("These look like the identifier %s, written as bytes.", short), fmt.Sprintf("If that is meant, type %s.", short))
		return n
	case (first == "7E" || len(first) == 4 && first[0] == '7') && sound(lineOf(t[1:])):
		s.bad = true
		c.found("id-width", Wrong, t[0].at, fmt.Sprintf("%s has %d digits. An identifier has 3 or 8.", first, len(first)), "Compare it with the instructions.")
		return 1
	case decimalID(first) != 0 && len(t) > 1:
		s.bad = true
		v := link.ID{Value: uint32(decimalID(first)), Extended: len(first) > 4}
		c.found("id-decimal", Wrong, t[0].at, fmt.Sprintf("%s looks like an identifier in decimal digits. In hex it is %s.", first, v), fmt.Sprintf("If that is meant, type %s.", v))
		return 1
	case len(first) == 4 && first[0] == '0' && first[1] == '7' && len(t) > 1:
		s.bad = true
		c.found("id-width", Wrong, t[0].at, fmt.Sprintf("%s is neither a short identifier (3 digits) nor a long one (8 digits).", first), fmt.Sprintf("If the short one is meant, type %s.", first[1:]))
		return 1
	case len(first) > 3 && len(first)%2 == 1 && first[0] == '7':
		s.joined(c, t[0], 3)
		return 1
	case len(first) > 4 && len(first)%2 == 0 && (strings.HasPrefix(first, "7DF") || strings.HasPrefix(first, "7E")):
		s.bad = true
		c.found("odd-digits", Wrong, t[0].at, fmt.Sprintf("After %s an odd number of digits is left.", first[:3]), "A byte has two digits. One digit is missing or one is too many.")
		return 1
	case len(first) > 8 && len(first)%2 == 0 && (strings.HasPrefix(first, "18DA") || strings.HasPrefix(first, "18DB")):
		s.joined(c, t[0], 8)
		return 1
	case (len(first) == 5 || len(first) == 7) && len(t) > 1:
		s.bad = true
		c.found("id-width", Wrong, t[0].at, fmt.Sprintf("%s has %d digits. An identifier has 3 or 8.", first, len(first)), "Compare it with the instructions.")
		return 1
	}
	s.hasID = false
	s.add(c, t[0])
	return 1
}

// decimalID is the identifier that decimal digits may stand for: 2015 to 2031 are 7DF to 7EF, and nine digits may be a
// long one of a tester. 0 when none.
func decimalID(s string) int {
	v, err := strconv.Atoi(s)
	switch {
	case err != nil:
	case len(s) == 4 && v >= 2015 && v <= 2031:
		return v
	case len(s) == 9 && (v>>16 == 0x18DA || v>>16 == 0x18DB) && v&0xFF == 0xF1:
		return v
	}
	return 0
}

// inParts takes an identifier that is written in parts; the last more digits are bytes.
func (s *step) inParts(c *cleaned, t []token, more int) {
	var text string
	for _, x := range t {
		text += x.text
	}
	s.setID(c, text[:8], t[0].at)
	last := t[len(t)-1]
	split := len(last.text) - more
	s.to = last.at + split
	s.whole(c)
	if more > 0 {
		s.add(c, token{text: last.text[split:], at: last.at + split, line: last.line})
	}
}

// whole takes an identifier back that has something between its parts that can't be read.
func (s *step) whole(c *cleaned) {
	if slices.ContainsFunc(c.holes, func(h hole) bool { return h.from > s.from && h.from < s.to }) {
		s.hasID, s.bad = false, true
	}
}

func (s *step) joined(c *cleaned, t token, n int) {
	s.setID(c, t.text[:n], t.at)
	s.to = t.at + n
	c.found("id-joined", Note, t.at, fmt.Sprintf("Identifier and bytes are joined. They are read as %s and %s.", t.text[:n], spaced(t.text[n:])), "Check that the identifier ends there.")
	s.add(c, token{text: t.text[n:], at: t.at + n, line: t.line})
}

func spaced(digits string) string {
	var b strings.Builder
	for i := 0; i < len(digits); i += 2 {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(digits[i:min(i+2, len(digits))])
	}
	return b.String()
}

// dropLength leaves out a single digit that tells how many bytes follow, as recordings show it.
func (s *step) dropLength(c *cleaned, t []token) int {
	if len(t) == 0 || len(t[0].text) != 1 {
		return 0
	}
	digits := 0
	for _, x := range t[1:] {
		if x.line != t[0].line {
			break
		}
		digits += len(x.text)
	}
	if n := int(t[0].text[0] - '0'); n < 1 || n > 8 || digits != 2*n {
		return 0
	}
	c.found("frame-length", Note, t[0].at, fmt.Sprintf("The single %s says how many bytes follow. It is not one of them.", t[0].text), "")
	return 1
}

func (s *step) setID(c *cleaned, text string, at int) {
	s.idAt, s.from, s.to = at, at, at+len(text)
	v, err := strconv.ParseUint(text, 16, 64)
	switch {
	case err != nil:
		s.bad = true
	case len(text) == 3 && v <= 0x7FF:
		s.hasID, s.id = true, link.ID11(uint32(v))
	case len(text) == 3:
		s.bad = true
		c.found("id-too-big", Wrong, at, fmt.Sprintf("%s is too big for a short identifier, which ends at 7FF.", text), "Compare it with the instructions.")
	case len(text) == 8 && v <= 0x7FF:
		s.hasID, s.id = true, link.ID29(uint32(v))
		c.found("id-width", Wrong, at, fmt.Sprintf("%s is a long identifier. It is not the same as the short one %03X.", text, v), fmt.Sprintf("If the short one is meant, type %03X.", v))
	case len(text) == 8 && v <= 0x1FFFFFFF:
		s.hasID, s.id = true, link.ID29(uint32(v))
	case len(text) == 8:
		s.bad = true
		c.found("id-too-big", Wrong, at, fmt.Sprintf("%s is too big for a long identifier, which ends at 1FFFFFFF.", text), "Compare it with the instructions.")
	default:
		s.bad = true
		c.found("id-width", Wrong, at, fmt.Sprintf("%s has %s. An identifier has 3 or 8.", short(text), count(len(text), "digit", "digits")), "Compare it with the instructions.")
	}
}

func (s *step) add(c *cleaned, t token) {
	s.typed = append(s.typed, t.text[:min(len(t.text), 20)]...)
	if len(t.text)%2 == 1 {
		s.bad = true
		fix := "A byte has two digits. One digit is missing or one is too many."
		if len(t.text) == 1 {
			fix = fmt.Sprintf("A byte has two digits. If 0%s is meant, type 0%s.", t.text, t.text)
		}
		c.found("odd-digits", Wrong, t.at, fmt.Sprintf("%s has an odd number of digits.", short(t.text)), fix)
		return
	}
	for j := 0; j < len(t.text); j += 2 {
		v, _ := strconv.ParseUint(t.text[j:j+2], 16, 8) // two hex digits: this can't fail
		s.data = append(s.data, byte(v))
		s.at = append(s.at, t.at+j)
	}
}
