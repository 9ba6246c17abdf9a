package diag

import (
	"context"
	"errors"
	"maps"

	"readback/diag/link"
	"readback/diag/obd"
)

// source is where a car tells its live values: at which address for all modules, and by which standard.
type source struct {
	address link.Address
	onUDS   bool // SAE J1979-2: identifiers F4xx of service 22 instead of service 01
	offered map[byte]bool
}

// reader reads parameters at a source.
func (s source) reader(c *obd.Client) parameterReader {
	if s.onUDS {
		return onUDS{c}
	}
	return c
}

// parameterReader is what Measure needs of an OBD client.
type parameterReader interface {
	Supported(ctx context.Context) (map[byte]bool, error)
	Value(ctx context.Context, param byte) (value float64, ok bool, err error)
}

// findSource asks which OBD parameters the car offers: on both widths, by service 01 and by the identifiers that replace
// it. What was found is kept for the visit; a car that offers nothing is asked again the next time.
func (v *Visit) findSource(ctx context.Context) (source, error) {
	v.mu.Lock()
	known := v.source
	v.mu.Unlock()
	if known != nil {
		return *known, nil
	}
	for _, a := range v.toAll() {
		for _, on := range []bool{false, true} {
			s := source{address: a, onUDS: on}
			err := v.at(s, func(r parameterReader) (err error) {
				s.offered, err = r.Supported(ctx)
				return err
			})
			if err != nil {
				return source{}, err
			}
			if len(s.offered) > 0 {
				v.mu.Lock()
				v.source = &s
				v.mu.Unlock()
				return s, nil
			}
		}
	}
	return source{}, nil
}

// toAll are the addresses that reach all modules through this adapter.
func (v *Visit) toAll() []link.Address {
	if all, ok := v.everyone(); ok {
		return []link.Address{all}
	}
	if v.conn.Abilities().Wide {
		return []link.Address{link.Functional11(), link.Functional29()}
	}
	return []link.Address{link.Functional11()}
}

// at lets use read parameters at a source.
func (v *Visit) at(s source, use func(parameterReader) error) error {
	p := v.router.Peer(s.address)
	defer p.Close()
	return use(s.reader(v.parameters(p, s.address)))
}

// onUDS reads the parameters of SAE J1979 where SAE J1979-2 puts them: parameter xx is identifier F4xx of service 22 (the
// ranges are those of ISO 14229-1 annex C, the mapping is from memory).
type onUDS struct{ c *obd.Client }

// lists are the parameters that list the 32 after them.
var lists = []byte{0x00, 0x20, 0x40, 0x60, 0x80, 0xA0, 0xC0, 0xE0}

func (o onUDS) Supported(ctx context.Context) (map[byte]bool, error) {
	union := map[byte]bool{}
	all, err := o.offered(ctx)
	for _, r := range all {
		maps.Copy(union, r.Value)
	}
	return union, err
}

// offered asks which of these identifiers each module offers. Nobody answering leaves it empty.
func (o onUDS) offered(ctx context.Context) (obd.Answers[map[byte]bool], error) {
	all := obd.Answers[map[byte]bool]{}
	for i, first := range lists {
		found, err := o.ask(ctx, first)
		if err != nil {
			return all, err
		}
		more := false
		for _, f := range found {
			have, ok := all[f.from]
			if !ok {
				have.Value = map[byte]bool{}
			}
			maps.Copy(have.Value, f.Offered)
			all[f.from] = have
			more = more || i+1 < len(lists) && f.Offered[lists[i+1]]
		}
		if !more {
			break
		}
	}
	return all, nil
}

func (o onUDS) Value(ctx context.Context, param byte) (value float64, ok bool, err error) {
	found, err := o.ask(ctx, param)
	if err != nil {
		return 0, false, err
	}
	for _, i := range found {
		if i.Parameter != nil && len(i.Parameter.Readings) > 0 && i.Parameter.Readings[0].Text == "" {
			return i.Parameter.Readings[0].Quantity.Value, true, nil
		}
	}
	return 0, false, nil
}

// identified is a value and the identifier of the module that told it.
type identified struct {
	from link.ID
	obd.Identified
}

// ask reads one parameter of all modules, those with the lowest identifiers first. Silence and refusals are no values.
func (o onUDS) ask(ctx context.Context, param byte) ([]identified, error) {
	id := obd.IdentifierOfParameter(param)
	answers, err := o.c.Ask(ctx, []byte{0x22, byte(id >> 8), byte(id)})
	if errors.Is(err, obd.ErrNoAnswer) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var out []identified
	for _, from := range answers.IDs() {
		a := answers[from]
		if a.Err != nil || len(a.Value) < 3 || a.Value[0] != 0x62 {
			continue
		}
		if i, err := obd.DecodeIdentifier(id, a.Value[3:]); err == nil {
			out = append(out, identified{from, i})
		}
	}
	return out, nil
}
