package simcar

import (
	"encoding/hex"
	"fmt"
	"strings"
	"time"
)

// status is the status byte of a trouble code, ISO 14229-1 annex D.2.
type status byte

const (
	testFailed          status = 1 << iota // the last completed test failed
	failedThisCycle                        // a test failed this operation cycle
	pending                                // failed this operation cycle or the last one in which it was tested
	confirmed                              // failed in as many operation cycles as it takes
	notTestedSinceClear                    // no test completed since the last clear
	failedSinceClear                       // a test failed since the last clear
	notTestedThisCycle                     // no test completed this operation cycle
	lampRequested                          // the warning lamp is asked for
)

const (
	afterClear = notTestedSinceClear | notTestedThisCycle // 0x50
	firstSeen  = 1                                        // snapshot record of the first time
	lastSeen   = 2                                        // snapshot record of the last time
	lampCycles = 3                                        // passing cycles until the lamp is off (common practice, ISO 15031)
)

func (s status) has(bits status) bool { return s&bits == bits }

// trouble is the memory of one trouble code and the fault detection behind it.
type trouble struct {
	code [3]byte
	spec *Code

	present   bool   // the fault is there
	status    status // all bits, before the availability mask
	counter   int    // fault detection counter, -128 to 127 (ISO 14229-1 annex D.1)
	trips     int    // failing operation cycles in a row
	aged      int    // passing operation cycles in a row, once confirmed
	seen      int    // occurrences, up to 255
	snapshots map[int]note
	next      time.Time // of the next test; zero when none is planned

	milestones milestones
}

// note is the content of one snapshot.
type note struct {
	odometer int
	supply   float64
	outside  int
	onFor    int
}

func newTrouble(code [3]byte, spec *Code) *trouble {
	t := &trouble{code: code, spec: spec, present: spec.Present, status: status(spec.Status), aged: spec.Aged, seen: spec.Occurrences, snapshots: map[int]note{}}
	for _, s := range spec.Snapshots {
		t.snapshots[s.Record] = note{s.Odometer, s.Supply, s.Outside, s.OnFor}
	}
	switch {
	case t.status.has(testFailed):
		t.counter = 127
	case !t.status.has(notTestedThisCycle):
		t.counter = -128
	}
	if t.status.has(pending) {
		t.trips = 1
	}
	if t.status.has(confirmed) {
		t.trips = t.confirmAfter()
	}
	return t
}

func (t *trouble) confirmAfter() int { return max(1, t.spec.Confirm) }

// test runs the test once. The fault detection counter decides when a row of equal results counts.
func (t *trouble) test(now note) {
	step := t.spec.Step
	if step == 0 {
		step = 128
	}
	if t.present {
		t.counter = min(127, max(0, t.counter)+step)
		if t.counter == 127 {
			t.fail(now)
		}
		return
	}
	t.counter = max(-128, min(0, t.counter)-step)
	if t.counter == -128 {
		t.status &^= testFailed | notTestedSinceClear | notTestedThisCycle
	}
}

func (t *trouble) fail(now note) {
	if !t.status.has(testFailed) {
		t.seen = min(255, t.seen+1)
		if _, ok := t.snapshots[firstSeen]; ok {
			t.snapshots[lastSeen] = now
		} else {
			t.snapshots[firstSeen] = now
		}
	}
	if !t.status.has(failedThisCycle) {
		t.trips++
	}
	t.aged = 0
	t.status |= testFailed | failedThisCycle | pending | failedSinceClear
	t.status &^= notTestedSinceClear | notTestedThisCycle
	if t.trips >= t.confirmAfter() {
		t.status |= confirmed
		if t.spec.Lamp {
			t.status |= lampRequested
		}
	}
}

// endCycle ends the operation cycle: what was tested and never failed is pending no longer, and ages.
func (t *trouble) endCycle() {
	t.next = time.Time{}
	if t.status&(failedThisCycle|notTestedThisCycle) != 0 {
		return
	}
	t.trips = 0
	t.status &^= pending
	if !t.status.has(confirmed) {
		return
	}
	t.aged = min(255, t.aged+1)
	if t.aged >= lampCycles {
		t.status &^= lampRequested
	}
	if t.spec.Aging > 0 && t.aged >= t.spec.Aging {
		t.status &^= confirmed | failedSinceClear | lampRequested
		t.aged, t.seen = 0, 0
		t.milestones = milestones{}
		clear(t.snapshots)
	}
}

// beginCycle starts an operation cycle. The last result is not kept over switching off: the standard leaves that to
// the maker.
func (t *trouble) beginCycle() {
	t.counter = 0
	t.status = t.status&^(testFailed|failedThisCycle) | notTestedThisCycle
}

// clear forgets everything, as ClearDiagnosticInformation does.
func (t *trouble) clear() {
	t.status = afterClear
	t.counter, t.trips, t.aged, t.seen = 0, 0, 0, 0
	t.milestones = milestones{}
	clear(t.snapshots)
}

// parseCode reads a code with its failure type, as in P1D5A-13 (SAE J2012, ISO 15031-6).
func parseCode(s string) (c [3]byte, err error) {
	name, failure, ok := strings.Cut(s, "-")
	letter := strings.IndexByte("PCBU", append([]byte(s), 0)[0])
	if !ok || letter < 0 || len(name) != 5 || name[1] > '3' || len(failure) != 2 {
		return c, fmt.Errorf("%q is not a code with its failure type, as in P1D5A-13", s)
	}
	b, err := hex.DecodeString(name[1:] + failure)
	if err != nil {
		return c, fmt.Errorf("%q is not a code with its failure type, as in P1D5A-13", s)
	}
	copy(c[:], b)
	c[0] |= byte(letter) << 6
	return c, nil
}
