package explain

import (
	"fmt"
	"strings"

	"readback/diag/dtc"
	"readback/diag/kwp"
	"readback/diag/uds"
)

// codes reads the answers of service 19, ISO 14229-1:2020 clause 12.3.
func (c *cursor) codes(sub byte) {
	avail := byte(0xFF)
	mask := func() {
		if x := c.take(1, "What it can tell", canTell); x != nil {
			avail = x[0]
		}
	}
	letters := true
	status := func(x []byte) string { return codeText(x[:3], x[3], avail, letters) }
	format := func() {
		if x := c.take(1, "Which form", func(x []byte) string { return "Form of the codes: " + formatText(x[0]) + "." }); x != nil {
			letters = x[0] != uds.FormatJ1939 && x[0] != uds.Format11992
		}
	}
	number := func(name string) { c.take(1, name, hexText) }
	records := func(name string) bool { return c.take(1, name, record.text) != nil }
	switch sub {
	case 0x01, 0x07, 0x11, 0x12:
		mask()
		format()
		c.take(2, "How many", howMany)
	case 0x02, 0x0A, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x13, 0x15:
		mask()
		c.each(4, "A code", status)
	case 0x17:
		c.part(memory)
		mask()
		c.each(4, "A code", status)
	case 0x1A:
		mask()
		number("Which record")
		c.each(4, "A code", status)
	case 0x08, 0x09:
		mask()
		c.each(6, "A code", func(x []byte) string {
			return status(x[2:]) + severityText(x[0]) + fmt.Sprintf(" Unit number %02X of the car.", x[1])
		})
	case 0x03:
		c.each(4, "A snapshot", func(x []byte) string { return fmt.Sprintf("%s has record %02X.", codeName(x[:3]), x[3]) })
	case 0x14:
		c.each(4, "A code", func(x []byte) string { return fmt.Sprintf("%s: counter at %d of 127.", codeName(x[:3]), int8(x[3])) })
	case 0x05:
		if records("Which record") && c.take(4, "A code", status) != nil {
			c.snapshot()
		}
	case 0x16:
		if records("Which record") && c.take(4, "A code", status) != nil {
			c.rest("Kept values", hexText)
		}
	case 0x04:
		if c.take(4, "A code", status) != nil && records("Which record") {
			c.snapshot()
		}
	case 0x06, 0x10:
		if c.take(4, "A code", status) != nil && records("Which record") {
			c.rest("Kept values", hexText)
		}
	case 0x18:
		if c.part(memory) != nil && c.take(4, "A code", status) != nil && records("Which record") {
			c.snapshot()
		}
	case 0x19:
		if c.part(memory) != nil && c.take(4, "A code", status) != nil && records("Which record") {
			c.rest("Kept values", hexText)
		}
	case 0x42:
		c.part(area)
		mask()
		c.take(1, "Which severities", func(x []byte) string { return "It can tell severities of the pattern " + hexOf(x) + "." })
		format()
		c.each(5, "A code", func(x []byte) string { return status(x[1:]) + severityText(x[0]) })
	case 0x55, 0x56:
		c.part(area)
		mask()
		format()
		if sub == 0x56 {
			number("Which group")
		}
		c.each(4, "A code", status)
	}
}

// snapshot reads how many values a snapshot has, then identifiers with their values.
func (c *cursor) snapshot() {
	if c.take(1, "How many", func(x []byte) string { return count(int(x[0]), "value.", "values.") }) != nil {
		c.values()
	}
}

func canTell(x []byte) string {
	if x[0] == 0 {
		return "It tells nothing about the state of its codes."
	}
	return "It can tell whether a code is " + joinOr(bitNames(x[0])) + "."
}

// codeText is one code with its state and, where the standard has one, its meaning. letters is false for codes of a form
// that is not written with letters.
func codeText(b []byte, status, avail byte, letters bool) string {
	if !letters {
		return fmt.Sprintf("Code %s: %s (status %02X).", hexOf(b), statusText(status, avail), status)
	}
	c := dtc.From3(b[0], b[1], b[2])
	text := fmt.Sprintf("%s: %s (status %02X).", c, statusText(status, avail), status)
	if m := meaningOf(c); m != "" {
		text += " " + m
	}
	return text
}

// meaningOf says what the standard says of a code and of its failure type; "" when it says nothing.
func meaningOf(c dtc.Code) string {
	var parts []string
	if m, ok := c.Meaning(); ok {
		parts = append(parts, strings.TrimSuffix(m, "."))
	}
	if f, ok := c.FailureType(); ok && f != 0 {
		if t, known := dtc.FailureText(f); known {
			parts = append(parts, t)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return upperFirst(strings.Join(parts, ": ")) + "."
}

// severityText: severity byte, ISO 14229-1 annex D.3.
func severityText(b byte) string {
	text := fmt.Sprintf(" Severity byte %02X.", b)
	if t := dtc.CarJudgement(b); t != "" {
		text = " " + t + text
	}
	return text
}

// formatText: DTCFormatIdentifier, ISO 14229-1 clause 12.3.
func formatText(b byte) string {
	name, _ := uds.FormatName(b)
	return name
}

// statusText names the bits of a status that the module keeps; avail is its availability mask.
func statusText(b, avail byte) string {
	if names := bitNames(b & avail); len(names) > 0 {
		return join(names, "and")
	}
	return "nothing noted"
}

func oldCodeText(b []byte) string {
	if be16(b) == 0 {
		return "Empty place."
	}
	c := dtc.From2(b[0], b[1])
	text := c.String() + "."
	if len(b) > 2 {
		text = fmt.Sprintf("%s: %s (status %02X).", c, kwp.Status(b[2]).Storage(), b[2])
	}
	if m := meaningOf(c); m != "" {
		text += " " + m
	}
	return text
}

// scaling reads what follows the identifier in the answer to 24: scaling bytes with their extensions.
func (c *cursor) scaling() {
	list, err := uds.DecodeScaling(append([]byte{0x64, 0, 0}, c.b...))
	if err != nil {
		c.rest("How to read it", hexText)
		return
	}
	for _, s := range list {
		c.take(1+len(s.Extension), "How to read it", func([]byte) string { return scalingText(s) })
	}
}

func scalingText(s uds.Scaling) string {
	if f, k, ok := s.Formula(); ok {
		text := "Put the number x through " + f
		for i, v := range k {
			text += fmt.Sprintf(", C%d = %v", i, v)
		}
		return text + "."
	}
	if name, symbol, ok := s.Unit(); ok {
		if symbol != "" && symbol != name {
			name += " (" + symbol + ")"
		}
		return "Its unit or form: " + name + "."
	}
	kinds := [...]string{"a number without a sign", "a number with a sign", "single bits", "single bits and which of them count", "decimal digits",
		"a state", "text", "a floating number", "a packet", "a formula", "a unit", "a state of a wire"}
	if int(s.Type) >= len(kinds) {
		return fmt.Sprintf("A way that the standard does not have, number %X.", byte(s.Type))
	}
	text := fmt.Sprintf("%s: %s", upperFirst(kinds[s.Type]), counts(s.Bytes))
	if len(s.Extension) > 0 {
		text += ", details " + hexOf(s.Extension)
	}
	return text + "."
}
