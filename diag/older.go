package diag

import (
	"context"
	"fmt"

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

// readOlder reads a module that does not know the services of ISO 14229-1 by those of ISO 14230-3: codes by 18, or by 13
// where it does not know that either, what was kept with them by 12, and its plates by 1A. The raw bytes of a code are
// its two and its own status byte.
func (v *Visit) readOlder(ctx context.Context, p link.Link, m *garage.Module) error {
	c := v.older(p, m.Address)
	list, err := c.CodesByStatus(ctx, kwp.Identified2, kwp.GroupAll)
	switch {
	case err == nil:
		available := olderBits
		m.Availability = &available
		for _, x := range list {
			status := olderStatus(x.Status)
			m.Codes = append(m.Codes, garage.CodeRecord{Code: x.Code, Raw: append(x.Code.Bytes(), byte(x.Status)), Status: &status,
				Snapshots: []garage.Snapshot{}, Extended: symptom(x.Status)})
		}
	case !only(err):
		return err
	default:
		codes, err := c.Codes(ctx, kwp.GroupAll)
		if err != nil {
			return onlyThis(err)
		}
		for _, code := range codes {
			addToList(m, code, "stored")
		}
	}
	m.Protocol, m.CodesRead, m.Refusal = "KWP", garage.Yes, ""
	for i := range m.Codes {
		if err := frozen(ctx, c, *m, &m.Codes[i]); err != nil {
			return err
		}
	}
	for _, id := range plates {
		plate, err := c.Plate(ctx, byte(id)) // 1A 80-9F became 22 F180-F19F
		switch {
		case err != nil && !only(err):
			return err
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
func frozen(ctx context.Context, c *kwp.Client, m garage.Module, rec *garage.CodeRecord) error {
	if !faulty(m, *rec) {
		return nil
	}
	f, err := c.Frozen(ctx, kwp.AllRecords, rec.Code)
	if err != nil {
		return onlyThis(err)
	}
	rec.Snapshots = append(rec.Snapshots, garage.Snapshot{Record: f.Frame, Raw: f.Raw, Values: []garage.Value{}})
	return nil
}
