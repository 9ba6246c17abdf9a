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
	Raw       []byte
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
	return ask(ctx, c, DecodeCurrent, append([]byte{sidCurrent}, parameters...)...)
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
// that is not described here takes all the rest. Zeros at the end are filling.
func DecodeCurrent(a []byte) ([]Measured, error) {
	if len(a) < 3 {
		return nil, &ShapeError{"current values", a, "the answer holds no value"}
	}
	var out []Measured
	for b := a[1:]; len(b) > 0; {
		m, rest, err := measured(b, 1, a)
		if err != nil {
			if len(out) > 0 && allZero(b) {
				break
			}
			return nil, err
		}
		out = append(out, m)
		b = rest
		if allZero(b) {
			break
		}
	}
	return out, nil
}

// measured takes one parameter off b, its number first, its data after head bytes; a is the whole answer.
func measured(b []byte, head int, a []byte) (m Measured, rest []byte, err error) {
	p, known := parameters[b[0]]
	if len(b) < head {
		return m, nil, &ShapeError{"values", a, "the answer ends within a parameter"}
	}
	n := len(b) - head
	if known && n < p.size {
		return m, nil, &ShapeError{p.name, a, fmt.Sprintf("%d bytes are needed, %d are there", p.size, n)}
	}
	if known {
		n = p.size
	}
	m = Measured{Parameter: b[0], Name: p.name, Raw: b[head : head+n]}
	if known {
		m.Readings = p.read(b[0], m.Raw)
	}
	return m, b[head+n:], nil
}

func allZero(b []byte) bool {
	for _, x := range b {
		if x != 0 {
			return false
		}
	}
	return true
}
