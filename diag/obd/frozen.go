package obd

import (
	"context"
	"errors"
	"slices"

	"readback/diag/dtc"
	"readback/diag/link"
)

// Frozen are the values that a module kept when a code was stored (service 02).
type Frozen struct {
	Code   dtc.Code // zero when nothing is frozen
	Values []Measured
}

// Frozen reads frame 00 or a later one of every module: first the code it belongs to, then what each module offers.
func (c *Client) Frozen(ctx context.Context, frame byte) (Answers[Frozen], error) {
	got, err := ask(ctx, c, firstFrozen, sidFrozen, 0x02, frame)
	if err != nil {
		return nil, err
	}
	out := Answers[Frozen]{}
	found := false
	for id, r := range got {
		f := Frozen{}
		if r.Err == nil && len(r.Value.Raw) >= 2 && !allZero(r.Value.Raw[:2]) {
			f.Code = dtc.From2(r.Value.Raw[0], r.Value.Raw[1])
			found = true
		}
		out[id] = Result[Frozen]{f, r.Err}
	}
	if !found {
		return out, nil
	}
	offered, err := c.offered(ctx, func(first byte) []byte { return []byte{sidFrozen, first, frame} }, func(a []byte) (map[byte]bool, error) {
		if len(a) < 7 {
			return nil, &ShapeError{"frozen values offered", a, "the four bytes of the table are missing"}
		}
		return offeredBits(a[1], a[3:7]), nil
	})
	if errors.Is(err, ErrNoAnswer) {
		return out, nil
	}
	if err != nil {
		return nil, err
	}
	for _, p := range wanted(out, offered) {
		values, err := ask(ctx, c, firstFrozen, sidFrozen, p, frame)
		if errors.Is(err, ErrNoAnswer) {
			continue
		}
		if err != nil {
			return nil, err
		}
		for id, v := range values {
			if r, ok := out[id]; ok && v.Err == nil && !r.Value.Code.IsZero() {
				r.Value.Values = append(r.Value.Values, v.Value)
				out[id] = r
			}
		}
	}
	return out, nil
}

// wanted are the parameters that some module with frozen values offers, without the tables and the code itself.
func wanted(frozen Answers[Frozen], offered Answers[map[byte]bool]) []byte {
	union := map[byte]bool{}
	for id, r := range offered {
		if frozen[id].Value.Code.IsZero() {
			continue
		}
		for p := range r.Value {
			if p%0x20 != 0 && p != 0x02 {
				union[p] = true
			}
		}
	}
	var out []byte
	for p := range union {
		out = append(out, p)
	}
	slices.Sort(out)
	return out
}

// Kept is one parameter of a frozen frame.
type Kept struct {
	Frame byte
	Measured
}

// DecodeFrozen reads 42: parameter, frame and data, up to three of them.
func DecodeFrozen(a []byte) ([]Kept, error) {
	if len(a) < 4 {
		return nil, &ShapeError{"frozen values", a, "the answer holds no value"}
	}
	return cut(a[1:], 2, a, nil)
}

// firstFrozen is the one parameter that was asked for.
func firstFrozen(a []byte) (Measured, error) {
	k, err := DecodeFrozen(a)
	if err != nil {
		return Measured{}, err
	}
	return k[0].Measured, nil
}

// IDs are the identifiers of a set of answers, lowest first.
func (a Answers[T]) IDs() []link.ID { return order(a) }
