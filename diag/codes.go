package diag

import (
	"cmp"
	"slices"

	"readback/diag/dtc"
	"readback/diag/garage"
)

// available is the mask of the status bits that a module reports; a module that gives none reports all.
func available(m garage.Module) dtc.Status {
	if m.Availability == nil {
		return 0xFF
	}
	return *m.Availability
}

// faulty tells whether an entry of a module's list is a fault: an OBD list names faults only, a UDS entry may be
// one that has not been tested yet.
func faulty(m garage.Module, c garage.CodeRecord) bool {
	if c.Status == nil {
		return true
	}
	return c.Status.Faulty(available(m))
}

func thereNow(m garage.Module, c garage.CodeRecord) bool {
	return c.Status != nil && *c.Status&available(m)&dtc.TestFailed != 0
}

// Modules are the modules of the newest record, in the order of the record, each with its faults: those that are
// there now first, entries without a result left out.
func (v *Visit) Modules() []ModuleView {
	r, ok := v.Record()
	if !ok {
		return nil
	}
	return views(r)
}

// views pairs the faults of a record with their meanings.
func views(r garage.Visit) []ModuleView {
	out := make([]ModuleView, 0, len(r.Modules))
	for _, m := range r.Modules {
		mv := ModuleView{Module: m}
		for _, c := range m.Codes {
			if faulty(m, c) {
				mv.Views = append(mv.Views, CodeView{Record: c, Describe: describeRecord(m, c)})
			}
		}
		slices.SortStableFunc(mv.Views, func(a, b CodeView) int {
			return cmp.Compare(rank(a), rank(b))
		})
		out = append(out, mv)
	}
	return out
}

// describeRecord is everything that is known of a stored code, the module's own judgement with it where it gave one.
func describeRecord(m garage.Module, c garage.CodeRecord) dtc.Description {
	d := dtc.Describe(c.Code, c.Status, available(m), c.Lists)
	if c.Severity != nil {
		d.CarJudgement = dtc.CarJudgement(*c.Severity)
	}
	return d
}

func rank(c CodeView) int {
	if c.Describe.ThereNow {
		return 0
	}
	return 1
}
