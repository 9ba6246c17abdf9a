package explain

import (
	"fmt"
	"strings"

	"readback/diag/link"
)

// ExplainFrame explains one frame as it is, without looking for typing errors: for frames off the wire, and for those
// the program made. The fields cover the identifier and every data byte once. More than 8 bytes are no frame.
func ExplainFrame(id link.ID, data []byte, o Options) Explanation {
	e := explainFrame(id, data, o)
	e.Input = Canonical(id, data)
	return e
}

func explainFrame(id link.ID, data []byte, o Options) Explanation {
	e := Explanation{Direction: Other, Class: Never, Fields: []Field{}, Findings: []Finding{}, Nearest: []Near{}}
	if len(data) > 8 {
		e.Reason = "A classical CAN frame has no more than 8 bytes."
		e.Summary = fmt.Sprintf("%d bytes: no single frame holds them.", len(data))
		return e
	}
	w := whoIs(id, data, o)
	t := split(data, w.skip)
	data = append([]byte(nil), data...)
	e.Frame = &Frame{ID: id, IDText: id.String(), Extended: id.Extended, Data: data, DataText: fmt.Sprintf("%X", data)}
	words := Words(id, data)
	e.Words = &words
	e.Direction = directionOf(id, w, t)
	if e.Class, e.Reason = Never, w.why; w.class != Never {
		j := judgeFrame(w, t, &o)
		e.Class, e.Reason = j.class, j.reason()
	}
	if len(t.payload) > 0 && (t.kind == single || t.kind == first) {
		e.Service, e.Term = serviceText(t.payload, e.Direction), termOf(t.payload, w.older())
	}
	e.Fields = fieldsOf(id, data, w, t, e.Direction)
	e.Summary = summaryOf(id, w, t, e)
	margin(&e, w, t)
	return e
}

func directionOf(id link.ID, w who, t transport) Direction {
	diagnostic := w.answer || w.known || w.standard || id.Diagnostic()
	switch {
	case !diagnostic:
		return Other
	case t.kind == flow:
		return Flow
	case t.kind == following && w.answer:
		return Answer
	case t.kind == following || t.kind == broken:
		return Other
	case len(t.payload) == 0:
		return Other
	case w.answer && t.kind == first, isAnswer(t.payload[0]) && t.kind == single:
		return Answer
	}
	return Request
}

// serviceText is the service identifier without the answer bit; a refusal belongs to the service it refuses.
func serviceText(p []byte, d Direction) string {
	switch {
	case d == Answer && p[0] == 0x7F:
		if len(p) < 2 {
			return ""
		}
		return fmt.Sprintf("%02X", p[1])
	case d == Answer:
		return fmt.Sprintf("%02X", p[0]&^0x40)
	}
	return fmt.Sprintf("%02X", p[0])
}

// termOf is what the service of a request or answer is called in its standard.
func termOf(p []byte, older bool) string {
	id := p[0] &^ 0x40
	if p[0] == 0x7F {
		if len(p) < 2 || isAnswer(p[1]) {
			return ""
		}
		id = p[1]
	}
	if s := answeredService(id|0x40, older); s != nil {
		return s.term
	}
	return ""
}

// summaryOf says the whole frame in one or two sentences.
func summaryOf(id link.ID, w who, t transport, e Explanation) string {
	switch e.Direction {
	case Flow:
		return "A receiver tells how a long message is to be sent."
	case Other:
		if t.kind == following {
			return "A later page of a long message."
		}
		if why := t.why.String(); why != "" {
			return "This is no request. " + why
		}
		return fmt.Sprintf("A message of the running car at %s. It is no request.", id)
	case Answer:
		if t.kind == following {
			return string(appendAnswerer(nil, id, w)) + ": a later page of a long answer."
		}
		if t.kind == first {
			return fmt.Sprintf("%s: the first page of a long answer of %d bytes to %s.", appendAnswerer(nil, id, w), t.count, e.Service)
		}
		return answering(id, w, t.payload)
	}
	if t.kind == first {
		return "The first page of a long request. Whole, it may " + phraseOfPart(t.payload, w.older()) + ". It must not go out."
	}
	return asking(id, w, t.payload)
}

// appendAnswerer appends who answers.
func appendAnswerer(b []byte, id link.ID, w who) []byte {
	switch {
	case w.module != nil:
		return append(append(append(b, "The "...), w.module.Name...), " module"...)
	case id.IsZero():
		return append(b, "An answer"...)
	}
	return id.Append(append(b, "An answer at "...))
}

// answering says a whole answer in a line.
func answering(id link.ID, w who, p []byte) string {
	var room [192]byte
	b := appendSaid(append(appendAnswerer(room[:0], id, w), ": "...), nil, p, w.older())
	if b[len(b)-1] != '.' {
		b = append(b, '.')
	}
	return string(b)
}

// asking says a whole request in a sentence or two.
func asking(id link.ID, w who, p []byte) string {
	target := "the module at " + id.String()
	switch {
	case id.IsZero():
		target = "a module"
	case w.functional:
		target = "all modules at once"
	case w.module != nil:
		target = "the " + w.module.Name + " module"
	}
	what := phraseFor(p, w.older())
	if w.functional {
		what = strings.ReplaceAll(what, " its ", " their ")
	}
	return "Ask " + target + " to " + what + "." + coming(w, p)
}

// phrase is what a request asks for, after "Ask it to".
func phrase(p []byte) string { return phraseFor(p, false) }

// phraseOfPart is what the beginning of a request asks for.
func phraseOfPart(p []byte, older bool) string {
	f := readFor(p, older)
	if f.service == nil {
		return "be something unknown"
	}
	return "ask to " + lowerFirst(f.service.verb)
}

func phraseFor(p []byte, older bool) string {
	f := readFor(p, older)
	switch {
	case f.service == nil:
		return fmt.Sprintf("do something unknown (%02X)", p[0])
	case !f.complete && !older && makersOwn(p, int(p[len(p)-1]&0x7F)):
		return fmt.Sprintf("open a mode of the maker's own (%02X)", p[1])
	case !f.complete:
		return fmt.Sprintf("%s, in a form that can't be read", lowerFirst(f.service.verb))
	}
	switch p[0] {
	case 0x14:
		switch {
		case len(p) == 3 && be16(p[1:]) == 0xFF00, len(p) > 3 && be24(p[1:]) == 0xFFFFFF:
			return "forget every stored trouble code"
		case len(p) > 3 && groups[be24(p[1:])] == "":
			return "forget the trouble code " + codeName(p[1:4])
		}
		return "forget a group of trouble codes"
	case 0x22:
		names := make([]string, 0, 3)
		for i := 1; i+1 < len(p); i += 2 {
			n := didName(be16(p[i:]))
			if n == "" {
				n = fmt.Sprintf("the value %04X", be16(p[i:]))
			}
			names = append(names, n)
		}
		if n := len(names) - 6; n > 0 {
			names = append(names[:6], fmt.Sprintf("%d more", n))
		}
		return "tell: " + join(names, "and")
	case 0x01:
		names := make([]string, 0, 6)
		for _, b := range p[1:] {
			names = append(names, strings.TrimSuffix(lowerFirst(pidText(b)), "."))
		}
		return "tell: " + join(names, "and")
	}
	return f.layout.verb
}

// coming tells what the record knows of the codes that a clear would forget.
func coming(w who, p []byte) string {
	if w.module == nil || w.module.Codes <= 0 || p[0] != 0x14 && p[0] != 0x04 {
		return ""
	}
	text := fmt.Sprintf(" It holds %s.", count(w.module.Codes, "code", "codes"))
	switch n := w.module.Now; {
	case n == 1:
		text += " One of them is there now and will come back."
	case n > 1:
		text += fmt.Sprintf(" %d of them are there now and will come back.", n)
	}
	return text
}
