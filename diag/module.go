package diag

import (
	"context"
	"errors"
	"fmt"

	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/kwp"
	"readback/diag/link"
	"readback/diag/obd"
	"readback/diag/uds"
)

// plates are the identification numbers that are read of every module (ISO 14229-1 annex C): what it is, which car
// it thinks it is in, part and software numbers.
var plates = []uint16{0xF197, 0xF190, 0xF187, 0xF191, 0xF189, 0xF195, 0xF18C}

// unaskedError is the adapter's trouble with one module: it was not asked, and the reading goes on with the others.
type unaskedError struct{ cause error }

func (e *unaskedError) Error() string { return "diag: not asked: " + e.cause.Error() }
func (e *unaskedError) Unwrap() error { return e.cause }

// readModule reads one module into m. Silence, refusal and damage are results. An error ends the whole reading, but for an
// [*unaskedError].
func (v *Visit) readModule(ctx context.Context, m *garage.Module) error {
	p := v.router.Peer(m.Address)
	defer p.Close()
	c := v.client(p, m.Address)
	m.Identification = map[string]string{}
	m.Protocol = "UDS"
	switch err := c.TesterPresent(ctx); {
	case errors.Is(err, uds.ErrNoAnswer):
		m.Answered = garage.Silent
		if m.Name == "" {
			nameModule(m)
		}
		return nil
	case negative(err) != nil, err == nil:
		m.Answered = garage.Yes
	case damaged(err): // it is there, and what is asked next may arrive whole
		m.Answered = garage.Damaged
	case only(err): // whether the module is there is not known
		m.Refusal = Sentence(err)
		nameModule(m)
		return &unaskedError{err}
	default:
		return err
	}
	defer func() {
		if len(m.Identification) > 0 || m.CodesRead == garage.Yes || m.CodesRead == garage.Refused {
			m.Answered = garage.Yes
		}
		nameModule(m)
	}()
	if err := v.readPlates(ctx, c, m); err != nil {
		return err
	}
	if err := v.readName(ctx, p, m); err != nil {
		return err
	}
	for _, read := range []func() error{
		func() error { return v.readCodes(ctx, c, m) },
		func() error { return v.readOlder(ctx, p, m) },
		func() error { return v.readParameterCodes(ctx, p, m) },
	} {
		if err := read(); err != nil || m.CodesRead == garage.Yes || lost(*m) {
			return err
		}
	}
	return nil
}

// lost: a module that has told what it is by service 22 knows service 19, or refuses it. When it says nothing that can be
// read, its list is lost; the lists of older services name codes in another form, and fewer of them. The same goes for a
// list that arrived damaged, or that the adapter could not ask for.
func lost(m garage.Module) bool {
	switch m.CodesRead {
	case garage.Damaged, garage.NotAsked:
		return true
	}
	return m.CodesRead == garage.Silent && len(m.Identification) > 0
}

// readPlates reads what the module tells about itself. One that does not know the service is not asked further.
func (v *Visit) readPlates(ctx context.Context, c *uds.Client, m *garage.Module) error {
	for _, id := range plates {
		value, err := c.ReadData(ctx, id)
		switch n := negative(err); {
		case err == nil:
			m.Identification[fmt.Sprintf("%04X", id)] = uds.PlateText(id, value)
		case n != nil && n.Code == uds.ServiceNotSupported:
			return nil
		case !only(err):
			return err
		}
	}
	return nil
}

// readName asks a module that has no name plate, at one of the identifiers of emission control, for the name that it has
// there (service 09 type 0A of SAE J1979).
func (v *Visit) readName(ctx context.Context, p link.Link, m *garage.Module) error {
	if ownName(m.Identification) != "" || m.Request.Extended || m.Request.Value < 0x7E0 || m.Request.Value > 0x7E7 {
		return nil
	}
	names, err := v.parameters(p, m.Address).ModuleName(ctx)
	if err != nil {
		return onlyThis(err)
	}
	if n := names[m.Answer]; n.Err == nil && n.Value != "" {
		m.Identification["F80A"] = n.Value
	}
	return nil
}

// negative returns the module's refusal in err, or nil.
func negative(err error) *uds.NegativeError {
	var n *uds.NegativeError
	if errors.As(err, &n) {
		return n
	}
	return nil
}

// only tells whether err concerns this one request: a refusal, silence, a torn or malformed answer. Everything else
// ends the reading.
func only(err error) bool {
	var (
		shape      *uds.ShapeError
		olderShape *kwp.ShapeError
	)
	return negative(err) != nil || olderNo(err) != nil || errors.As(err, &shape) || errors.As(err, &olderShape) ||
		errors.Is(err, uds.ErrNoAnswer) || errors.Is(err, kwp.ErrNoAnswer) || errors.Is(err, obd.ErrNoAnswer) || link.Passing(err)
}

// damaged tells whether err means that an answer came and can't be read, or has a form that nothing fits.
func damaged(err error) bool {
	var (
		shape      *uds.ShapeError
		olderShape *kwp.ShapeError
		lists      *obd.ShapeError
	)
	return link.Damaged(err) || errors.As(err, &shape) || errors.As(err, &olderShape) || errors.As(err, &lists)
}

// masks are the status masks to ask with: all bits, then without the two "not tested" bits, then faults only; a
// module that refuses one may accept the next (common practice).
var masks = []dtc.Status{0xFF, 0xAF, 0x2F}

func (v *Visit) readCodes(ctx context.Context, c *uds.Client, m *garage.Module) error {
	for _, mask := range masks {
		list, err := c.CodesByStatus(ctx, mask)
		n := negative(err)
		if err != nil && n == nil && only(err) { // lost or damaged on the way: asked once more
			list, err = c.CodesByStatus(ctx, mask)
			n = negative(err)
		}
		switch {
		case err == nil:
			m.CodesRead = garage.Yes
			m.Availability = &list.Availability
			return v.readDetails(ctx, c, m, list)
		case n != nil:
			m.CodesRead, m.Refusal = garage.Refused, n.Text()
			if n.Code != uds.RequestOutOfRange && n.Code != uds.SubFunctionNotSupported {
				return nil
			}
		case errors.Is(err, uds.ErrNoAnswer):
			m.CodesRead = garage.Silent
			return nil
		case damaged(err):
			m.CodesRead = garage.Damaged
			return nil
		case only(err): // the adapter's trouble
			m.CodesRead, m.Refusal = garage.NotAsked, Sentence(err)
			return nil
		default:
			return err
		}
	}
	return nil
}

// readDetails reads what was kept with each fault. A module that keeps nothing refuses; that is no trouble.
func (v *Visit) readDetails(ctx context.Context, c *uds.Client, m *garage.Module, list uds.CodeList) error {
	profile := profileOf(m.Identification["F190"])
	for _, r := range list.Records { // all of them first: the list is true even if the reading ends in the details
		status := r.Status
		m.Codes = append(m.Codes, garage.CodeRecord{Code: r.Code, Raw: r.Code.Bytes(), Status: &status, Snapshots: []garage.Snapshot{}, Extended: []garage.Extended{}})
	}
	for i := range m.Codes {
		if !faulty(*m, m.Codes[i]) {
			continue
		}
		if err := details(ctx, c, profile, &m.Codes[i]); err != nil {
			return err
		}
	}
	return nil
}

func details(ctx context.Context, c *uds.Client, profile profile, rec *garage.CodeRecord) error {
	snaps, err := c.Snapshots(ctx, rec.Code, 0xFF, profile.size)
	if err != nil && !only(err) {
		return err
	}
	for _, s := range snaps {
		rec.Snapshots = append(rec.Snapshots, profile.snapshot(s))
	}
	ext, err := c.ExtendedData(ctx, rec.Code, 0xFF, profile.recordSize)
	if err != nil && !only(err) {
		return err
	}
	for _, x := range ext {
		rec.Extended = append(rec.Extended, profile.extended(x))
	}
	severity, err := c.Severity(ctx, rec.Code)
	if err != nil && !only(err) {
		return err
	}
	if err == nil {
		rec.Severity = &severity
	}
	return nil
}
