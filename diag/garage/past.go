package garage

import (
	"time"

	"readback/diag/dtc"
	"readback/diag/link"
)

// Summary is one visit without its tree, for a list.
type Summary struct {
	ID       int64     `json:"id"`
	CarID    int64     `json:"carId"`
	Kind     Kind      `json:"kind"`
	Begun    time.Time `json:"begun"`
	Ended    time.Time `json:"ended"`
	Complete bool      `json:"complete"`
	Practice bool      `json:"practice"`
	Supply   float64   `json:"supply"`
	Modules  int       `json:"modules"` // modules that answered
	Silent   int       `json:"silent"`  // modules that were asked and said nothing
	Codes    int       `json:"codes"`   // faults: entries without a test result are not counted
	Now      int       `json:"now"`     // faults that were there at that time
}

// Note is what somebody wrote about one code of one car. Notes are added, never changed.
type Note struct {
	ID    int64     `json:"id"`
	Code  string    `json:"code"` // as it is shown, "P0A08-13"
	Text  string    `json:"text"`
	Who   string    `json:"who"`
	Where string    `json:"where"` // where it was learnt: a workshop, a page, the owner
	At    time.Time `json:"at"`
}

// History is a car's codes over its visits, oldest visit first.
type History struct {
	Visits []Summary
	Codes  []CodeLine
}

// CodeLine is one code of one module through all visits. Marks has one element for each of [History.Visits].
type CodeLine struct {
	Module  string // the module's newest name
	Address link.Address
	Code    dtc.Code
	Marks   []Mark
}

// Mark is what one visit says of one code.
type Mark struct {
	Read    Answered    // whether the module let its codes be read, by the services that name this one; only Yes says that it was absent
	Listed  bool        // the code was in the module's list, possibly without a test result
	Present bool        // it was there as a fault, now or remembered
	Now     bool        // its last test had failed
	Status  *dtc.Status // as it was read; nil when there was none
	Lists   []string    // OBD lists that named it
}

// judge tells whether a listed code is a fault and whether it is there now, under the module's availability mask.
// An OBD list has no status and names faults only.
func judge(status, availability *dtc.Status) (present, now bool) {
	if status == nil {
		return true, false
	}
	mask := dtc.Status(0xFF)
	if availability != nil {
		mask = *availability
	}
	return status.Faulty(mask), *status&mask&dtc.TestFailed != 0
}
