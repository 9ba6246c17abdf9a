package explain

import (
	"fmt"
	"strconv"
	"strings"

	"readback/diag/obd"
	"readback/diag/uds"
)

// answerPieces splits the payload of an answer. more tells that it goes on in later frames, older that the module
// speaks ISO 14230-3.
func answerPieces(p []byte, older, more bool) (source string, pieces []piece) {
	if p[0] == 0x7F {
		return refusalPieces(p, older)
	}
	open := "What these bytes mean is not known."
	if more {
		open = "The message goes on in the next pages."
	}
	s := answeredService(p[0], older)
	if s == nil {
		return srcFrame, cover(p, []piece{{1, "What it says", fmt.Sprintf("No standard has an answer %02X.", p[0])}}, "Not understood", open)
	}
	said := fmt.Sprintf("Agreed: it answers %02X (%02X + 40). %s.", s.id, s.id, s.verb)
	if s.id == 0x14 || s.id == 0x04 {
		said = fmt.Sprintf("Agreed: it was asked to forget codes (%02X). That is no proof yet: read again.", s.id)
	}
	c := cursor{b: p[1:], out: []piece{{1, "What it says", said}}, more: more}
	if !c.answer(s) {
		return s.source(), c.out
	}
	return s.source(), cover(p, c.out, "Not understood", open)
}

// answer takes what follows the first byte of an answer; ok is false when there is nothing but a missing sub-function.
func (c *cursor) answer(s *service) (ok bool) {
	var sub byte
	if s.sub {
		if x := c.take(1, "How exactly", func(x []byte) string { return answeredTo(s, x[0]) }); x != nil {
			sub = x[0] & 0x7F
		} else if len(c.b) == 0 {
			return false
		}
	}
	bodies := &answerBodies
	if s.family == ofKWP {
		bodies = &olderAnswers
	}
	if body := bodies[s.id]; body != nil {
		body(c, sub)
	}
	return true
}

// answeredService is the service that an answer belongs to; nil when no standard has it.
func answeredService(first byte, older bool) *service {
	if !isAnswer(first) {
		return nil
	}
	if s := olderServiceOf(first &^ 0x40); older && s != nil {
		return s
	}
	return serviceOf(first &^ 0x40)
}

func answeredTo(s *service, sub byte) string {
	if verb := verbOf(s.id, sub); verb != "" {
		return "It was asked to " + verb + "."
	}
	return fmt.Sprintf("Variant %02X.", sub&0x7F)
}

func howMany(x []byte) string { return count(bigEndian(x), "code.", "codes.") }

// answerBodies take what follows the first byte and the sub-function of answers; whatever they leave over was not
// understood. ISO 14229-1:2020 and SAE J1979, the clause of each service.
var answerBodies = [256]func(c *cursor, sub byte){
	0x01: func(c *cursor, _ byte) { c.parameters(0x01) },
	0x02: func(c *cursor, _ byte) { c.parameters(0x02) },
	0x03: (*cursor).oldCodes,
	0x05: func(c *cursor, _ byte) { c.sensorTest() },
	0x06: func(c *cursor, _ byte) { c.selfTests() },
	0x07: (*cursor).oldCodes,
	0x08: func(c *cursor, _ byte) {
		c.take(1, "Which system", func(x []byte) string { return fmt.Sprintf("Test number %02X.", x[0]) })
		c.rest("Result", hexText)
	},
	0x09: func(c *cursor, _ byte) { c.information() },
	0x0A: (*cursor).oldCodes,
	0x10: func(c *cursor, _ byte) {
		c.take(2, "How fast", func(x []byte) string { return fmt.Sprintf("It answers within %d ms.", be16(x)) })
		c.take(2, "How slow", func(x []byte) string {
			return fmt.Sprintf("After \"wait\" it answers within %d ms.", int(be16(x))*10)
		})
	},
	0x11: func(c *cursor, sub byte) {
		if sub == 4 {
			c.take(1, "How long", func(x []byte) string {
				if x[0] == 0xFF {
					return "How long it stays off is not told."
				}
				return fmt.Sprintf("It stays off for at least %d s.", x[0])
			})
		}
	},
	0x14: func(c *cursor, _ byte) { c.take(2, "Which ones", oldGroupText) }, // the older form of the answer
	0x19: func(c *cursor, sub byte) { c.codes(sub) },
	0x22: func(c *cursor, _ byte) { c.values() },
	0x23: func(c *cursor, _ byte) { c.rest("Content", raw.text) },
	0x24: func(c *cursor, _ byte) {
		if c.part(did) != nil {
			c.scaling()
		}
	},
	0x27: func(c *cursor, sub byte) {
		if sub&1 == 1 {
			c.rest("Question", func(x []byte) string {
				if allZero(x) {
					return "All zeros: it is not locked."
				}
				return "A question that the key has to answer: " + hexOf(x) + "."
			})
		}
	},
	0x29: func(c *cursor, sub byte) { c.proved(sub) },
	0x2C: func(c *cursor, _ byte) { c.part(did) },
	0x2E: func(c *cursor, _ byte) { c.part(did) },
	0x2F: func(c *cursor, _ byte) {
		if c.part(did) != nil {
			c.take(1, "How", ioText)
			c.rest("State", hexText)
		}
	},
	0x31: func(c *cursor, _ byte) {
		c.part(routine)
		c.rest("Result", raw.text)
	},
	0x34: func(c *cursor, _ byte) { c.blockLength() },
	0x35: func(c *cursor, _ byte) { c.blockLength() },
	0x36: func(c *cursor, _ byte) { c.block() },
	0x37: func(c *cursor, _ byte) { c.rest("Details", raw.text) },
	0x38: func(c *cursor, _ byte) { c.fileAnswer() },
	0x3D: func(c *cursor, _ byte) { c.memory() },
	0x83: func(c *cursor, _ byte) { c.rest("Which timing", hexText) },
	0x84: func(c *cursor, _ byte) { c.envelope() },
	0x86: func(c *cursor, _ byte) {
		c.take(1, "How many", func(x []byte) string { return count(int(x[0]), "report.", "reports.") })
		c.take(1, "How long", windowText)
		c.rest("When and what", hexText)
	},
}

func (c *cursor) oldCodes(byte) {
	c.take(1, "How many", howMany)
	c.each(2, "A code", oldCodeText)
}

func (c *cursor) blockLength() {
	if l := c.take(1, "How long each", func(x []byte) string { return "The length has " + counts(int(x[0]>>4)) + "." }); l != nil {
		c.take(int(l[0]>>4), "How much", func(x []byte) string { return "At most " + counts(bigEndian(x)) + " in one message." })
	}
}

// fileAnswer reads 78: deed, block length, packing, and what the deed tells.
func (c *cursor) fileAnswer() {
	m := c.take(1, "What to do with it", fileDeed)
	if m == nil || m[0] == 2 || !c.counted(1, "How much", func(x []byte) string { return "At most " + counts(bigEndian(x)) + " in one message." }) {
		return
	}
	c.take(1, "How packed", packingText)
	switch m[0] {
	case 4, 5:
		l := c.take(2, "How long each", func(x []byte) string { return "Each size has " + counts(int(be16(x))) + "." })
		if l == nil {
			return
		}
		c.take(int(be16(l)), "How much", func(x []byte) string { return "Unpacked " + sizeText(x) })
		c.take(int(be16(l)), "How much", func(x []byte) string { return "Packed " + sizeText(x) })
	case 6:
		c.take(8, "From where", func(x []byte) string { return "Go on from byte " + fmt.Sprint(bigEndian(x)) + "." })
	}
}

// proved reads the answers of service 29.
func (c *cursor) proved(sub byte) {
	c.take(1, "What came of it", func(x []byte) string {
		names := map[byte]string{0x00: "The request is accepted.", 0x01: "It refuses without a reason.", 0x02: "It proves identity with certificates.",
			0x03: "It proves identity with a question and a pair of keys.", 0x04: "It proves identity with a question and a shared key.",
			0x10: "The proof of identity has ended.", 0x11: "The certificate is good. Ownership is still to be proved.",
			0x12: "Ownership is proved. The module is open.", 0x13: "The certificate is good."}
		if t := names[x[0]]; t != "" {
			return t
		}
		return hexText(x)
	})
	blob := func(name string) bool { return c.counted(2, name, hexText) }
	method := func() bool { return c.take(16, "Which method", hexText) != nil }
	switch sub {
	case 1:
		_ = blob("Question") && blob("Key")
	case 2:
		_ = blob("Question") && blob("Certificate") && blob("Proof") && blob("Key")
	case 3:
		blob("Key")
	case 5:
		_ = method() && blob("Question") && blob("More")
	case 6:
		_ = method() && blob("Key")
	case 7:
		_ = method() && blob("Proof") && blob("Key")
	}
}

// parameters reads the values of services 01 and 02 as long as their lengths are known.
func (c *cursor) parameters(id byte) {
	type value struct {
		frame int
		obd.Measured
	}
	var list []value
	answer := append([]byte{id | 0x40}, c.b...)
	if id == 0x02 {
		kept, _ := obd.DecodeFrozen(answer)
		for _, k := range kept {
			list = append(list, value{int(k.Frame), k.Measured})
		}
	} else {
		now, _ := obd.DecodeCurrent(answer)
		for _, m := range now {
			list = append(list, value{-1, m})
		}
	}
	for _, v := range list {
		c.take(1, "Which value", func(x []byte) string { return pidText(x[0]) })
		if v.frame >= 0 {
			c.take(1, "Which frame", func(x []byte) string { return fmt.Sprintf("Kept in frame %d.", x[0]) })
		}
		c.take(len(v.Raw), "The value", func(x []byte) string { return readingsText(v.Readings, x) })
	}
	if len(list) == 0 {
		c.take(1, "Which value", func(x []byte) string { return pidText(x[0]) })
		c.rest("The value", hexText)
	}
}

// readingsText is what a parameter tells; raw where nobody knows its meaning.
func readingsText(list []obd.Reading, raw []byte) string {
	if len(list) == 0 {
		return hexText(raw)
	}
	told := make([]string, len(list))
	for i, r := range list {
		told[i] = r.String()
	}
	return upperFirst(strings.Join(told, ", ")) + "."
}

func (c *cursor) sensorTest() {
	t, err := obd.DecodeSensorTest(append([]byte{0x45}, c.b...))
	c.take(1, "Which test", func(x []byte) string {
		if t.Name != "" {
			return fmt.Sprintf("%s (test %02X).", upperFirst(t.Name), x[0])
		}
		return fmt.Sprintf("Test number %02X.", x[0])
	})
	c.take(1, "Which sensor", func(x []byte) string {
		if t.Fitting != "" {
			return upperFirst(t.Fitting) + "."
		}
		return fmt.Sprintf("Sensor pattern %02X.", x[0])
	})
	if err != nil || t.Name == "" {
		c.rest("Result", hexText)
		return
	}
	c.take(1, "Result", func([]byte) string { return upperFirst(t.Value.String()) + "." })
	for i, l := range t.Limits {
		c.take(1, [...]string{"Lower limit", "Upper limit"}[i], func([]byte) string { return l.String() + "." })
	}
}

// selfTests reads the records of service 06, or the list of monitors that are there.
func (c *cursor) selfTests() {
	list, err := obd.DecodeSelfTests(append([]byte{0x46}, c.b...))
	if len(c.b) > 0 && c.b[0]&0x1F == 0 || err != nil {
		c.take(1, "Which test", func(x []byte) string { return monitorText(x[0]) })
		c.rest("Which there are", hexText)
		return
	}
	for _, t := range list {
		c.take(1, "Which monitor", func(x []byte) string { return monitorText(x[0]) })
		c.selfTest(t)
	}
}

func (c *cursor) selfTest(t obd.SelfTest) {
	c.take(1, "Which test", func(x []byte) string {
		if t.TestName != "" {
			return fmt.Sprintf("%s (test %02X).", upperFirst(t.TestName), x[0])
		}
		return fmt.Sprintf("Test number %02X of the maker's own.", x[0])
	})
	c.take(1, "Which unit", func(x []byte) string { return fmt.Sprintf("Unit number %02X.", x[0]) })
	value := func(r obd.Reading, name, text string) {
		c.take(2, name, func(x []byte) string {
			if !t.Described {
				return hexText(x)
			}
			return upperFirst(r.String()) + text + "."
		})
	}
	value(t.Value, "Result", ": "+t.Verdict.String())
	value(t.Low, "Lower limit", "")
	value(t.High, "Upper limit", "")
}

// information reads service 09: what about, how many, and the items.
func (c *cursor) information() {
	kind := c.take(1, "What about", func(x []byte) string { return infoText(x[0]) })
	if kind == nil {
		return
	}
	if kind[0]&0x1F == 0 {
		c.rest("Which there are", hexText)
		return
	}
	c.take(1, "How many", func(x []byte) string { return fmt.Sprintf("%d of them.", x[0]) })
	more := c.more
	c.rest("The value", func(x []byte) string {
		if i, err := obd.DecodeInfoData(kind[0], x); err == nil && len(i.Items) > 0 {
			return strings.Join(i.Items, ", ") + "."
		}
		return plainText(x, more)
	})
}

// values takes identifiers and their values. Only some lengths are known; a value of unknown length takes the rest.
func (c *cursor) values() {
	for len(c.b) > 1 {
		id := be16(c.part(did))
		n := valueSize(id, len(c.b))
		more := c.more
		if n == 0 {
			c.rest("The value", func(x []byte) string { return valueText(id, x, more) })
			return
		}
		c.take(n, "The value", func(x []byte) string { return valueText(id, x, more && len(c.b) == 0) })
	}
}

// longestParameter is more bytes than any parameter of service 01 has (SAE J1979-DA).
const longestParameter = 64

// valueSize is how many of n bytes belong to the value of an identifier; 0 when that is not known. What is left over has
// room for another identifier with a value.
func valueSize(id uint16, n int) int {
	size := 0
	switch {
	case id == 0xF186:
		size = 1
	case id == 0xF190:
		size = 17
	case id>>8 == 0xF4:
		for k := 1; k <= min(n, longestParameter) && size == 0; k++ {
			if m, err := obd.DecodeParameter(byte(id), make([]byte, k)); err == nil && len(m.Readings) > 0 {
				size = k
			}
		}
	}
	if size == n || size > 0 && n-size >= 3 {
		return size
	}
	return 0
}

// valueText shows the value of an identifier of service 22.
func valueText(id uint16, b []byte, more bool) string {
	if i, err := obd.DecodeIdentifier(id, b); err == nil {
		switch {
		case i.Parameter != nil && len(i.Parameter.Readings) > 0:
			return readingsText(i.Parameter.Readings, b)
		case i.Info != nil && len(i.Info.Items) > 0:
			return strings.Join(i.Info.Items, ", ") + "."
		case len(i.Tests) > 0:
			told := make([]string, len(i.Tests))
			for k, t := range i.Tests {
				told[k] = fmt.Sprintf("test %02X: %s", t.Test, t.Verdict)
				if t.Described {
					told[k] += fmt.Sprintf(" (%s, limits %s and %s)", t.Value, t.Low, t.High)
				}
			}
			return upperFirst(strings.Join(told, ", ")) + "."
		}
	}
	if _, _, plate := uds.PlateName(id); plate && !more && len(b) > 0 {
		if t, ok := uds.PlateWords(id, b); ok {
			return strconv.Quote(t) + "."
		}
		return hexText(b)
	}
	if didName(id) != "" {
		return plainText(b, more)
	}
	return hexText(b)
}

// plainText shows printable bytes as text, everything else as bytes. Filling at the end is left out.
func plainText(b []byte, more bool) string {
	t := strings.TrimRight(string(b), "\x00 ")
	if t == "" {
		return hexText(b)
	}
	for _, r := range []byte(t) {
		if r < 0x20 || r > 0x7E {
			return hexText(b)
		}
	}
	if more {
		return fmt.Sprintf("%q, and more in the next pages.", t)
	}
	return strconv.Quote(t) + "."
}

func allZero(b []byte) bool {
	for _, x := range b {
		if x != 0 {
			return false
		}
	}
	return true
}

// olderAnswers are the same for the services of ISO 14230-3.
var olderAnswers = [256]func(c *cursor, sub byte){
	0x10: func(c *cursor, _ byte) {
		c.take(1, "How exactly", func(x []byte) string {
			if f := readOlder([]byte{0x10, x[0]}); f.complete {
				return "It was asked to " + f.layout.verb + "."
			}
			return fmt.Sprintf("Mode number %02X.", x[0])
		})
	},
	0x12: func(c *cursor, _ byte) {
		c.take(1, "Which record", func(x []byte) string { return fmt.Sprintf("Record number %d.", x[0]) })
		c.rest("Kept values", hexText)
	},
	0x13: (*cursor).oldCodes,
	0x14: func(c *cursor, _ byte) { c.take(2, "Which ones", oldGroupText) },
	0x17: (*cursor).statedCodes,
	0x18: (*cursor).statedCodes,
	0x1A: func(c *cursor, _ byte) {
		if c.take(1, "Which value", oldPlateText) != nil {
			more := c.more
			c.rest("The value", func(x []byte) string { return plainText(x, more) })
		}
	},
	0x21: func(c *cursor, _ byte) { c.local("The value") },
	0x22: func(c *cursor, _ byte) { c.values() },
	0x23: func(c *cursor, _ byte) { c.rest("Content", raw.text) },
	0x26: func(c *cursor, _ byte) { c.rest("Details", raw.text) },
	0x27: func(c *cursor, _ byte) {
		c.part(levelOld)
		c.rest("Question", hexText)
	},
	0x2C: func(c *cursor, _ byte) { c.part(localOld) },
	0x2E: func(c *cursor, _ byte) { c.part(did) },
	0x2F: func(c *cursor, _ byte) {
		if c.part(did) != nil {
			c.take(1, "How", ioOldText)
			c.rest("State", hexText)
		}
	},
	0x30: func(c *cursor, _ byte) {
		if c.part(localOld) != nil {
			c.take(1, "How", ioOldText)
			c.rest("State", hexText)
		}
	},
	0x31: func(c *cursor, _ byte) { c.job() },
	0x32: func(c *cursor, _ byte) { c.job() },
	0x33: func(c *cursor, _ byte) { c.job() },
	0x34: func(c *cursor, _ byte) {
		c.rest("How much", func(x []byte) string { return "At most " + counts(bigEndian(x)) + " in one message." })
	},
	0x35: func(c *cursor, _ byte) {
		c.rest("How much", func(x []byte) string { return "At most " + counts(bigEndian(x)) + " in one message." })
	},
	0x36: func(c *cursor, _ byte) { c.rest("Content", raw.text) },
	0x37: func(c *cursor, _ byte) { c.rest("Details", raw.text) },
	0x38: (*cursor).jobAt,
	0x39: (*cursor).jobAt,
	0x3A: (*cursor).jobAt,
	0x3B: func(c *cursor, _ byte) { c.part(localOld) },
	0x3D: func(c *cursor, _ byte) { c.part(address3) },
	0x81: func(c *cursor, _ byte) {
		c.take(2, "How it talks", func(x []byte) string { return "Key bytes " + hexOf(x) + ": which headers and timing it uses." })
	},
	0x83: func(c *cursor, _ byte) {
		c.part(timingOld)
		c.rest("Which timing", hexText)
	},
	0x84: func(c *cursor, _ byte) { c.rest("Details", raw.text) },
	0x86: func(c *cursor, _ byte) {
		c.take(1, "How many", func(x []byte) string { return count(int(x[0]), "report.", "reports.") })
		c.take(1, "How long", windowOldText)
		c.take(1, "When", eventOldText)
		c.rest("Details", raw.text)
	},
}

func (c *cursor) statedCodes(byte) {
	c.take(1, "How many", howMany)
	c.each(3, "A code", oldCodeText)
}

func (c *cursor) local(name string) {
	if c.part(localOld) != nil {
		more := c.more
		c.rest(name, func(x []byte) string { return plainText(x, more) })
	}
}

func (c *cursor) job() {
	c.part(jobOld)
	c.rest("Result", raw.text)
}

func (c *cursor) jobAt(byte) {
	c.part(address3)
	c.rest("Result", raw.text)
}
