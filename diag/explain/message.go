package explain

import (
	"fmt"

	"readback/diag/link"
)

// ExplainMessage explains a whole message of a conversation, without transport bytes: a request to the address or an
// answer from it, which the first byte tells apart. Frame and Words are nil; the fields cover Payload once, after one for
// the identifier. A message of no bytes has no fields but that.
//
// A request is classified as if it were written by hand: what does not fit into one frame is [Never], and the reason says
// what it would be as a whole. Its cost is that of the words it makes; for lists of many messages see [Summary].
func ExplainMessage(a link.Address, payload []byte, o Options) Explanation {
	id, w := sender(a, payload, &o)
	if w.refused != "" {
		w.why = fmt.Sprintf(w.refused, id)
	}
	return explainMessage(id, w, payload, len(payload), room(a), &o)
}

// MessageSummary is the Summary of [ExplainMessage] alone, at a fraction of its cost.
func MessageSummary(a link.Address, payload []byte, o Options) string {
	id, w := sender(a, payload, &o)
	return summaryOfMessage(id, w, payload)
}

// sender is the identifier that a message came on or went out on, and whose it is.
func sender(a link.Address, payload []byte, o *Options) (link.ID, who) {
	id, first := a.Request, [1]byte{a.Target}
	if len(payload) > 0 && isAnswer(payload[0]) {
		id, first = a.Answer, [1]byte{a.Source}
	}
	w := identify(id, first[:], o)
	w.functional = w.functional || a.Functional
	if w.reply.IsZero() {
		w.reply = a.Answer
	}
	return id, w
}

func summaryOfMessage(id link.ID, w who, payload []byte) string {
	switch {
	case len(payload) == 0:
		return "An empty message."
	case isAnswer(payload[0]):
		return answering(id, w, payload)
	}
	return asking(id, w, payload)
}

// ExplainFrames explains the message that several frames of one identifier carry: a first frame and the consecutive
// frames after it, or a single frame, in the order in which they came. Flow control and frames of other identifiers do
// not belong to them. Findings, whose At counts the frames, tell what is missing or out of order; what has come in order
// is explained. The rest is as for [ExplainMessage].
func ExplainFrames(id link.ID, frames [][]byte, o Options) Explanation {
	var data []byte
	if len(frames) > 0 {
		data = frames[0]
	}
	w := whoIs(id, data, o)
	payload, total, findings := joined(frames, w.skip)
	e := explainMessage(id, w, payload, total, 7-w.skip, &o)
	e.Findings = append(e.Findings, findings...)
	if len(findings) > 0 {
		e.Class, e.Reason = Never, "It is not whole. "+findings[0].Text
	}
	return e
}

// joined puts the payloads of frames together as far as they are in order. total is the announced length.
func joined(frames [][]byte, skip int) (payload []byte, total int, findings []Finding) {
	found := func(code string, at int, text string) {
		findings = append(findings, Finding{Code: code, Level: Wrong, At: at, Text: text})
	}
	if len(frames) == 0 {
		found("no-frames", -1, "There is no frame.")
		return nil, 0, findings
	}
	t := split(frames[0], skip)
	switch t.kind {
	case single:
		if len(frames) > 1 {
			found("page-too-many", 1, "The message was complete in one frame.")
		}
		return t.payload, t.count, findings
	case first:
		total = t.count
		payload = append(payload, t.payload[:min(len(t.payload), total)]...)
	default:
		found("no-first-page", 0, "The first page of the message is missing.")
		return nil, 0, findings
	}
	for i, data := range frames[1:] {
		t := split(data, skip)
		switch {
		case t.kind != following:
			found("page-foreign", i+1, "This frame is no later page of the message.")
			return payload, total, findings
		case len(payload) == total:
			found("page-too-many", i+1, "The message was complete before.")
			return payload, total, findings
		case t.count != (i+1)&0x0F:
			found("page-order", i+1, fmt.Sprintf("Page %d came where page %d belongs: one is missing, doubled or out of order.", t.count, (i+1)&0x0F))
			return payload, total, findings
		}
		payload = append(payload, t.payload[:min(len(t.payload), total-len(payload))]...)
	}
	if len(payload) < total {
		found("page-missing", len(frames), fmt.Sprintf("%d of %s have come.", len(payload), counts(total)))
	}
	return payload, total, findings
}

// explainMessage explains what has come of a message of total bytes.
func explainMessage(id link.ID, w who, payload []byte, total, room int, o *Options) Explanation {
	payload = append([]byte{}, payload...)
	e := Explanation{Direction: Other, Class: Never, Fields: []Field{}, Findings: []Finding{}, Nearest: []Near{},
		Payload: payload, PayloadText: fmt.Sprintf("%X", payload)}
	name, text := "Whose message", "Where it belongs is not known."
	if len(payload) == 0 {
		e.Summary, e.Reason = summaryOfMessage(id, w, payload), "There is nothing in it."
		e.Fields = append(e.Fields, identifierField(id, name, text))
		margin(&e, w, transport{})
		return e
	}
	e.Input = fmt.Sprintf("%s %X", identifierText(id), payload)
	e.Direction, name = Request, "Who is asked"
	if isAnswer(payload[0]) {
		e.Direction, name = Answer, "Who answers"
	}
	if !id.IsZero() {
		text = whoText(id, w, e.Direction)
	}
	e.Service, e.Term = serviceText(payload, e.Direction), termOf(payload, w.older())
	e.Fields = append(e.Fields, identifierField(id, name, text))
	source, pieces := payloadPieces(payload, e.Direction, w.tongue(), len(payload) < total)
	at := 0
	for _, p := range pieces {
		e.Fields = append(e.Fields, Field{From: at, To: at + p.n, Hex: hexOf(payload[at : at+p.n]), Name: p.name, Text: p.text, Source: p.sourceIn(source)})
		at += p.n
	}
	e.Summary = summaryOfMessage(id, w, payload)
	if e.Direction == Answer {
		e.Reason = whyAnswer
	} else {
		j := judgement{class: Never, why: worded(w.why)}
		if w.class != Never {
			j = judgePayload(w, payload, room, o)
		}
		e.Class, e.Reason = j.class, j.reason()
	}
	margin(&e, w, transport{kind: single, payload: payload})
	return e
}

func identifierText(id link.ID) string {
	if id.IsZero() {
		return ""
	}
	return id.String()
}

func identifierField(id link.ID, name, text string) Field {
	return Field{From: -1, To: 0, Hex: identifierText(id), Name: name, Text: text, Source: srcIDs}
}
