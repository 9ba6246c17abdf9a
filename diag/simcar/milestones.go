package simcar

import (
	"cmp"
	"slices"
)

// milestones are when a code failed and was confirmed, as places in the order of all such events of a module since its
// last clear, counted from 1; 0 is never.
type milestones struct {
	firstFailed, lastFailed, firstConfirmed, lastConfirmed int
}

// begin puts the codes that a scenario begins with into the order of their snapshots: what was noted at the lower
// odometer reading, and sooner after switching on, came first.
func (m *module) begin() {
	type event struct {
		t    *trouble
		note note
		last bool
	}
	var events []event
	for _, t := range m.troubles {
		records := t.records(allRecords)
		if t.status&(failedSinceClear|testFailed|confirmed) == 0 || len(records) == 0 {
			continue
		}
		events = append(events, event{t, t.snapshots[records[0]], false})
		events = append(events, event{t, t.snapshots[records[len(records)-1]], true})
	}
	slices.SortStableFunc(events, func(a, b event) int {
		return cmp.Or(cmp.Compare(a.note.odometer, b.note.odometer), cmp.Compare(a.note.onFor, b.note.onFor))
	})
	for _, e := range events {
		m.events++
		at, stored := &e.t.milestones, e.t.status.has(confirmed)
		at.failed(m.events)
		if stored && (e.last || at.firstConfirmed == 0) {
			at.confirmed(m.events)
		}
	}
}

func (a *milestones) failed(n int) {
	if a.lastFailed = n; a.firstFailed == 0 {
		a.firstFailed = n
	}
}

func (a *milestones) confirmed(n int) {
	if a.lastConfirmed = n; a.firstConfirmed == 0 {
		a.firstConfirmed = n
	}
}

// tested notes what one test has changed.
func (m *module) tested(t *trouble, was status) {
	if t.status.has(testFailed) && !was.has(testFailed) {
		m.events++
		t.milestones.failed(m.events)
	}
	if t.status.has(confirmed) && !was.has(confirmed) {
		m.events++
		t.milestones.confirmed(m.events)
	}
}

// milestone is the list with the one code that failed, or was confirmed, first or last since the clear; without one it is
// empty (clause 12.3).
func (m *module) milestone(req []byte) ([]byte, byte) {
	sub := req[1] &^ suppress
	var found *trouble
	best := 0
	for _, t := range m.troubles {
		at, first := 0, false
		switch sub {
		case reportFirstFailed:
			at, first = t.milestones.firstFailed, true
		case reportFirstConfirmed:
			at, first = t.milestones.firstConfirmed, true
		case reportLastFailed:
			at = t.milestones.lastFailed
		case reportLastConfirmed:
			at = t.milestones.lastConfirmed
		}
		if at != 0 && (found == nil || (at < best) == first) {
			found, best = t, at
		}
	}
	if found == nil {
		return m.list(sub, nil), 0
	}
	return m.list(sub, []*trouble{found}), 0
}
