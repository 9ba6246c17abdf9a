package explain

import "fmt"

// cursor takes pieces off the front of b.
type cursor struct {
	more bool // the message goes on in later frames
	b    []byte
	out  []piece
	line *line // where what matters is told instead of making pieces; nil where pieces are made
}

// take makes the next n bytes one piece; nil when there are not that many.
func (c *cursor) take(n int, name string, text func([]byte) string) []byte {
	if n <= 0 || len(c.b) < n {
		return nil
	}
	x := c.b[:n]
	c.b = c.b[n:]
	if c.line != nil {
		c.line.tell(name, x, text)
	} else {
		c.out = append(c.out, piece{n: n, name: name, text: text(x)})
	}
	return x
}

// part takes one parameter of a layout.
func (c *cursor) part(p part) []byte {
	if p.n <= 0 {
		return c.rest(p.name, p.text)
	}
	return c.take(p.n, p.name, p.text)
}

// rest takes all that is left, if anything.
func (c *cursor) rest(name string, text func([]byte) string) []byte {
	return c.take(len(c.b), name, text)
}

// each takes records of n bytes as long as there are whole ones.
func (c *cursor) each(n int, name string, text func([]byte) string) {
	for c.take(n, name, text) != nil {
	}
}

// counted takes a length of n bytes, most significant first, and then that many bytes. It is false when they are not there.
func (c *cursor) counted(n int, name string, text func([]byte) string) bool {
	l := c.take(n, "How long", func(x []byte) string { return "The next " + counts(bigEndian(x)) + "." })
	if l == nil {
		return false
	}
	want := bigEndian(l)
	return want == 0 || c.take(want, name, text) != nil
}

// memory takes the byte that tells how long address and size are, then the two (ISO 14229-1 annex H). It is false when
// they are not there.
func (c *cursor) memory() bool {
	f := c.take(1, "How long each", formatOfMemory)
	return f != nil && c.area(f[0])
}

// area takes an address and a size of the lengths that f tells.
func (c *cursor) area(f byte) bool {
	return c.take(int(f&0x0F), "Where", addressText) != nil && c.take(int(f>>4), "How much", sizeText) != nil
}

func bigEndian(b []byte) int {
	n := 0
	for _, x := range b[max(0, len(b)-7):] {
		n = n<<8 | int(x)
	}
	return n
}

func counts(n int) string { return count(n, "byte", "bytes") }

func formatOfMemory(b []byte) string {
	return fmt.Sprintf("The address has %s, the size %s.", counts(int(b[0]&0x0F)), counts(int(b[0]>>4)))
}

func addressText(b []byte) string { return fmt.Sprintf("At %X.", b) }
func sizeText(b []byte) string    { return count(bigEndian(b), "byte.", "bytes.") }

// packingText: dataFormatIdentifier; the high digit compresses, the low one encrypts.
func packingText(b []byte) string {
	if b[0] == 0 {
		return "Not compressed and not encrypted."
	}
	say := func(n byte, what string) string {
		if n == 0 {
			return "not " + what
		}
		return fmt.Sprintf("%s in the maker's way %d", what, n)
	}
	return upperFirst(say(b[0]>>4, "compressed")) + ", " + say(b[0]&15, "encrypted") + "."
}

// bodies take what follows the service and its sub-function in requests whose form a list of fixed parts can't hold.
// What they leave over was not understood. ISO 14229-1:2020, the clause of each service.
var bodies = map[byte]func(c *cursor, sub byte){
	0x23: func(c *cursor, _ byte) { c.memory() },
	0x27: func(c *cursor, sub byte) {
		if sub&1 == 0 {
			c.rest("Key", hexText)
			return
		}
		c.part(raw)
	},
	0x29: func(c *cursor, sub byte) { c.proof(sub) },
	0x2A: func(c *cursor, _ byte) {
		if m := c.take(1, "How often", pace); m != nil {
			c.each(1, "Which value", periodic)
		}
	},
	0x2C: func(c *cursor, sub byte) {
		c.part(did)
		switch sub {
		case 1:
			c.each(4, "From what", func(x []byte) string {
				return fmt.Sprintf("%s From byte %d of it, %s.", didText(be16(x)), x[2], counts(int(x[3])))
			})
		case 2:
			if f := c.take(1, "How long each", formatOfMemory); f != nil {
				for c.area(f[0]) {
				}
			}
		}
	},
	0x34: func(c *cursor, _ byte) { _ = c.take(1, "How packed", packingText) != nil && c.memory() },
	0x35: func(c *cursor, _ byte) { _ = c.take(1, "How packed", packingText) != nil && c.memory() },
	0x36: func(c *cursor, _ byte) { c.block() },
	0x38: func(c *cursor, _ byte) { c.file() },
	0x3D: func(c *cursor, _ byte) { _ = c.memory() && c.rest("Content", raw.text) != nil },
	0x84: func(c *cursor, _ byte) { c.envelope() },
	0x86: func(c *cursor, sub byte) {
		c.take(1, "How long", windowText)
		c.rest("When and what", hexText)
	},
	0x87: func(c *cursor, sub byte) {
		switch sub {
		case 1:
			c.take(1, "Which speed", lineText)
		case 2:
			c.take(3, "Which speed", speedText)
		}
	},
}

func (c *cursor) block() {
	c.take(1, "Which block", func(x []byte) string {
		return fmt.Sprintf("Block number %d of a count that begins again after 255.", x[0])
	})
	c.rest("Content", raw.text)
}

// pace: transmissionMode of service 2A.
func pace(b []byte) string {
	switch b[0] {
	case 1:
		return "Again and again, slowly, until it is stopped."
	case 2:
		return "Again and again, at a middle pace, until it is stopped."
	case 3:
		return "Again and again, fast, until it is stopped."
	case 4:
		return "Stop."
	}
	return fmt.Sprintf("The standard has no meaning for %02X here.", b[0])
}

// periodic: periodicDataIdentifier is the low byte of an identifier F200 to F2FF.
func periodic(b []byte) string { return fmt.Sprintf("The value F2%02X.", b[0]) }

// windowText: eventWindowTime.
func windowText(b []byte) string {
	names := map[byte]string{2: "Without end.", 3: "For a short time.", 4: "For a middle time.", 5: "For a long time.",
		6: "As long as it has power.", 7: "As long as the ignition is on.", 8: "Until a signal that only the maker knows."}
	if n := names[b[0]]; n != "" {
		return n
	}
	return fmt.Sprintf("A time of the maker's own, number %02X.", b[0])
}

// lineText: linkControlModeIdentifier.
func lineText(b []byte) string {
	rates := map[byte]int{0x01: 9600, 0x02: 19200, 0x03: 38400, 0x04: 57600, 0x05: 115200, 0x10: 125000, 0x11: 250000, 0x12: 500000, 0x13: 1000000}
	if r := rates[b[0]]; r > 0 {
		return fmt.Sprintf("%d bit/s (number %02X).", r, b[0])
	}
	if b[0] == 0x20 {
		return "The speed for new software (number 20)."
	}
	return fmt.Sprintf("Speed number %02X.", b[0])
}

// proof reads the parameters of service 29.
func (c *cursor) proof(sub byte) {
	number := func(n int, name string) bool { return c.take(n, name, hexText) != nil }
	blob := func(name string) bool { return c.counted(2, name, hexText) }
	switch sub {
	case 1, 2:
		_ = number(1, "How to talk") && blob("Certificate") && blob("Question")
	case 3:
		_ = blob("Proof") && blob("Key")
	case 4:
		_ = number(2, "Which check") && blob("Certificate")
	case 5:
		_ = number(1, "How to talk") && number(16, "Which method")
	case 6, 7:
		_ = number(16, "Which method") && blob("Proof") && blob("Question") && blob("More")
	}
}

// fileDeeds: modeOfOperation of service 38.
var fileDeeds = map[byte]string{1: "Add a file.", 2: "Delete a file.", 3: "Replace a file.", 4: "Read a file.", 5: "List a folder.", 6: "Go on with a file."}

func fileDeed(b []byte) string {
	if t := fileDeeds[b[0]]; t != "" {
		return t
	}
	return fmt.Sprintf("The standard has no meaning for %02X here.", b[0])
}

// file reads the parameters of service 38: the deed, a path with its length, then packing and sizes where there are any.
func (c *cursor) file() {
	m := c.take(1, "What to do with it", fileDeed)
	if m == nil || !c.counted(2, "Which file", func(x []byte) string { return plainText(x, false) }) {
		return
	}
	switch m[0] {
	case 1, 3, 6:
		if c.take(1, "How packed", packingText) == nil {
			return
		}
		if l := c.take(1, "How long each", func(x []byte) string { return "Each size has " + counts(int(x[0])) + "." }); l != nil {
			c.take(int(l[0]), "How much", func(x []byte) string { return "Unpacked " + sizeText(x) })
			c.take(int(l[0]), "How much", func(x []byte) string { return "Packed " + sizeText(x) })
		}
	case 4:
		c.take(1, "How packed", packingText)
	}
}

// envelope reads service 84: flags, the method, lengths of a signature and a counter, and the message inside.
func (c *cursor) envelope() {
	if c.take(2, "Flags", hexText) == nil || c.take(1, "Which method", hexText) == nil {
		return
	}
	l := c.take(2, "How long", func(x []byte) string { return "The signature has " + counts(int(be16(x))) + "." })
	if l == nil || c.take(2, "Counter", func(x []byte) string { return fmt.Sprintf("Number %d, so that nobody can send it twice.", be16(x)) }) == nil {
		return
	}
	if n := len(c.b) - int(be16(l)); n > 0 {
		c.take(n, "Content", func(x []byte) string { return "A locked message: " + hexOf(x) + "." })
		c.rest("Signature", hexText)
	}
}
