package diag

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"readback/diag/garage"
	"readback/diag/kwp"
	"readback/diag/link"
)

// keyword tells whether the car's line is one of ISO 14230, on which a module is also asked alone, by the services of ISO
// 14230-3. ISO 9141-2 has no requests to one module, and SAE J1850 not these services.
func (v *Visit) keyword() bool {
	c, ok := v.conn.(interface{ Keyword() bool })
	return ok && c.Keyword()
}

// readOwn asks each module of such a line that has answered the services of SAE J1979 for its own list of codes, and for
// what it is. The patience has a bound: a module that does not open a conversation of its own is asked once, one that
// falls silent in it twice, and a damaged answer three times; where the adapter fails with [unaskedPatience] modules in a
// row, the others keep what they have told before.
func (v *Visit) readOwn(ctx context.Context, modules []garage.Module, each func(i int)) error {
	unasked := 0
	for i := range modules {
		if there := modules[i].Answered; there == garage.Yes || there == garage.Damaged {
			m := own(modules[i]) // read into a copy: a module is shown whole or not at all
			var trouble *unaskedError
			switch err := v.readKeyword(ctx, &m); {
			case errors.As(err, &trouble):
				unasked++
			case err != nil:
				return fmt.Errorf("diag: reading %s: %w", m.Address, err)
			default:
				unasked = 0
			}
			modules[i] = m
		}
		nameModule(&modules[i])
		each(i)
		if unasked == unaskedPatience {
			return nil
		}
	}
	return nil
}

// own is a copy of m that shares no lists with it.
func own(m garage.Module) garage.Module {
	m.Codes = slices.Clone(m.Codes)
	plates := map[string]string{}
	for id, text := range m.Identification {
		plates[id] = text
	}
	m.Identification = plates
	return m
}

// readKeyword reads one module of a line by the services of ISO 14230-3 into what it has told by those of SAE J1979. Its
// silence and its refusal leave that as it is: few modules speak both. What arrives damaged makes its list an incomplete one,
// whatever the other lists say. An [*unaskedError] means that the adapter sent nothing.
func (v *Visit) readKeyword(ctx context.Context, m *garage.Module) error {
	p := v.router.Peer(m.Address)
	defer p.Close()
	c := v.older(p, m.Address)
	list, err := olderCodes(ctx, c)
	var silence *link.SilenceError
	switch n := olderNo(err); {
	case err == nil:
		keepOlder(m, list)
		if m.Answered = garage.Yes; m.CodesRead != garage.Damaged {
			m.CodesRead, m.Refusal = garage.Yes, ""
		}
		return olderDetails(ctx, c, m)
	case n != nil:
		if m.Answered = garage.Yes; m.CodesRead == garage.Silent {
			m.CodesRead, m.Refusal = garage.Refused, n.Text()
		}
		return olderPlates(ctx, c, m)
	case errors.Is(err, kwp.ErrNoAnswer), errors.As(err, &silence):
		return nil
	case damaged(err):
		m.CodesRead, m.Refusal = garage.Damaged, ""
		return nil
	case only(err) && errors.Is(err, link.ErrNotSent):
		return &unaskedError{err}
	case only(err):
		m.CodesRead, m.Refusal = garage.NotAsked, Sentence(err)
		return nil
	}
	return err
}
