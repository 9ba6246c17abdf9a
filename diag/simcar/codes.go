package simcar

import (
	"bytes"
	"time"
)

// Report types of ReadDTCInformation that the modules know, ISO 14229-1 table of service 19.
const (
	reportNumber    = 0x01
	reportByMask    = 0x02
	reportSnapshots = 0x03
	reportSnapshot  = 0x04
	reportExtended  = 0x06
	reportSeverity  = 0x09
	reportSupported = 0x0A
	reportCounters  = 0x14
)

// reportLength is the length of a whole request of each report type.
var reportLength = map[byte]int{
	reportNumber: 3, reportByMask: 3, reportSnapshots: 2, reportSnapshot: 6,
	reportExtended: 6, reportSeverity: 5, reportSupported: 2, reportCounters: 2,
}

// Extended data records, invented but for the idea: how often the code was seen, and how many operation cycles
// passed without it since.
const (
	extendedSeen = 0x01
	extendedAged = 0x02
	allRecords   = 0xFF
)

// checkClear: a memory selection byte may follow the group (ISO 14229-1:2020) where there are several memories.
func checkClear(m *module, req []byte) byte {
	if len(req) != 4 && (len(req) != 5 || len(m.memories) == 0) {
		return nrcLength
	}
	return 0
}

// clearCodes clears a group, or one code, and answers the same when nothing was stored.
func (c *Car) clearCodes(m *module, req []byte, now time.Time) ([]byte, byte) {
	group := req[1:4]
	all := bytes.Equal(group, []byte{0xFF, 0xFF, 0xFF})
	for _, g := range m.spec.Groups {
		all = all || bytes.Equal(group, g)
	}
	if len(req) == 5 {
		return m.clearMemory(group, all, req[4])
	}
	one := m.find(group)
	switch {
	case all:
		m.clearAll(c, now)
	case one != nil:
		m.clearOne(c, one, now)
	default:
		return nil, nrcOutOfRange
	}
	return []byte{0x54}, 0
}

func (m *module) clearAll(c *Car, now time.Time) {
	for _, t := range m.troubles {
		m.clearOne(c, t, now)
	}
	if m.obd != nil {
		m.obd.clear(now)
	}
}

func (m *module) clearOne(c *Car, t *trouble, now time.Time) {
	t.clear()
	if t.spec.Every > 0 && c.in(t.spec.Needs) {
		t.next = now.Add(millis(t.spec.After))
	}
}

// clearMemory forgets a group, or one code, in a memory of the maker's own.
func (m *module) clearMemory(group []byte, all bool, number byte) ([]byte, byte) {
	memory, ok := m.memories[number]
	one := find(memory, group)
	if !ok || !all && one == nil {
		return nil, nrcOutOfRange
	}
	for _, t := range memory {
		if all || t == one {
			t.clear()
		}
	}
	return []byte{0x54}, 0
}

func (m *module) find(code []byte) *trouble { return find(m.troubles, code) }

func find(troubles []*trouble, code []byte) *trouble {
	for _, t := range troubles {
		if bytes.Equal(t.code[:], code) {
			return t
		}
	}
	return nil
}

func checkCodes(m *module, req []byte) byte {
	if len(req) < 2 {
		return nrcLength
	}
	sub := req[1] &^ suppress
	n, ok := reportLength[sub]
	if m.knows(sub) {
		n, ok = deeperReports[sub].length, true
	}
	switch {
	case !ok:
		return nrcSubFunctionNotSupported
	case len(req) != n:
		return nrcLength
	}
	return 0
}

func (c *Car) readCodes(m *module, req []byte, _ time.Time) ([]byte, byte) {
	sub := req[1] &^ suppress
	if m.knows(sub) {
		return deeperReports[sub].answer(m, req)
	}
	switch sub {
	case reportNumber:
		return m.count(sub, len(m.matching(status(req[2])))), 0
	case reportByMask:
		return m.list(sub, m.matching(status(req[2]))), 0
	case reportSupported:
		return m.list(sub, m.troubles), 0
	case reportSnapshots:
		return m.snapshotList(), 0
	case reportCounters:
		return m.counterList(), 0
	}
	t := m.find(req[2:5])
	if t == nil {
		return nil, nrcOutOfRange
	}
	switch sub {
	case reportSnapshot:
		return m.snapshots(t, req[5])
	case reportExtended:
		return m.extended(t, req[5])
	}
	return append([]byte{0x59, sub, byte(m.spec.Mask), byte(t.spec.Severity), byte(t.spec.Unit)}, m.record(t)...), 0
}

// reported is the status that leaves the module: bits that it doesn't support are 0.
func (m *module) reported(t *trouble) status { return t.status & status(m.spec.Mask) }

// record is a code with its status, 4 bytes.
func (m *module) record(t *trouble) []byte {
	return append(t.code[:len(t.code):len(t.code)], byte(m.reported(t)))
}

// matching are the codes with at least one status bit in common with the mask.
func (m *module) matching(mask status) []*trouble { return m.matchingOf(m.troubles, mask) }

func (m *module) matchingOf(troubles []*trouble, mask status) []*trouble {
	var out []*trouble
	for _, t := range troubles {
		if m.reported(t)&mask != 0 {
			out = append(out, t)
		}
	}
	return out
}

func (m *module) list(sub byte, troubles []*trouble) []byte {
	out := []byte{0x59, sub, byte(m.spec.Mask)}
	for _, t := range troubles {
		out = append(out, m.record(t)...)
	}
	return out
}

func (m *module) snapshotList() []byte {
	out := []byte{0x59, reportSnapshots}
	for _, t := range m.troubles {
		for _, n := range t.records(allRecords) {
			out = append(append(out, t.code[:]...), byte(n))
		}
	}
	return out
}

// counterList are the codes that are on the way to failing: fault detection counters from 1 to 126.
func (m *module) counterList() []byte {
	out := []byte{0x59, reportCounters}
	for _, t := range m.troubles {
		if t.counter > 0 && t.counter < 127 {
			out = append(append(out, t.code[:]...), byte(t.counter))
		}
	}
	return out
}

// records are the numbers of the snapshots that a code has, those asked for.
func (t *trouble) records(asked byte) []int {
	var out []int
	for _, n := range []int{firstSeen, lastSeen} {
		if _, ok := t.snapshots[n]; ok && (asked == allRecords || int(asked) == n) {
			out = append(out, n)
		}
	}
	return out
}

func (m *module) snapshots(t *trouble, asked byte) ([]byte, byte) {
	if asked != allRecords && asked != firstSeen && asked != lastSeen {
		return nil, nrcOutOfRange
	}
	out := append([]byte{0x59, reportSnapshot}, m.record(t)...)
	for _, n := range t.records(asked) {
		data, count := t.content(n)
		out = append(append(out, byte(n), count), data...)
	}
	return out, 0
}

// content is one snapshot: its identifiers with their values, and how many they are.
func (t *trouble) content(record int) (data []byte, count byte) {
	data, count = t.snapshots[record].bytes(), 4
	if len(t.spec.Unnamed) > 0 {
		data, count = append(data, t.spec.Unnamed...), 5
	}
	return data, count
}

// bytes are the identifiers and values of a snapshot.
func (n note) bytes() []byte {
	out := append([]byte{0xDD, 0x00}, n.odometerBytes()...)
	out = append(out, 0xDD, 0x01, n.supplyByte(), 0xDD, 0x02, n.outsideByte(), 0xDD, 0x03)
	return append(out, n.onForBytes()...)
}

func (m *module) extended(t *trouble, asked byte) ([]byte, byte) {
	if asked != allRecords && asked != extendedSeen && asked != extendedAged {
		return nil, nrcOutOfRange
	}
	out := append([]byte{0x59, reportExtended}, m.record(t)...)
	if t.status.has(notTestedSinceClear) || t.seen == 0 {
		return out, 0
	}
	if asked != extendedAged {
		out = append(out, extendedSeen, byte(t.seen))
	}
	if asked != extendedSeen {
		out = append(out, extendedAged, byte(t.aged))
	}
	return out, 0
}
