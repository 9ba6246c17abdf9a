package explain

import (
	"fmt"
	"strconv"
	"strings"

	"readback/diag/link"
)

// step is one frame found in a text.
type step struct {
	hasID bool
	id    link.ID
	idAt  int
	data  []byte
	at    []int // place of each data byte in the input
	bad   bool  // something of it can't be read
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
			begin()
			current.setID(c, h.text, h.at)
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
		case t.hash && (len(t.text) == 3 || len(t.text) == 8), startsFrame(c.tokens[i:], fresh) && len(current.data) > 0:
			begin()
			i += current.lead(c, c.tokens[i:])
			continue
		case fresh && current.finished() && !filling(lineOf(c.tokens[i:])):
			before := *current
			begin()
			current.hasID, current.id, current.idAt = before.hasID, before.id, before.idAt
		}
		current.add(c, t)
		i++
	}
	for _, h := range headers {
		begin()
		current.setID(c, h.text, h.at)
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
		return s[0] == '7'
	case !fresh:
		return false
	case len(s) == 8:
		return strings.HasPrefix(s, "18D")
	}
	return spacedID(t)
}

// spacedID reports a 29-bit identifier in pairs: 18 DA 10 F1.
func spacedID(t []token) bool {
	return len(t) > 4 && t[0].text == "18" && (t[1].text == "DA" || t[1].text == "DB") && len(t[2].text) == 2 && len(t[3].text) == 2
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
	for k := range t {
		if t[k].line != t[0].line {
			break
		}
		if t[k].hash && k < 4 {
			var text string
			for _, x := range t[:k+1] {
				text += x.text
			}
			s.setID(c, text, t[0].at)
			return k + 1
		}
	}
	first := t[0].text
	switch {
	case len(first) == 3:
		s.setID(c, first, t[0].at)
		return 1 + s.dropLength(c, t[1:])
	case len(first) == 8 && (strings.HasPrefix(first, "18D") || strings.HasPrefix(first, "00000") || len(t) > 1 && len(t[1].text) <= 2):
		s.setID(c, first, t[0].at)
		return 1 + s.dropLength(c, t[1:])
	case spacedID(t):
		s.setID(c, t[0].text+t[1].text+t[2].text+t[3].text, t[0].at)
		return 4
	case len(first) == 4 && decimalID(first) != 0:
		s.bad = true
		v := decimalID(first)
		c.found("id-decimal", Wrong, t[0].at, fmt.Sprintf("%s looks like an identifier in decimal digits. In hex it is %03X.", first, v), fmt.Sprintf("If that is meant, type %03X.", v))
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

// decimalID is the identifier that four decimal digits may stand for: 2015 to 2031 are 7DF to 7EF. 0 when none.
func decimalID(s string) int {
	v, err := strconv.Atoi(s)
	if err != nil || v < 2015 || v > 2031 {
		return 0
	}
	return v
}

func (s *step) joined(c *cleaned, t token, n int) {
	s.setID(c, t.text[:n], t.at)
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
	s.idAt = at
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
