package diag

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/kwp"
	"readback/diag/link"
)

// older builds the client for a module of ISO 14230-3.
func (v *Visit) older(l link.Link, a link.Address) *kwp.Client {
	o := kwp.Options{Transfer: told}
	if !v.conn.Abilities().Raw {
		o = kwp.Options{Slack: adapterWithin}
	}
	return kwp.New(l, a, o)
}

// olderBits are the bits of a status byte that the one of ISO 14230-3 has an equal for.
const olderBits = dtc.TestFailed | dtc.PendingDTC | dtc.ConfirmedDTC | dtc.WarningIndicatorRequested

// olderStatus says what a status byte of ISO 14230-3 says, in the bits of ISO 14229-1: there now, there now and not yet
// stored, stored, and the lamp. Its readiness bit means something else, so no bit of "not tested" is told.
func olderStatus(s kwp.Status) (out dtc.Status) {
	switch s.Storage() {
	case kwp.Present:
		out = dtc.TestFailed | dtc.ConfirmedDTC
	case kwp.Intermittent:
		out = dtc.TestFailed | dtc.PendingDTC
	case kwp.NotPresent:
		out = dtc.ConfirmedDTC
	}
	if s.Lamp() {
		out |= dtc.WarningIndicatorRequested
	}
	return out
}

// readOlder reads a module that does not know the services of ISO 14229-1 by those of ISO 14230-3. A list that arrives
// damaged is lost: see [lost].
func (v *Visit) readOlder(ctx context.Context, p link.Link, m *garage.Module) error {
	c := v.older(p, m.Address)
	list, err := olderCodes(ctx, c)
	switch {
	case damaged(err):
		m.CodesRead, m.Refusal = garage.Damaged, ""
		return nil
	case err != nil:
		return onlyThis(err)
	}
	keepOlder(m, list)
	m.CodesRead, m.Refusal = garage.Yes, ""
	return olderDetails(ctx, c, m)
}

// olderCodes reads a list of codes by 18, or by 13 where the module does not know that, or tells it in a form that can't be
// read; the status of each code then by 17. The raw bytes of a code are its two and its own status byte, where it has one.
func olderCodes(ctx context.Context, c *kwp.Client) ([]garage.CodeRecord, error) {
	var (
		shape *kwp.ShapeError
		out   []garage.CodeRecord
	)
	list, err := c.CodesByStatus(ctx, kwp.Identified2, kwp.GroupAll)
	switch {
	case err == nil:
		for _, x := range list {
			out = append(out, olderRecord(x))
		}
		return out, nil
	case olderNo(err) == nil && !errors.As(err, &shape):
		return nil, err
	}
	codes, again := c.Codes(ctx, kwp.GroupAll)
	switch {
	case again != nil && shape != nil && only(again):
		return nil, err // that there is a list is known
	case again != nil:
		return nil, again
	}
	tells := true
	for _, code := range codes {
		rec := garage.CodeRecord{Code: code, Raw: code.Bytes(), Snapshots: []garage.Snapshot{}, Extended: []garage.Extended{}}
		if tells {
			one, err := c.StatusOf(ctx, code)
			switch {
			case err != nil && !only(err):
				return nil, err
			case err != nil:
				tells = !ends(err)
			case one.Known && one.Code == code && one.Status.Faulty():
				rec = olderRecord(one.CodeStatus)
			}
		}
		rec.Lists = []string{"stored"}
		out = append(out, rec)
	}
	return out, nil
}

// olderNo returns the refusal of ISO 14230-3 in err, or nil.
func olderNo(err error) *kwp.NegativeError {
	var n *kwp.NegativeError
	errors.As(err, &n)
	return n
}

// ends: what a module says to one request is what it will say to others of its service, too.
func ends(err error) bool {
	n := olderNo(err)
	return n != nil && n.Code == kwp.ServiceNotSupported || errors.Is(err, kwp.ErrNoAnswer)
}

func olderRecord(x kwp.CodeStatus) garage.CodeRecord {
	status := olderStatus(x.Status)
	return garage.CodeRecord{Code: x.Code, Raw: append(x.Code.Bytes(), byte(x.Status)), Status: &status,
		Snapshots: []garage.Snapshot{}, Extended: symptom(x.Status)}
}

// keepOlder puts a module's own list into its record, beside the codes that the lists of SAE J1979 have named before: a
// code is there once, and no list takes away what another one tells.
func keepOlder(m *garage.Module, list []garage.CodeRecord) {
	m.Protocol = "KWP"
	for _, rec := range list {
		if rec.Status != nil {
			bits := olderBits
			m.Availability = &bits
		}
		i := slices.IndexFunc(m.Codes, func(r garage.CodeRecord) bool { return r.Code == rec.Code })
		if i < 0 {
			m.Codes = append(m.Codes, rec)
			continue
		}
		was := &m.Codes[i]
		if rec.Status != nil && rec.Status.Faulty(olderBits) {
			was.Status, was.Raw, was.Extended = rec.Status, rec.Raw, rec.Extended
		}
		for _, l := range rec.Lists {
			if !slices.Contains(was.Lists, l) {
				was.Lists = append(was.Lists, l)
			}
		}
	}
}

// olderDetails reads what was kept with the codes by 12, and the plates by 1A.
func olderDetails(ctx context.Context, c *kwp.Client, m *garage.Module) error {
	for i := range m.Codes {
		if !faulty(*m, m.Codes[i]) {
			continue
		}
		err := frozen(ctx, c, &m.Codes[i])
		if err != nil && !only(err) {
			return err
		}
		if ends(err) {
			break
		}
	}
	return olderPlates(ctx, c, m)
}

// olderPlates reads what the module tells about itself: 1A 80-9F became 22 F180-F19F.
func olderPlates(ctx context.Context, c *kwp.Client, m *garage.Module) error {
	for _, id := range plates {
		plate, err := c.Plate(ctx, byte(id))
		switch {
		case err != nil && !only(err):
			return err
		case ends(err):
			return nil
		case err != nil:
		case plate.Text != "":
			m.Identification[fmt.Sprintf("%04X", id)] = plate.Text
		default:
			m.Identification[fmt.Sprintf("%04X", id)] = fmt.Sprintf("%X", plate.Raw)
		}
	}
	return nil
}

// onlyThis is nil for an error that concerns one request.
func onlyThis(err error) error {
	if only(err) {
		return nil
	}
	return err
}

// symptom keeps the fault symptom, the low half of the status byte, which ISO 14229-1 has no bits for.
func symptom(s kwp.Status) []garage.Extended {
	text, ok := s.Symptom()
	if !ok {
		return []garage.Extended{}
	}
	return []garage.Extended{{Name: "fault symptom", Text: text, Raw: garage.Hex{byte(s) & 0x0F}}}
}

// frozen reads what was kept with a code. A module that keeps nothing refuses; that is no trouble.
func frozen(ctx context.Context, c *kwp.Client, rec *garage.CodeRecord) error {
	f, err := c.Frozen(ctx, kwp.AllRecords, rec.Code)
	if err != nil {
		return err
	}
	rec.Snapshots = append(rec.Snapshots, garage.Snapshot{Record: f.Frame, Raw: f.Raw, Values: []garage.Value{}})
	return nil
}
