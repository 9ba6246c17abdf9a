package obd

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"readback/diag/link"
)

// Measured is one parameter as a module told it.
type Measured struct {
	Parameter byte
	Name      string    // "" for a parameter that is not described here
	Readings  []Reading // empty when the parameter is not described here
	Raw       []byte    // its data, always
}

// Offered asks which parameters each module offers in service 01: those with their bit set in 00, 20, 40 ... E0.
func (c *Client) Offered(ctx context.Context) (Answers[map[byte]bool], error) {
	return c.offered(ctx, func(first byte) []byte { return []byte{sidCurrent, first} }, DecodeOffered)
}

// offered goes through the tables of what is offered, as long as some module points to the next.
func (c *Client) offered(ctx context.Context, request func(first byte) []byte, decode func([]byte) (map[byte]bool, error)) (Answers[map[byte]bool], error) {
	all := Answers[map[byte]bool]{}
	for first := 0; first <= 0xE0; first += 0x20 {
		got, err := ask(ctx, c, decode, request(byte(first))...)
		switch {
		case errors.Is(err, ErrNoAnswer) && first > 0:
			return all, nil // the table that was pointed to did not come; what is known stays
		case err != nil:
			return nil, err
		}
		next := false
		for id, r := range got {
			have, ok := all[id]
			if !ok {
				have = Result[map[byte]bool]{Value: map[byte]bool{}, Err: r.Err}
			}
			for p := range r.Value {
				have.Value[p] = true
			}
			all[id] = have
			next = next || first < 0xE0 && r.Value[byte(first+0x20)]
		}
		if !next {
			break
		}
	}
	return all, nil
}

// Supported are the parameters of service 01 that some module offers. It is empty when no module answers: many
// battery cars are silent here.
func (c *Client) Supported(ctx context.Context) (map[byte]bool, error) {
	union := map[byte]bool{}
	got, err := c.Offered(ctx)
	if errors.Is(err, ErrNoAnswer) {
		return union, nil
	}
	if err != nil {
		return nil, err
	}
	for _, r := range got {
		for p := range r.Value {
			union[p] = true
		}
	}
	return union, nil
}

// DecodeOffered reads 41 00, 41 20 ... 41 E0, and 49 00 without its count: four bytes, the first bit for the next number.
func DecodeOffered(a []byte) (map[byte]bool, error) {
	if len(a) < 6 {
		return nil, &ShapeError{"parameters offered", a, "the four bytes of the table are missing"}
	}
	return offeredBits(a[1], a[2:6]), nil
}

func offeredBits(first byte, b []byte) map[byte]bool {
	out := map[byte]bool{}
	for i := range 8 * len(b) {
		if b[i/8]&(0x80>>(i%8)) != 0 {
			out[first+byte(i)+1] = true
		}
	}
	return out
}

// Current reads parameters of service 01, up to six in one request.
func (c *Client) Current(ctx context.Context, parameters ...byte) (Answers[[]Measured], error) {
	if len(parameters) < 1 || len(parameters) > 6 {
		return nil, fmt.Errorf("obd: one request holds 1 to 6 parameters, not %d", len(parameters))
	}
	decode := func(a []byte) ([]Measured, error) { return DecodeCurrent(a, parameters...) }
	return ask(ctx, c, decode, append([]byte{sidCurrent}, parameters...)...)
}

// Value reads the number that a parameter of service 01 tells, in its unit. Where several modules tell it, the one
// with the lowest identifier counts. ok is false when none tells a number: none answered, or all refused.
func (c *Client) Value(ctx context.Context, parameter byte) (value float64, ok bool, err error) {
	got, err := c.Current(ctx, parameter)
	if errors.Is(err, ErrNoAnswer) {
		return 0, false, nil
	}
	if err != nil {
		return 0, false, err
	}
	for _, id := range order(got) {
		for _, m := range got[id].Value {
			if m.Parameter == parameter && len(m.Readings) > 0 && m.Readings[0].Text == "" {
				return m.Readings[0].Quantity.Value, true, nil
			}
		}
	}
	return 0, false, nil
}

// order are the identifiers of a set of answers, lowest first.
func order[T any](a Answers[T]) []link.ID {
	ids := make([]link.ID, 0, len(a))
	for id := range a {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(x, y link.ID) int { return int(x.Value) - int(y.Value) })
	return ids
}

// DecodeCurrent reads 41: parameter and data, one after another. The length of a parameter is not on the wire; one
// that is not described here takes all the rest. Zeros at the end are filling. Where a parameter has other lengths in
// earlier editions, that one is taken which leaves nothing over. asked are the parameters of the request, when they are
// known: an answer holds no others, which settles what could be read in two ways.
func DecodeCurrent(a []byte, asked ...byte) ([]Measured, error) {
	if len(a) < 3 {
		return nil, &ShapeError{"current values", a, "the answer holds no value"}
	}
	pieces, err := cut(a[1:], 1, a, asked)
	if err != nil {
		return nil, err
	}
	out := make([]Measured, len(pieces))
	for i, p := range pieces {
		out[i] = p.Measured
	}
	return out, nil
}

// DecodeParameter reads the data of one parameter by itself, as in a data record of J1979-2. All of data is its own.
func DecodeParameter(parameter byte, data []byte) (Measured, error) {
	p, known := parameters[parameter]
	m := Measured{Parameter: parameter, Name: p.name, Raw: data}
	if !known {
		return m, nil
	}
	for _, l := range p.layouts() {
		if len(data) == l.size {
			m.Readings = l.tell(parameter, data)
			return m, nil
		}
	}
	return m, &ShapeError{p.name, data, fmt.Sprintf("%d bytes are needed, %d are there", p.size, len(data))}
}

// cut takes the parameters of b apart. Each has its number first and its data after head bytes; with a head of two, the
// second byte is the number of a frame. a is the whole answer; asked are the parameters that it may hold, all when empty.
func cut(b []byte, head int, a, asked []byte) ([]Kept, error) {
	whole := ends(b, head, asked)
	var out []Kept
	for at := 0; at < len(b); {
		rest := b[at:]
		p, known := parameters[rest[0]]
		if len(rest) < head {
			return nil, &ShapeError{"values", a, "the answer ends within a parameter"}
		}
		m := Measured{Parameter: rest[0], Name: p.name, Raw: rest[head:]}
		if known {
			l, ok := p.fit(len(m.Raw), func(size int) bool { return whole[at+head+size] })
			if !ok {
				return nil, &ShapeError{p.name, a, fmt.Sprintf("%d bytes are needed, %d are there", p.size, len(m.Raw))}
			}
			m.Raw = m.Raw[:l.size]
			m.Readings = l.tell(m.Parameter, m.Raw)
		}
		k := Kept{Measured: m}
		if head > 1 {
			k.Frame = rest[1]
		}
		out = append(out, k)
		at += head + len(m.Raw)
		if allZero(b[at:]) {
			break
		}
	}
	return out, nil
}

// fit chooses a layout of no more than most bytes, one that is good before one that is not.
func (p parameter) fit(most int, good func(size int) bool) (parameter, bool) {
	var first *parameter
	for _, l := range p.layouts() {
		if l.size > most {
			continue
		}
		if good(l.size) {
			return l, true
		}
		if first == nil {
			first = &l
		}
	}
	if first == nil {
		return p, false
	}
	return *first, true
}

// ends tells for each place in b whether parameters of known lengths, from there on, end with b or with zeros.
func ends(b []byte, head int, asked []byte) []bool {
	out := make([]bool, len(b)+1)
	zeros := true
	out[len(b)] = true
	for at := len(b) - 1; at >= 0; at-- {
		zeros = zeros && b[at] == 0
		out[at] = zeros
		p, known := parameters[b[at]]
		if !known || len(asked) > 0 && !slices.Contains(asked, b[at]) {
			continue
		}
		for _, l := range p.layouts() {
			if next := at + head + l.size; next <= len(b) && out[next] {
				out[at] = true
			}
		}
	}
	return out
}

func allZero(b []byte) bool {
	for _, x := range b {
		if x != 0 {
			return false
		}
	}
	return true
}
