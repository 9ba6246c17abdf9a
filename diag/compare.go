package diag

import (
	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/link"
)

// compare says what became of every fault between the record before a change and the reading after it. asked tells
// which modules the request went to.
func compare(before, after garage.Visit, asked func(link.Address) bool) ReadBack {
	rb := ReadBack{Gone: []Fate{}, Back: []Fate{}, Unchanged: []Fate{}, New: []Fate{}, Unknown: []Fate{}}
	for _, was := range before.Modules {
		is, seen := findModule(after.Modules, was.Address)
		for _, c := range was.Codes {
			if !faulty(was, c) {
				continue
			}
			f := Fate{Module: was.Name, Code: c.Code.String()}
			if seen && is.CodesRead == garage.Damaged {
				f.Text = "not known: the list could not be read, or its readings contradict each other"
				rb.Unknown = append(rb.Unknown, f)
				continue
			}
			if !seen || is.CodesRead != garage.Yes {
				f.Text = "not known: the module did not let its codes be read this time"
				rb.Unknown = append(rb.Unknown, f)
				continue
			}
			if is.Protocol != was.Protocol {
				f.Text = "not known: the module was read by other services this time, which name its codes differently"
				rb.Unknown = append(rb.Unknown, f)
				continue
			}
			now, still := findCode(is.Codes, c.Code)
			reached := asked(was.Address)
			switch {
			case !holdsFault(is, c.Code):
				f.Text = goneText(reached, still)
				rb.Gone = append(rb.Gone, f)
			case !reached:
				f.Text = "unchanged: " + was.Name + " was not asked"
				rb.Unchanged = append(rb.Unchanged, f)
			case cameBack(is, now):
				f.Text = "back already: it is a fault of today, not a memory"
				rb.Back = append(rb.Back, f)
			default:
				f.Text = "unchanged: the module kept it"
				rb.Unchanged = append(rb.Unchanged, f)
			}
		}
	}
	for _, is := range after.Modules {
		was, seen := findModule(before.Modules, is.Address)
		if seen && was.CodesRead == garage.Yes && was.Protocol != is.Protocol {
			continue // its codes can't be told from those of the record before
		}
		for _, c := range is.Codes {
			if !faulty(is, c) {
				continue
			}
			if old, had := findCode(was.Codes, c.Code); seen && had && faulty(was, old) {
				continue
			}
			rb.New = append(rb.New, Fate{Module: is.Name, Code: c.Code.String(), Text: "new since the record before"})
		}
	}
	return rb
}

func goneText(reached, listed bool) string {
	switch {
	case reached && listed:
		return "gone; the module has not tested it again yet"
	case reached:
		return "gone"
	}
	return "no longer reported, although the module was not asked to erase"
}

// cameBack: a code is in the list again after the erase because it failed again since (bit 5), or fails now (bit 0).
// Where a module reports neither bit, a code that is still listed counts as kept.
func cameBack(m garage.Module, c garage.CodeRecord) bool {
	return c.Status != nil && *c.Status&available(m)&(dtc.TestFailed|dtc.TestFailedSinceLastClear) != 0
}

func findModule(modules []garage.Module, a link.Address) (garage.Module, bool) {
	for _, m := range modules {
		if m.Address.Request == a.Request && m.Address.Answer == a.Answer {
			return m, true
		}
	}
	return garage.Module{}, false
}

func findCode(codes []garage.CodeRecord, c dtc.Code) (garage.CodeRecord, bool) {
	for _, x := range codes {
		if x.Code == c {
			return x, true
		}
	}
	return garage.CodeRecord{}, false
}
