package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"readback/diag/heard"
	"readback/diag/link"
	"readback/diag/signal"
	"readback/diag/talk"
)

// textForm tells a recording to people.
type textForm struct {
	w      *bufio.Writer
	raw    bool
	also   bool  // the heading of the table stands
	second int64 // that time is of
	time   []byte
}

func (f *textForm) briefs() bool { return false }

const clock = "15:04:05.000000"

func (f *textForm) begin(file string) { fmt.Fprintf(f.w, "The recording %s\n\n", file) }

func (f *textForm) exchange(x *talk.Exchange, said func(*talk.Message) string) {
	b := append(f.w.AvailableBuffer(), f.clock(x.At)...)
	if x.Outcome == talk.Trouble {
		f.w.Write(append(append(append(b, "  TROUBLE  "...), x.Text...), '\n'))
		return
	}
	b = append(b, "  "...)
	if x.Module != "" {
		b = append(append(b, x.Module...), ' ')
	}
	b = append(x.AppendWords(append(x.Address.Append(b), ": "...)), '\n')
	for i := range x.Messages {
		m := &x.Messages[i]
		who := "    said   "
		if m.Question {
			who = "    asked  "
		}
		b = append(append(appendBytes(append(b, who...), m.Payload), "  "...), said(m)...)
		b = append(b, '\n')
		if !f.raw {
			continue
		}
		for _, fr := range m.Frames {
			arrow := " < "
			if fr.Out {
				arrow = " > "
			}
			b = append(append(append(b, "        "...), f.clock(fr.At)...), arrow...)
			b = appendHex(append(fr.ID.Append(b), "  "...), fr.Data)
			b = append(b, '\n')
		}
	}
	f.w.Write(b) // an error comes out when the writer is flushed
}

// clock is a time of the day. The time zone is asked about once in a second of the recording.
func (f *textForm) clock(at time.Time) []byte {
	if second := at.Unix(); second != f.second || len(f.time) == 0 {
		f.second, f.time = second, at.Local().AppendFormat(f.time[:0], clock)
		return f.time
	}
	micros := at.Nanosecond() / 1000
	for i := len(f.time) - 1; i >= len(clock)-6; i-- {
		f.time[i] = byte('0' + micros%10)
		micros /= 10
	}
	return f.time
}

// appendBytes appends a payload, shortened where it is long.
func appendBytes(b, payload []byte) []byte {
	const most = 24
	if len(payload) <= most {
		return appendHex(b, payload)
	}
	b = append(appendHex(b, payload[:most]), " ... ("...)
	return append(strconv.AppendInt(b, int64(len(payload)), 10), " bytes)"...)
}

// appendHex appends bytes as pairs of hex digits with blanks between them.
func appendHex(b, data []byte) []byte {
	const digits = "0123456789ABCDEF"
	for i, x := range data {
		if i > 0 {
			b = append(b, ' ')
		}
		b = append(b, digits[x>>4], digits[x&0xF])
	}
	return b
}

func (f *textForm) identifier(r heard.Row, values []signal.Value) {
	if !f.also {
		f.also = true
		fmt.Fprintf(f.w, "\nAlso on the bus, by identifier: frames, mean period and its spread, share of the bits, the last data; bytes that change stand in [ ].\n")
	}
	every := "once"
	if r.Count > 1 {
		every = fmt.Sprintf("%s ± %s", talk.Lasting(r.Period), talk.Lasting(r.Jitter))
	}
	fmt.Fprintf(f.w, "  %-8s %8d  %-22s %5.1f %%  %s", r.ID, r.Count, every, 100*r.Share, dataText(r))
	if r.Name != "" {
		fmt.Fprintf(f.w, "  %s", r.Name)
	}
	fmt.Fprintln(f.w)
	for _, v := range values {
		fmt.Fprintf(f.w, "             %s: %s", v.Signal.Name, v)
		if v.Outside() {
			fmt.Fprintf(f.w, " (outside of %g to %g)", v.Signal.Min, v.Signal.Max)
		}
		fmt.Fprintln(f.w)
	}
}

func dataText(r heard.Row) string {
	if r.Remote {
		return "a request for its data"
	}
	var b strings.Builder
	for i := range r.Length {
		if r.Changed>>i&1 != 0 {
			fmt.Fprintf(&b, "[%02X]", r.Data[i])
		} else {
			fmt.Fprintf(&b, " %02X ", r.Data[i])
		}
	}
	return strings.TrimRight(b.String(), " ")
}

func (f *textForm) end(s framesSummary) {
	fmt.Fprintf(f.w, "\n%d frames in %s: %d exchanges, and %d frames outside of the conversation.\n",
		s.Frames, talk.Lasting(time.Duration(s.LastedMs*float64(time.Millisecond))), s.Exchanges, s.Other)
	if s.Problem != "" {
		fmt.Fprintln(f.w, "The file could not be read to its end.")
	}
}

// jsonForm writes one document piece by piece, so that it needs no more memory for a long recording.
type jsonForm struct {
	w    *bufio.Writer
	raw  bool
	rows int
	ids  int
}

type exchangeLine struct {
	Number   uint32        `json:"number"`
	At       time.Time     `json:"at"`
	Request  string        `json:"request"`
	Answer   string        `json:"answer"`
	Module   string        `json:"module"`
	Outcome  talk.Outcome  `json:"outcome"`
	TookMs   *float64      `json:"tookMs"` // null without an answer to a question
	Waits    int           `json:"waits"`
	Service  string        `json:"service"`
	Class    string        `json:"class"`
	Text     string        `json:"text"`
	Messages []messageLine `json:"messages"`
}

type messageLine struct {
	Question bool        `json:"question"`
	ID       string      `json:"id"`
	At       time.Time   `json:"at"` // of its last frame
	Payload  string      `json:"payload"`
	Whole    bool        `json:"whole"`
	Want     int         `json:"want"`
	Summary  string      `json:"summary"`
	Frames   []frameLine `json:"frames,omitempty"`
}

type frameLine struct {
	At   time.Time `json:"at"`
	Out  bool      `json:"out"`
	ID   string    `json:"id"`
	Data string    `json:"data"`
}

type identifierLine struct {
	ID       string       `json:"id"`
	Name     string       `json:"name"`
	Count    int          `json:"count"`
	PeriodMs float64      `json:"periodMs"`
	JitterMs float64      `json:"jitterMs"`
	Share    float64      `json:"share"`
	Data     string       `json:"data"`
	Changed  []int        `json:"changed"` // places of the bytes that change, from 0
	Signals  []signalLine `json:"signals"`
}

type signalLine struct {
	Name    string `json:"name"`
	Value   string `json:"value"` // as digits, so that no digit is lost; "" when the frame does not hold it
	Unit    string `json:"unit"`
	Text    string `json:"text"`
	Outside bool   `json:"outside"`
}

// item writes one element of a list, and what stands before it.
func (f *jsonForm) item(n int, v any) {
	if n > 0 {
		f.w.WriteByte(',')
	}
	f.w.WriteString("\n    ")
	f.value(v)
}

// value writes plain values, which can always be encoded.
func (f *jsonForm) value(v any) {
	b, err := json.Marshal(v)
	if err != nil {
		b = []byte("null")
	}
	f.w.Write(b)
}

func (f *jsonForm) briefs() bool { return true }

func (f *jsonForm) begin(file string) {
	f.w.WriteString("{\n  \"file\": ")
	f.value(file)
	f.w.WriteString(",\n  \"conversation\": [")
}

func (f *jsonForm) exchange(x *talk.Exchange, said func(*talk.Message) string) {
	l := exchangeLine{Number: x.Number, At: x.At, Request: idText(x.Address.Request), Answer: idText(x.Address.Answer), Module: x.Module, Outcome: x.Outcome,
		Waits: x.Waits, Class: string(x.Asked.Class), Text: x.Text, Messages: []messageLine{}}
	if x.Took > 0 {
		ms := millis(x.Took)
		l.TookMs = &ms
	}
	if b := x.Asked; b.Text != "" {
		l.Service = fmt.Sprintf("%02X", b.Service)
	} else if x.Said.Text != "" {
		l.Service = fmt.Sprintf("%02X", x.Said.Service)
	}
	for i := range x.Messages {
		m := &x.Messages[i]
		id := m.Address.Answer
		if m.Question {
			id = m.Address.Request
		}
		line := messageLine{Question: m.Question, ID: idText(id), At: m.Ended, Payload: fmt.Sprintf("%X", m.Payload), Whole: m.Whole, Want: m.Want, Summary: said(m)}
		if f.raw {
			for _, fr := range m.Frames {
				line.Frames = append(line.Frames, frameLine{fr.At, fr.Out, fr.ID.String(), fmt.Sprintf("%X", fr.Data)})
			}
		}
		l.Messages = append(l.Messages, line)
	}
	f.item(f.rows, l)
	f.rows++
}

func (f *jsonForm) list() {
	if f.ids == 0 {
		f.w.WriteString("\n  ],\n  \"identifiers\": [")
	}
}

func (f *jsonForm) identifier(r heard.Row, values []signal.Value) {
	f.list()
	l := identifierLine{ID: r.ID.String(), Name: r.Name, Count: r.Count, PeriodMs: millis(r.Period), JitterMs: millis(r.Jitter), Share: r.Share, Changed: []int{}, Signals: []signalLine{}}
	if !r.Remote {
		l.Data = fmt.Sprintf("%X", r.Data[:r.Length])
	}
	for i := range r.Length {
		if r.Changed>>i&1 != 0 {
			l.Changed = append(l.Changed, i)
		}
	}
	for _, v := range values {
		l.Signals = append(l.Signals, signalLine{v.Signal.Name, v.Digits(), v.Signal.Unit, v.Text, v.Outside()})
	}
	f.item(f.ids, l)
	f.ids++
}

func (f *jsonForm) end(s framesSummary) {
	f.list()
	f.w.WriteString("\n  ],\n  \"summary\": ")
	f.value(s)
	f.w.WriteString("\n}\n")
}

// idText is an identifier, "" where it is not known.
func idText(id link.ID) string {
	if id.IsZero() {
		return ""
	}
	return id.String()
}
