package explain

import (
	"fmt"
	"strings"

	"readback/diag/link"
)

// piece is a run of payload bytes that mean one thing.
type piece struct {
	n    int
	name string
	text string
}

// sourceIn is what a piece rests on in a message that rests on source: the names of codes have a standard of their own.
func (p piece) sourceIn(source string) string {
	if p.name == "A code" || p.name == "A snapshot" {
		return source + "; " + srcCodes
	}
	return source
}

// Sources, as the margin shows them.
const (
	srcSingle = "ISO 15765-2, single frame"
	srcFirst  = "ISO 15765-2, first frame"
	srcNext   = "ISO 15765-2, consecutive frame"
	srcFlow   = "ISO 15765-2, flow control"
	srcFrame  = "ISO 15765-2"
	srcIDs    = "ISO 15765-4, identifiers"
	srcCAN    = "ISO 11898-1, data frame"
	srcCodes  = "SAE J2012, codes"
)

// fieldsOf describes a frame; the fields cover the identifier and every data byte once.
func fieldsOf(id link.ID, data []byte, w who, t transport, d Direction) []Field {
	name := "Who is asked"
	switch {
	case d == Answer:
		name = "Who answers"
	case d != Request:
		name = "Whose message"
	}
	fields := []Field{{From: -1, To: 0, Hex: id.String(), Name: name, Text: whoText(id, w, d), Source: srcIDs}}
	at := 0
	add := func(n int, name, text, source string) {
		if n > 0 {
			fields = append(fields, Field{From: at, To: at + n, Hex: hexOf(data[at : at+n]), Name: name, Text: text, Source: source})
			at += n
		}
	}
	if t.skip > 0 {
		add(t.skip, "Which module", addressByteText(id, data[0], w, d), srcFrame)
	}
	switch t.kind {
	case single:
		add(1, "How long", fmt.Sprintf("One short message: the next %s, the rest is filling.", counted(t.count)), srcSingle)
		if len(t.rest) == 0 {
			fields[len(fields)-1].Text = fmt.Sprintf("One short message: the next %s.", counted(t.count))
		}
		source, pieces := payloadPieces(t.payload, d, w.tongue(), false)
		for _, p := range pieces {
			add(p.n, p.name, p.text, p.sourceIn(source))
		}
		add(len(t.rest), "Filling", fillingText(t.rest, len(data)), srcSingle)
	case first:
		add(t.pci, "How long", fmt.Sprintf("The first page of a long message of %d bytes.", t.count), srcFirst)
		source, pieces := payloadPieces(t.payload, d, w.tongue(), true)
		for _, p := range pieces {
			add(p.n, p.name, p.text, p.sourceIn(source))
		}
	case following:
		add(1, "Which page", fmt.Sprintf("A later page of a long message, number %d of the count that begins again after 15.", t.count), srcNext)
		add(len(t.payload), "Content", "More of the message. Its meaning depends on the first page; filling may follow at its end.", srcNext)
	case flow:
		flowFields(data[t.skip:], t, add)
	default:
		if t.pci > 0 {
			add(t.pci, "How long", t.why.String(), srcFrame)
		}
		add(len(data)-at, "Not understood", t.why.String(), srcCAN)
	}
	return fields
}

// addressByteText: N_TA of extended addressing, N_AE of mixed addressing.
func addressByteText(id link.ID, b byte, w who, d Direction) string {
	switch {
	case w.module == nil:
		return fmt.Sprintf("The address %02X, for modules that share %s. None of this car is known to have it.", b, id)
	case d == Answer && w.module.Address.Mode == link.Extended:
		return fmt.Sprintf("The address %02X is that of the tester, who is meant.", b)
	}
	return fmt.Sprintf("The address %02X, for modules that share %s.", b, id)
}

func counted(n int) string {
	if n == 1 {
		return "1 byte counts"
	}
	return fmt.Sprintf("%d bytes count", n)
}

func flowFields(d []byte, t transport, add func(int, string, string, string)) {
	text := "A kind of answer to a first page that the standard does not have."
	switch d[0] & 0x0F {
	case 0:
		text = "Go on: send the next pages."
	case 1:
		text = "Wait: do not send the next pages yet."
	case 2:
		text = "Stop: the message is too long for the receiver."
	}
	add(1, "What to do", text, srcFlow)
	if t.pci > 1 {
		text = fmt.Sprintf("%d pages, then ask again.", d[1])
		if d[1] == 0 {
			text = "All pages without asking again."
		}
		add(1, "How many", text, srcFlow)
	}
	if t.pci > 2 {
		add(1, "How fast", separationText(d[2]), srcFlow)
	}
	add(len(t.rest), "Filling", "No meaning. It only fills the frame.", srcFlow)
}

// separationText: the separation time, 00 to 7F in ms, F1 to F9 in steps of 100 microseconds; the rest is reserved.
func separationText(b byte) string {
	switch {
	case b == 0:
		return "At least 0 ms between pages: as fast as the sender can."
	case b <= 0x7F:
		return fmt.Sprintf("At least %d ms between pages.", b)
	case b >= 0xF1 && b <= 0xF9:
		return fmt.Sprintf("At least %d µs between pages: %s ms.", int(b-0xF0)*100, "0."+string('0'+rune(b-0xF0)))
	}
	return "A pause that the standard keeps free. The longest one, 127 ms, is used instead."
}

func fillingText(rest []byte, n int) string {
	if n == 8 {
		return "No meaning. It only makes the frame 8 bytes long."
	}
	return "No meaning. It only fills the frame."
}

// whoText says who is meant by an identifier.
func whoText(id link.ID, w who, d Direction) string {
	switch {
	case d == Answer && w.module != nil:
		return fmt.Sprintf("The %s module speaks.", w.module.Name)
	case d == Answer && w.answer:
		text := fmt.Sprintf("The module that speaks at %s.", id)
		if ask, ok := link.DefaultRequest(id); ok {
			text += fmt.Sprintf(" It is asked at %s.", ask)
		}
		return text
	case w.class == Never && (d == Answer || d == Request):
		return upperFirst(w.why)
	case d == Answer:
		return fmt.Sprintf("%s is an identifier to ask at. Answers come elsewhere.", id)
	case d == Other || d == Flow && !w.known && !w.standard:
		if w.why == "" || w.answer {
			return fmt.Sprintf("The identifier %s.", id)
		}
		return fmt.Sprintf("The identifier %s. It is not one for requests.", id)
	case w.functional:
		return "All modules that follow the standard, at once. Some may not answer."
	}
	var b strings.Builder
	if w.module != nil {
		fmt.Fprintf(&b, "The %s module only.", w.module.Name)
	} else {
		fmt.Fprintf(&b, "The module that listens at %s.", id)
	}
	if w.reply.IsZero() {
		b.WriteString(" Where it answers is not known.")
	} else {
		fmt.Fprintf(&b, " It answers at %s.", w.reply)
	}
	b.WriteString(" Other modules ignore this.")
	return b.String()
}

// tongue is what is known of the standard that a module speaks.
type tongue uint8

const (
	unknown tongue = iota // taken for the newer one; what it would mean in the older one is said too
	newer                 // ISO 14229-1 or SAE J1979
	older                 // ISO 14230-3
)

func (w who) tongue() tongue {
	switch {
	case w.module == nil || w.module.Protocol == "":
		return unknown
	case w.older():
		return older
	}
	return newer
}

// payloadPieces splits a payload; more tells that it goes on in later frames.
func payloadPieces(p []byte, d Direction, t tongue, more bool) (source string, pieces []piece) {
	if len(p) == 0 {
		return srcFrame, nil
	}
	if d == Answer {
		return answerPieces(p, t == older, more)
	}
	return requestPieces(p, t, more)
}

func requestPieces(p []byte, t tongue, more bool) (string, []piece) {
	f := readFor(p, t == older)
	if f.service == nil {
		text := f.problem.String()
		switch {
		case isAnswer(p[0]) && serviceOf(p[0]&^0x40) == nil:
			text = "No request of the standards begins with this byte."
		case isAnswer(p[0]):
			text = whyAnswer
		}
		return srcFrame, cover(p, []piece{{1, "What to do", text}}, "Not understood", "What these bytes mean is not known.")
	}
	s := f.service
	said := fmt.Sprintf("%s. If it agrees, the answer begins with %02X (%02X + 40).", s.verb, s.id|0x40, s.id)
	if s.id == 0x04 {
		said = fmt.Sprintf("%s. There is no undo. If it agrees, the answer begins with 44 (04 + 40).", s.verb)
	}
	if note, differs := otherwise(p); differs && t == unknown {
		said += " " + note
	}
	c := cursor{b: p[1:], more: more, out: []piece{{1, "What to do", said}}}
	if s.sub {
		c.take(1, "How exactly", func([]byte) string { return subText(f, p) })
	}
	open := "The message goes on in the next pages."
	if !more {
		open = f.problem.String()
	}
	if body := bodies[s.id]; body != nil && s.family == ofUDS {
		var sub byte
		if s.sub && len(p) > 1 {
			sub = p[1] & 0x7F
		}
		body(&c, sub)
		if open == "" {
			open = "These bytes do not fit the form that the standard has."
		}
	} else if f.complete {
		l := f.layout
		for i, part := range l.parts {
			c.part(part)
			for i == len(l.parts)-1 && l.repeat > 1 && len(c.b) > 0 {
				c.part(part)
			}
		}
	}
	if problem := f.problem.String(); len(c.b) == 0 && problem != "" && !more {
		last := &c.out[len(c.out)-1]
		if !strings.Contains(last.text, problem) {
			last.text += " " + problem
		}
	}
	return s.source(), cover(p, c.out, "Not understood", open)
}

func subText(f form, p []byte) string {
	text := fmt.Sprintf("Variant %02X.", p[1]&0x7F)
	if verb := verbOf(f.service.id, p[1]); verb != "" {
		text = upperFirst(verb) + "."
	} else if makersOwn(p, int(p[1]&0x7F)) {
		text = fmt.Sprintf("A mode of the maker's own, number %02X.", p[1]&0x7F)
	} else if problem := f.problem.String(); problem != "" {
		text += " " + problem
	}
	if f.silent(p) {
		text += " And do not answer (its first bit, 80, is set)."
	}
	return text
}

// verbOf is what a sub-function asks for; "" when the standard does not have it. Its bit 0x80 does not count.
func verbOf(id, sub byte) string {
	for _, l := range layouts[id] {
		if l.sub == int(sub&0x7F) || l.sub == anySub && l.valid([]byte{id, sub}) {
			return l.verb
		}
	}
	return ""
}

// cover adds what pieces leave over as one more piece.
func cover(p []byte, pieces []piece, name, text string) []piece {
	n := 0
	for _, x := range pieces {
		n += x.n
	}
	if n < len(p) {
		pieces = append(pieces, piece{len(p) - n, name, text})
	}
	return pieces
}
