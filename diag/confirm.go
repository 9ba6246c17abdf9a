package diag

import (
	"context"
	"slices"
	"time"

	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/pause"
)

// A fault that was there before a change is called gone only when two lists, read one after the other, are without it: a
// single one may have lost it on a line that has no checksum. Where they contradict each other, a third is read.
const (
	confirmations = 2
	// apart is the time between two such readings: what was late or came twice is over by then.
	apart = time.Second
)

// confirm reads those modules again whose lists are without faults of the record before. A module keeps its newest list if
// no list holds a fault that this one is without. Otherwise its lists contradict each other, and none of them counts.
func (v *Visit) confirm(ctx context.Context, before, modules []garage.Module, tell func(Progress)) error {
	absent := map[int][]dtc.Code{} // by the module's place: faults of the record before that no list of now holds
	var doubtful []int
	for i, m := range modules {
		if faults := vanished(before, m); len(faults) > 0 {
			absent[i] = faults
			doubtful = append(doubtful, i)
		}
	}
	read := len(modules)
	for try := 1; try <= confirmations && len(doubtful) > 0; try++ {
		if err := pause.For(ctx, apart); err != nil {
			return err
		}
		again := make([]garage.Module, len(doubtful))
		for n, i := range doubtful {
			again[n] = bare(modules[i])
		}
		err := v.readModules(ctx, again, func(p Progress) {
			p.Done, p.Total, p.Answered = read+p.Done, read+p.Total, answered(modules)
			tell(p)
		})
		if err != nil {
			return err
		}
		read += len(again)
		var left []int
		for n, i := range doubtful {
			is := again[n]
			modules[i] = is
			if !comparesTo(before, is) {
				left = append(left, i)
				continue
			}
			now := vanished(before, is)
			held := slices.ContainsFunc(now, func(c dtc.Code) bool { return !slices.Contains(absent[i], c) })
			absent[i] = slices.DeleteFunc(absent[i], func(c dtc.Code) bool { return !slices.Contains(now, c) })
			if held {
				modules[i].CodesRead = garage.Damaged
				left = append(left, i)
			}
		}
		doubtful = left
	}
	return nil
}

// bare is what is known of a module before it is read.
func bare(m garage.Module) garage.Module {
	return garage.Module{Name: m.Name, NameSource: m.NameSource, Safety: m.Safety, Address: m.Address, Request: m.Request, Answer: m.Answer}
}

// comparesTo tells whether a module's list of now can be compared with that of the record before: both were read, by the
// same services.
func comparesTo(before []garage.Module, is garage.Module) bool {
	was, seen := findModule(before, is.Address)
	return seen && is.CodesRead == garage.Yes && is.Protocol == was.Protocol
}

// vanished are the faults of a module in the record before that its list of now is without.
func vanished(before []garage.Module, is garage.Module) (faults []dtc.Code) {
	if !comparesTo(before, is) {
		return nil
	}
	was, _ := findModule(before, is.Address)
	for _, c := range was.Codes {
		if faulty(was, c) && !holdsFault(is, c.Code) {
			faults = append(faults, c.Code)
		}
	}
	return faults
}

// holdsFault tells whether a code is in a module's list as a fault.
func holdsFault(m garage.Module, c dtc.Code) bool {
	now, listed := findCode(m.Codes, c)
	return listed && faulty(m, now)
}
