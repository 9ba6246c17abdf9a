package signal

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"go.einride.tech/can"

	"readback/diag/link"
)

// extendedFlag marks a 29-bit identifier. independent is the number of the message that holds signals without one.
const (
	extendedFlag = 1 << 31
	independent  = 0xC0000000
)

func (p *parser) whole(what string, least, most int64) (int64, error) {
	if p.ahead[0].kind != word {
		return 0, p.wants(what)
	}
	n, err := strconv.ParseInt(p.ahead[0].text, 10, 64)
	if err != nil {
		f, ferr := strconv.ParseFloat(p.ahead[0].text, 64) // 5.0 and 1e3 are written for whole numbers, too
		if ferr != nil || f != math.Trunc(f) || math.Abs(f) > 1<<62 {
			return 0, p.wants(what)
		}
		n = int64(f)
	}
	if n < least || n > most {
		return 0, fmt.Errorf("%s is %d, which is not between %d and %d", what, n, least, most)
	}
	p.take()
	return n, nil
}

func (p *parser) number(what string) (float64, string, error) {
	if p.ahead[0].kind != word {
		return 0, "", p.wants(what)
	}
	f, err := strconv.ParseFloat(p.ahead[0].text, 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) || math.IsNaN(f) || math.IsInf(f, 0) {
		return 0, "", p.wants(what)
	}
	return f, p.take().text, nil
}

// identifier reads the number of a message.
func (p *parser) identifier() (id link.ID, none bool, err error) {
	n, err := p.whole("the number of a message", 0, math.MaxUint32)
	switch {
	case err != nil:
		return link.ID{}, false, err
	case n == independent:
		return link.ID{}, true, nil
	case n&extendedFlag != 0:
		if n&^extendedFlag > can.MaxExtendedID {
			return link.ID{}, false, fmt.Errorf("the identifier %X has more than 29 bits", n&^extendedFlag)
		}
		return link.ID29(uint32(n)), false, nil
	case n > can.MaxID:
		return link.ID{}, false, fmt.Errorf("the identifier %X has more than 11 bits and is not marked as 29-bit", n)
	}
	return link.ID11(uint32(n)), false, nil
}

// messageLine: BO_ number name: length sender
func (p *parser) messageLine() error {
	p.message = -1
	id, none, err := p.identifier()
	if none || err != nil {
		return err
	}
	m := Message{ID: id}
	if m.Name, err = p.name(); err != nil {
		return err
	}
	if err = p.expect(":"); err != nil {
		return err
	}
	n, err := p.whole("the length in bytes", 0, maxLength)
	if err != nil {
		return err
	}
	m.Length = int(n)
	if p.ahead[0].kind == word && !p.ahead[0].first {
		m.Sender = p.take().text
	}
	if _, twice := p.file.byID[id]; twice {
		return fmt.Errorf("the identifier %s is described twice; the first description is used", id)
	}
	p.message = len(p.file.Messages)
	p.file.byID[id] = p.message
	p.file.Messages = append(p.file.Messages, m)
	return nil
}

// maxInMessage is how many signals one message may have: more than a data field of 64 bytes has bits, for the switches.
const maxInMessage = 2048

// signalLine: SG_ name [M|m5|m5M] : start|bits@order sign (factor,offset) [min|max] "unit" receivers
func (p *parser) signalLine() error {
	if p.message < 0 {
		return nil // its message could not be read, which has been told, or has no identifier
	}
	m := &p.file.Messages[p.message]
	s, err := p.signal()
	if err != nil {
		return err
	}
	if _, twice := m.Signal(s.Name); twice {
		return fmt.Errorf("the signal %s is there twice; the first one is used", s.Name)
	}
	if p.signals++; p.signals > MaxSignals || len(m.Signals) == maxInMessage {
		return fmt.Errorf("more than %d signals, or %d in one message; this one is left out", MaxSignals, maxInMessage)
	}
	if last := s.last(); last >= 8*maxLength {
		return fmt.Errorf("the signal %s ends behind the longest data field there is", s.Name)
	} else if last >= 8*m.Length {
		p.problem(p.line, "SG_: the signal %s ends behind the %d bytes of its message", s.Name, m.Length)
	}
	m.Signals = append(m.Signals, s)
	return nil
}

// last is the place of the last bit that a signal needs, counted from the beginning of the data field.
func (s *Signal) last() int {
	if s.BigEndian {
		return s.Start/8*8 + 7 - s.Start%8 + s.Bits - 1
	}
	return s.Start + s.Bits - 1
}

func (p *parser) signal() (s Signal, err error) {
	if s.Name, err = p.name(); err != nil {
		return s, err
	}
	if p.ahead[0].kind == word {
		if err = s.role(p.take().text); err != nil {
			return s, err
		}
	}
	if err = p.expect(":"); err != nil {
		return s, err
	}
	if err = p.place(&s); err != nil {
		return s, err
	}
	if err = p.scale(&s); err != nil {
		return s, err
	}
	s.Unit, err = p.quoted()
	return s, err
}

// role reads what stands between the name of a signal and the colon.
func (s *Signal) role(text string) error {
	rest, isSwitch := strings.CutSuffix(text, "M")
	s.Switch = isSwitch
	if isSwitch && rest == "" {
		return nil
	}
	digits, ok := strings.CutPrefix(rest, "m")
	n, err := strconv.ParseUint(digits, 10, 32)
	if !ok || err != nil {
		return fmt.Errorf("%q is neither M nor m with a number", shown(text))
	}
	s.Selected = &Selected{Ranges: []Range{{int64(n), int64(n)}}}
	return nil
}

// place reads start|bits@order sign.
func (p *parser) place(s *Signal) error {
	start, err := p.whole("the first bit", 0, 8*maxLength-1)
	if err != nil {
		return err
	}
	if err := p.expect("|"); err != nil {
		return err
	}
	bits, err := p.whole("the number of bits", 1, 64)
	if err != nil {
		return err
	}
	s.Start, s.Bits = int(start), int(bits)
	if err := p.expect("@"); err != nil {
		return err
	}
	switch t := p.ahead[0]; t.text {
	case "0+", "0-", "1+", "1-":
		s.BigEndian, s.Signed = t.text[0] == '0', t.text[1] == '-'
		p.take()
		return nil
	}
	return p.wants("0 or 1 and a sign")
}

// scale reads (factor,offset) and [min|max].
func (p *parser) scale(s *Signal) (err error) {
	var factor, offset string
	if s.Factor, s.Offset, factor, offset, err = p.pair("(", "the factor", ",", "the offset", ")"); err != nil {
		return err
	}
	s.whole = s.Factor == math.Trunc(s.Factor) && s.Offset == math.Trunc(s.Offset)
	s.decimals = max(decimals(factor), decimals(offset))
	if decimals(factor) < 0 || decimals(offset) < 0 {
		s.decimals = -1
	}
	s.Min, s.Max, _, _, err = p.pair("[", "the least value", "|", "the largest value", "]")
	return err
}

// pair reads two numbers with the marks before, between and behind them, and returns them as they are written, too.
func (p *parser) pair(before, one, between, other, behind string) (a, b float64, textA, textB string, err error) {
	if err = p.expect(before); err != nil {
		return a, b, textA, textB, err
	}
	if a, textA, err = p.number(one); err != nil {
		return a, b, textA, textB, err
	}
	if err = p.expect(between); err != nil {
		return a, b, textA, textB, err
	}
	if b, textB, err = p.number(other); err != nil {
		return a, b, textA, textB, err
	}
	return a, b, textA, textB, p.expect(behind)
}

// decimals counts the digits behind the point of a number; -1 when it has an exponent or very many of them.
func decimals(text string) int {
	if strings.ContainsAny(text, "eE") {
		return -1
	}
	_, behind, _ := strings.Cut(text, ".")
	if n := len(strings.TrimRight(behind, "0")); n <= 12 {
		return n
	}
	return -1
}

// comment: CM_ [BU_ node|BO_ number|SG_ number name|EV_ name] "text";
func (p *parser) comment() error {
	ofSignal, ok := p.object()
	if !ok {
		return nil
	}
	m, err := p.known()
	if m == nil || err != nil {
		return err
	}
	at := &m.Comment
	if ofSignal {
		s, err := p.knownSignal(m)
		if err != nil {
			return err
		}
		at = &s.Comment
	}
	*at, err = p.quoted()
	return err
}

// object reads BO_ or SG_; ok is false for everything else that a comment or an attribute can belong to.
func (p *parser) object() (ofSignal, ok bool) {
	if t := p.ahead[0]; t.kind != word || t.text != "BO_" && t.text != "SG_" {
		return false, false
	}
	return p.take().text == "SG_", true
}

// known reads the number of a message that the file has described; m is nil for the message without an identifier.
func (p *parser) known() (m *Message, err error) {
	id, none, err := p.identifier()
	if none || err != nil {
		return nil, err
	}
	m, ok := p.file.Message(id)
	if !ok {
		return nil, fmt.Errorf("the file describes no message %s", id)
	}
	return m, nil
}

func (p *parser) knownSignal(m *Message) (*Signal, error) {
	name, err := p.name()
	if err != nil {
		return nil, err
	}
	s, ok := m.Signal(name)
	if !ok {
		return nil, fmt.Errorf("the message %s has no signal %s", m.Name, shown(name))
	}
	return s, nil
}

// attributeDefined: BA_DEF_ [BU_|BO_|SG_|EV_] "name" ENUM "a","b"; only enumerations are kept.
func (p *parser) attributeDefined() error {
	if p.ahead[0].kind == word {
		p.take()
	}
	name, err := p.quoted()
	if err != nil || p.ahead[0].text != "ENUM" {
		return err
	}
	p.take()
	for p.ahead[0].kind == quoted {
		p.formats[name] = append(p.formats[name], p.take().text)
		p.accept(",")
	}
	return nil
}

// longest is the longest cycle that is believed, in milliseconds.
const longest = 1e9

// attribute: BA_ "name" BO_ number value; or SG_ number name value; of all attributes the four that matter here.
func (p *parser) attribute() error {
	name, err := p.quoted()
	if err != nil {
		return err
	}
	switch name {
	case "GenMsgCycleTime", "VFrameFormat", "SystemMessageLongSymbol", "SystemSignalLongSymbol":
	default:
		return nil
	}
	ofSignal, ok := p.object()
	if !ok {
		return nil
	}
	m, err := p.known()
	if m == nil || err != nil {
		return err
	}
	if ofSignal {
		s, err := p.knownSignal(m)
		if err != nil || name != "SystemSignalLongSymbol" {
			return err
		}
		s.long, err = p.quoted()
		return err
	}
	switch name {
	case "SystemMessageLongSymbol":
		m.long, err = p.quoted()
	case "GenMsgCycleTime":
		var ms float64
		ms, _, err = p.number("a time in milliseconds")
		m.Cycle = time.Duration(min(max(ms, 0), longest) * float64(time.Millisecond))
	case "VFrameFormat":
		text := p.take().text
		if n, e := strconv.Atoi(text); e == nil && n >= 0 && n < len(p.formats[name]) {
			text = p.formats[name][n]
		}
		m.FD = strings.HasSuffix(text, "_FD") || text == "14" || text == "15"
	}
	return err
}
