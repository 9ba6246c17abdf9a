package signal

import (
	"fmt"
	"strconv"
	"strings"

	"readback/diag/link"
)

// valueTable: VAL_TABLE_ name 0 "text" 1 "text" ;
func (p *parser) valueTable() error {
	name, err := p.name()
	if err != nil {
		return err
	}
	texts, err := p.texts()
	if err != nil {
		return err
	}
	if p.tables == nil {
		p.tables = map[string][]Text{}
	}
	p.tables[name] = texts
	return nil
}

// texts reads pairs of a value and its text up to the semicolon.
func (p *parser) texts() (texts []Text, err error) {
	for p.ahead[0].kind == word && !p.ahead[0].first || p.ahead[0].kind == word && p.ahead[1].kind == quoted {
		n, err := p.rawValue()
		if err != nil {
			return texts, err
		}
		t, err := p.quoted()
		if err != nil {
			return texts, err
		}
		texts = append(texts, Text{Raw: n, Text: t})
	}
	return texts, p.expect(";")
}

// rawValue reads a raw value. Those of unsigned signals may use all 64 bits.
func (p *parser) rawValue() (int64, error) {
	if u, err := strconv.ParseUint(p.ahead[0].text, 10, 64); err == nil {
		p.take()
		return int64(u), nil
	}
	return p.whole("a value", -1<<63, 1<<63-1)
}

// valueTexts: VAL_ number name 0 "text" 1 "text" ; or VAL_ number name table ; that of an environment variable has no
// number and is passed over.
func (p *parser) valueTexts() error {
	if p.ahead[0].kind != word || strings.Trim(p.ahead[0].text, "0123456789") != "" {
		return nil
	}
	m, err := p.known()
	if m == nil || err != nil {
		return err
	}
	c := choice{line: p.line, at: m.ID}
	if c.name, err = p.name(); err != nil {
		return err
	}
	if p.ahead[0].kind == word && p.ahead[1].kind == mark {
		c.table = p.take().text
	} else if c.texts, err = p.texts(); len(c.texts) == 0 {
		return err
	}
	p.chosen = append(p.chosen, c)
	return err
}

// valueType: SIG_VALTYPE_ number name : 1 for 32 bits, 2 for 64 bits; 0 is a whole number.
func (p *parser) valueType() error {
	m, err := p.known()
	if m == nil || err != nil {
		return err
	}
	name, err := p.name()
	if err != nil {
		return err
	}
	p.accept(":")
	n, err := p.whole("the kind of number", 0, 2)
	if err != nil || n == 0 {
		return err
	}
	p.floats = append(p.floats, floating{p.line, m.ID, name, 32 * int(n)})
	return nil
}

// multiplexed: SG_MUL_VAL_ number name switch 0-3, 5-5;
func (p *parser) multiplexed() error {
	m, err := p.known()
	if m == nil || err != nil {
		return err
	}
	x := muxing{line: p.line, at: m.ID}
	if x.name, err = p.name(); err != nil {
		return err
	}
	if x.by, err = p.name(); err != nil {
		return err
	}
	for {
		text, err := p.name()
		if err != nil {
			return err
		}
		least, most, ok := strings.Cut(text, "-")
		from, err1 := strconv.ParseInt(least, 10, 64)
		to, err2 := strconv.ParseInt(most, 10, 64)
		if !ok || err1 != nil || err2 != nil || to < from {
			return fmt.Errorf("%q is not a range of values", shown(text))
		}
		x.ranges = append(x.ranges, Range{from, to})
		if !p.accept(",") {
			break
		}
	}
	p.muxed = append(p.muxed, x)
	return p.expect(";")
}

func (p *parser) find(line int, what string, id link.ID, name string) *Signal {
	m, _ := p.file.Message(id) // it was there when the line was read
	s, ok := m.Signal(name)
	if !ok {
		p.problem(line, "%s: the message %s has no signal %s", what, m.Name, shown(name))
	}
	return s
}

func (p *parser) finishFloats() {
	for _, f := range p.floats {
		s := p.find(f.line, "SIG_VALTYPE_", f.at, f.name)
		switch {
		case s == nil:
		case s.Bits != f.bits && s.Bits != 16:
			p.problem(f.line, "SIG_VALTYPE_: the signal %s has %d bits, not the %d of its kind of number; it is read as a whole number", s.Name, s.Bits, f.bits)
		default:
			s.Float = true
		}
	}
}

func (p *parser) finishTexts() {
	for _, c := range p.chosen {
		s := p.find(c.line, "VAL_", c.at, c.name)
		if s == nil {
			continue
		}
		if s.Texts = c.texts; c.table != "" {
			texts, ok := p.tables[c.table]
			if !ok {
				p.problem(c.line, "VAL_: there is no table %s", shown(c.table))
			}
			s.Texts = texts
		}
	}
}

func (p *parser) finishSwitches() {
	for _, x := range p.muxed {
		s := p.find(x.line, "SG_MUL_VAL_", x.at, x.name)
		by := p.find(x.line, "SG_MUL_VAL_", x.at, x.by)
		if s != nil && by != nil {
			s.Selected = &Selected{By: x.by, Ranges: x.ranges}
		}
	}
}

// finishMessage finds the switch of every signal and puts switches before what they select.
func (p *parser) finishMessage(m *Message) {
	places := make(map[string]int, len(m.Signals))
	only, switches := -1, 0
	for i, s := range m.Signals {
		places[s.Name] = i
		if s.Switch && s.Selected == nil {
			only = i
			switches++
		}
	}
	for i := range m.Signals {
		sel := m.Signals[i].Selected
		switch {
		case sel == nil:
		case sel.By != "":
			sel.by = places[sel.By]
		case switches == 1:
			sel.by, sel.By = only, m.Signals[only].Name
		default:
			p.problem(0, "the message %s has %d switches, so it is not known which one selects %s; it is shown always", m.Name, switches, m.Signals[i].Name)
			m.Signals[i].Selected = nil
		}
	}
	m.order = make([]int, 0, len(m.Signals))
	state := make([]byte, len(m.Signals)) // 1: being placed, 2: placed
	for i := range m.Signals {
		p.placeInOrder(m, i, state)
	}
	for i := range m.Signals {
		s := &m.Signals[i]
		s.Name, s.long = firstOf(s.long, s.Name), ""
		if s.Selected != nil {
			s.Selected.By = firstOf(m.Signals[s.Selected.by].long, m.Signals[s.Selected.by].Name)
		}
	}
	m.Name, m.long = firstOf(m.long, m.Name), ""
}

// placeInOrder goes up from a signal to a switch that is placed or needs none, then down again.
func (p *parser) placeInOrder(m *Message, i int, state []byte) {
	var chain []int
	for state[i] == 0 {
		state[i] = 1
		chain = append(chain, i)
		if m.Signals[i].Selected == nil {
			break
		}
		i = m.Signals[i].Selected.by
		if state[i] == 1 {
			p.problem(0, "in the message %s the switch %s selects itself; it is shown always", m.Name, m.Signals[i].Name)
			m.Signals[i].Selected = nil
		}
	}
	for k := len(chain) - 1; k >= 0; k-- {
		m.order = append(m.order, chain[k])
		state[chain[k]] = 2
	}
}

func firstOf(a, b string) string {
	if a != "" {
		return a
	}
	return b
}
