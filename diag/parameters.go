package diag

import (
	"context"
	"errors"
	"slices"

	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/obd"
)

// readParameterCodes reads the OBD lists of a module whose codes could not be read by UDS (services 03, 07, 0A). They
// tell less: stored, pending, permanent, but not whether a code is there now.
func (v *Visit) readParameterCodes(ctx context.Context, p link.Link, m *garage.Module) error {
	c := v.parameters(p, m.Address)
	for i, list := range []struct {
		name string
		ask  func(context.Context) (obd.Answers[[]dtc.Code], error)
	}{{"stored", c.Stored}, {"pending", c.Pending}, {"permanent", c.Permanent}} {
		answers, err := list.ask(ctx)
		if errors.Is(err, obd.ErrNoAnswer) { // lost on the way, perhaps: asked once more
			answers, err = list.ask(ctx)
		}
		if err != nil && !only(err) {
			return err
		}
		answer, ok := answers[m.Address.Answer]
		if i == 0 && (!ok || answer.Err != nil) {
			return nil // the other lists without the stored codes would look like a car without codes
		}
		for _, code := range answer.Value {
			addToList(m, code, list.name)
		}
	}
	m.Protocol, m.CodesRead, m.Refusal = "OBD", garage.Yes, ""
	return nil
}

// addToList adds a code once, with every list that names it.
func addToList(m *garage.Module, c dtc.Code, list string) {
	i := slices.IndexFunc(m.Codes, func(r garage.CodeRecord) bool { return r.Code == c })
	if i < 0 {
		m.Codes = append(m.Codes, garage.CodeRecord{Code: c, Raw: c.Bytes(), Snapshots: []garage.Snapshot{}, Extended: []garage.Extended{}})
		i = len(m.Codes) - 1
	}
	m.Codes[i].Lists = append(m.Codes[i].Lists, list)
}
