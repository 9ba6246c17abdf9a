package explain

import (
	"cmp"

	"readback/diag/kwp"
	"readback/diag/link"
	"readback/diag/uds"
)

// Brief is what a list shows of a frame or message. It holds no words of its own: to make one allocates nothing.
type Brief struct {
	Direction Direction
	Service   byte  // the service identifier without the answer bit; of a refusal, the refused one; 0 when there is none
	Refusal   byte  // the code of a refusal; 0 when it is none
	Class     Class // as of [Classify] or [ExplainMessage]
	Part      bool  // the frame carries a part of a longer message
	Text      string
}

// Summary is the short form of [ExplainMessage]: what kind of message it is and what may be done with it, without its
// values. It allocates nothing.
func Summary(a link.Address, payload []byte, o Options) Brief {
	if len(payload) == 0 {
		return Brief{Direction: Other, Class: Never, Text: "An empty message."}
	}
	id, first := a.Request, [1]byte{a.Target}
	if isAnswer(payload[0]) {
		id, first = a.Answer, [1]byte{a.Source}
	}
	w := identify(id, first[:], &o)
	w.functional = w.functional || a.Functional
	if isAnswer(payload[0]) {
		return briefAnswer(payload, w)
	}
	b := briefRequest(payload, w)
	if w.class != Never && len(payload) <= room(a) {
		b.Class = judge(payload, w, &o).class
	}
	return b
}

// SummaryFrame is the short form of [ExplainFrame]. It allocates nothing.
func SummaryFrame(id link.ID, data []byte, o Options) Brief {
	w := identify(id, data, &o)
	t := split(data, w.skip)
	d := directionOf(id, w, t)
	switch {
	case d == Flow:
		return Brief{Direction: Flow, Class: Never, Text: flowTexts[min(data[t.skip]&0x0F, 3)]}
	case t.kind == following && d == Answer:
		return Brief{Direction: Answer, Class: Never, Part: true, Text: "A later page of a long answer."}
	case t.kind == following:
		return Brief{Direction: d, Class: Never, Part: true, Text: "A later page of a long message."}
	case d == Other:
		return Brief{Direction: Other, Class: Never, Text: "A message of the running car, or one that can't be read."}
	}
	var b Brief
	if d == Answer {
		b = briefAnswer(t.payload, w)
	} else if b = briefRequest(t.payload, w); w.class != Never {
		b.Class = judgeFrame(w, t, &o).class
	}
	b.Part = t.kind == first
	return b
}

var flowTexts = [...]string{"Go on: send the next pages.", "Wait: do not send the next pages yet.",
	"Stop: the message is too long for the receiver.", "A kind of flow control that the standard does not have."}

func briefRequest(p []byte, w who) Brief {
	texts := &requestTexts
	if w.older() {
		texts = &olderRequestTexts
	}
	b := Brief{Direction: Request, Service: p[0], Class: Never, Text: texts[p[0]]}
	if p[0] == readByIdentifier && len(p) == 3 && p[1] == platesPage && !w.older() {
		b.Text = cmp.Or(plateTexts[p[2]], b.Text)
	}
	return b
}

const (
	readByIdentifier = 0x22
	platesPage       = 0xF1 // the upper byte of the identifiers of name plates
)

func briefAnswer(p []byte, w who) Brief {
	b := Brief{Direction: Answer, Class: Never}
	switch {
	case p[0] != 0x7F:
		b.Service, b.Text = p[0]&^0x40, answerTexts[p[0]]
		if w.older() {
			b.Text = olderAnswerTexts[p[0]]
		}
	case len(p) < 3:
		b.Text = "A refusal cut short."
		if len(p) == 2 {
			b.Service = p[1]
		}
	default:
		b.Service, b.Refusal, b.Text = p[1], p[2], refusalTexts[p[2]]
		if w.older() {
			b.Text = olderRefusalTexts[p[2]]
		}
	}
	return b
}

// The words of every first byte and of every refusal, made once.
var (
	plateTexts        = platesAsked()
	requestTexts      = firstTexts(serviceOf, "An unknown request.", false)
	olderRequestTexts = firstTexts(olderServiceOf, "An unknown request.", false)
	answerTexts       = firstTexts(serviceOf, "An unknown answer.", true)
	olderAnswerTexts  = firstTexts(olderServiceOf, "An unknown answer.", true)
	refusalTexts      = refusedTexts(func(c byte) string { return uds.NRC(c).Text() })
	olderRefusalTexts = refusedTexts(func(c byte) string { return kwp.NRC(c).Text() })
)

func firstTexts(find func(byte) *service, unknown string, answers bool) (out [256]string) {
	for i := range out {
		b := byte(i)
		out[i] = unknown
		s := find(b &^ 0x40)
		if s == nil || isAnswer(b) != answers {
			continue
		}
		out[i] = s.verb + "."
		if answers {
			out[i] = "Agreed: " + lowerFirst(s.verb) + "."
			if t := doneText(s, []byte{b}); t != "" {
				out[i] = upperFirst(t) + "."
			}
		}
	}
	return out
}

func platesAsked() (out [256]string) {
	for i := range out {
		if n := didName(platesPage<<8 | uint16(i)); n != "" {
			out[i] = "Tell: " + n + "."
		}
	}
	return out
}

func refusedTexts(text func(byte) string) (out [256]string) {
	for i := range out {
		out[i] = "Refused: " + text(byte(i)) + "."
	}
	out[understood] = "Understood, needs a moment."
	return out
}
