package simcar

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"time"
)

// Deeper is what a module can tell of its codes and values beyond what every module can. What it lacks it refuses.
type Deeper struct {
	Reports   []Byte                      `json:"reports"`   // report types of service 19 that it knows besides 01-04, 06, 09, 0A and 14
	Scaling   map[string]Hex              `json:"scaling"`   // identifier -> scaling bytes with their extensions, for 24
	Memories  map[string]map[string]*Code `json:"memories"`  // a memory of the maker's own, "15" -> codes; for 19 17-19, and 14 with that number
	Mirror    map[string]*Code            `json:"mirror"`    // codes of the mirror memory, for 19 0F-11; no clear reaches it
	Readiness map[string][]string         `json:"readiness"` // readiness group, "01" -> codes, for 19 56
}

// Report types of ReadDTCInformation that a module may know besides, ISO 14229-1:2020 table of service 19; 0F-13 are of
// the edition of 2013.
const (
	reportStored          = 0x05
	reportNumberSeverity  = 0x07
	reportBySeverity      = 0x08
	reportFirstFailed     = 0x0B
	reportFirstConfirmed  = 0x0C
	reportLastFailed      = 0x0D
	reportLastConfirmed   = 0x0E
	reportMirror          = 0x0F
	reportMirrorExtended  = 0x10
	reportMirrorNumber    = 0x11
	reportEmissionsNumber = 0x12
	reportEmissions       = 0x13
	reportPermanent       = 0x15
	reportExtendedNumber  = 0x16
	reportMemory          = 0x17
	reportMemorySnapshot  = 0x18
	reportMemoryExtended  = 0x19
	reportSupporting      = 0x1A
	reportGroup           = 0x42
	reportGroupPermanent  = 0x55
	reportGroupReadiness  = 0x56
)

// deeperReports are those report types: how long a whole request is, and what answers it.
var deeperReports = map[byte]struct {
	length int
	answer func(m *module, req []byte) ([]byte, byte)
}{
	reportStored:          {3, (*module).stored},
	reportNumberSeverity:  {4, (*module).numberBySeverity},
	reportBySeverity:      {4, (*module).listBySeverity},
	reportFirstFailed:     {2, (*module).milestone},
	reportFirstConfirmed:  {2, (*module).milestone},
	reportLastFailed:      {2, (*module).milestone},
	reportLastConfirmed:   {2, (*module).milestone},
	reportMirror:          {3, (*module).mirrored},
	reportMirrorExtended:  {6, (*module).mirrored},
	reportMirrorNumber:    {3, (*module).mirrored},
	reportEmissionsNumber: {3, (*module).emissions},
	reportEmissions:       {3, (*module).emissions},
	reportPermanent:       {2, (*module).permanentList},
	reportExtendedNumber:  {3, (*module).extendedOfAll},
	reportMemory:          {4, (*module).remembered},
	reportMemorySnapshot:  {7, (*module).remembered},
	reportMemoryExtended:  {7, (*module).remembered},
	reportSupporting:      {3, (*module).supporting},
	reportGroup:           {5, (*module).group},
	reportGroupPermanent:  {3, (*module).group},
	reportGroupReadiness:  {4, (*module).group},
}

// knows tells whether the module has a further report type.
func (m *module) knows(sub byte) bool {
	_, ok := deeperReports[sub]
	return ok && slices.Contains(m.spec.Reports, Byte(sub))
}

// recall makes the memories that lie beside the one that is tested.
func (m *module) recall() {
	m.mirror = remember(m.spec.Mirror)
	m.memories = map[byte][]*trouble{}
	for key, codes := range m.spec.Memories {
		if n, ok := oneByte(key); ok {
			m.memories[n] = remember(codes)
		}
	}
}

func remember(codes map[string]*Code) []*trouble {
	var out []*trouble
	for name, spec := range codes {
		if b, err := parseCode(name); err == nil {
			out = append(out, newTrouble(b, spec))
		}
	}
	slices.SortFunc(out, func(a, b *trouble) int { return bytes.Compare(a.code[:], b.code[:]) })
	return out
}

// oneByte reads two hex digits.
func oneByte(s string) (byte, bool) {
	b, err := parseHex(s)
	if err != nil || len(b) != 1 {
		return 0, false
	}
	return b[0], true
}

// count is the answer of the report types that count: mask, format, number.
func (m *module) count(sub byte, n int) []byte {
	return []byte{0x59, sub, byte(m.spec.Mask), byte(m.spec.Format), byte(n >> 8), byte(n)}
}

// stored gives the snapshots of all codes, numbered from 1 in the order of the codes: record number, code, status, number
// of identifiers, identifiers with their data (clause 12.3).
func (m *module) stored(req []byte) ([]byte, byte) {
	out, n := []byte{0x59, reportStored}, 0
	for _, t := range m.troubles {
		for _, record := range t.records(allRecords) {
			if n++; req[2] != allRecords && int(req[2]) != n {
				continue
			}
			data, count := t.content(record)
			out = append(append(append(append(out, byte(n)), m.record(t)...), count), data...)
		}
	}
	if len(out) == 2 {
		return nil, nrcOutOfRange
	}
	return out, 0
}

func (m *module) severe(severity, mask byte) []*trouble {
	var out []*trouble
	for _, t := range m.matching(status(mask)) {
		if byte(t.spec.Severity)&severity != 0 {
			out = append(out, t)
		}
	}
	return out
}

func (m *module) numberBySeverity(req []byte) ([]byte, byte) {
	return m.count(reportNumberSeverity, len(m.severe(req[2], req[3]))), 0
}

func (m *module) listBySeverity(req []byte) ([]byte, byte) {
	out := []byte{0x59, reportBySeverity, byte(m.spec.Mask)}
	for _, t := range m.severe(req[2], req[3]) {
		out = append(append(out, byte(t.spec.Severity), byte(t.spec.Unit)), m.record(t)...)
	}
	return out, 0
}

// mirrored answers from the mirror memory.
func (m *module) mirrored(req []byte) ([]byte, byte) {
	sub := req[1] &^ suppress
	switch sub {
	case reportMirror:
		return m.list(sub, m.matchingOf(m.mirror, status(req[2]))), 0
	case reportMirrorNumber:
		return m.count(sub, len(m.matchingOf(m.mirror, status(req[2])))), 0
	}
	t := find(m.mirror, req[2:5])
	if t == nil {
		return nil, nrcOutOfRange
	}
	out, code := m.extended(t, req[5])
	if code == 0 {
		out[1] = sub
	}
	return out, code
}

// emissions answers for the codes that the services of SAE J1979 report too.
func (m *module) emissions(req []byte) ([]byte, byte) {
	sub := req[1] &^ suppress
	list := m.matchingOf(m.regulated(), status(req[2]))
	if sub == reportEmissionsNumber {
		return m.count(sub, len(list)), 0
	}
	return m.list(sub, list), 0
}

func (m *module) regulated() []*trouble {
	var out []*trouble
	for _, t := range m.troubles {
		if t.spec.OBD {
			out = append(out, t)
		}
	}
	return out
}

func (m *module) permanent() []*trouble {
	if m.obd != nil {
		return m.obd.permanent
	}
	var out []*trouble
	for _, t := range m.troubles {
		if t.spec.Permanent {
			out = append(out, t)
		}
	}
	return out
}

func (m *module) permanentList(_ []byte) ([]byte, byte) {
	return m.list(reportPermanent, m.permanent()), 0
}

// extendedOfAll gives one extended data record of all codes that have it.
func (m *module) extendedOfAll(req []byte) ([]byte, byte) {
	if req[2] != extendedSeen && req[2] != extendedAged {
		return nil, nrcOutOfRange
	}
	out := []byte{0x59, reportExtendedNumber, req[2]}
	for _, t := range m.troubles {
		if b, code := m.extended(t, req[2]); code == 0 && len(b) > 7 {
			out = append(append(out, m.record(t)...), b[7:]...)
		}
	}
	return out, 0
}

// supporting lists the codes that can have an extended data record, with data or without.
func (m *module) supporting(req []byte) ([]byte, byte) {
	if req[2] != extendedSeen && req[2] != extendedAged {
		return nil, nrcOutOfRange
	}
	out := []byte{0x59, reportSupporting, byte(m.spec.Mask), req[2]}
	for _, t := range m.troubles {
		out = append(out, m.record(t)...)
	}
	return out, 0
}

// remembered answers from a memory of the maker's own; its number is the last byte of the request and comes first in
// the answer.
func (m *module) remembered(req []byte) ([]byte, byte) {
	sub, number := req[1]&^suppress, req[len(req)-1]
	memory, ok := m.memories[number]
	if !ok {
		return nil, nrcOutOfRange
	}
	var (
		out  []byte
		code byte
	)
	switch t := find(memory, req[2:min(5, len(req))]); {
	case sub == reportMemory:
		out = m.list(sub, m.matchingOf(memory, status(req[2])))
	case t == nil:
		return nil, nrcOutOfRange
	case sub == reportMemorySnapshot:
		out, code = m.snapshots(t, req[5])
	default:
		out, code = m.extended(t, req[5])
	}
	if code != 0 {
		return nil, code
	}
	return append([]byte{0x59, sub, number}, out[2:]...), 0
}

// Functional groups, ISO 14229-1:2020 annex D.5. FF FF and the group is the group of service 14.
const groupEmissions = 0x33

// severities are the bits that a module reports: what to do (7-5) and the class (4-1), annex D.3. Bit 0 is "no class".
const severities = 0xFE

// group answers for a functional group: one that the module can also clear.
func (m *module) group(req []byte) ([]byte, byte) {
	sub, group := req[1]&^suppress, req[2]
	if !slices.ContainsFunc(m.spec.Groups, func(g Hex) bool { return bytes.Equal(g, []byte{0xFF, 0xFF, group}) }) {
		return nil, nrcOutOfRange
	}
	within := func(t *trouble) bool { return group != groupEmissions || t.spec.OBD }
	out := []byte{0x59, sub, group, byte(m.spec.Mask)}
	switch sub {
	case reportGroup:
		out = append(out, severities, byte(m.spec.Format))
		for _, t := range m.severe(req[4], req[3]) {
			if within(t) {
				out = append(append(out, byte(t.spec.Severity)), m.record(t)...)
			}
		}
		return out, 0
	case reportGroupPermanent:
		out = append(out, byte(m.spec.Format))
		for _, t := range m.permanent() {
			if within(t) {
				out = append(out, m.record(t)...)
			}
		}
		return out, 0
	}
	codes, ok := m.spec.Readiness[fmt.Sprintf("%02X", req[3])]
	if !ok {
		return nil, nrcOutOfRange
	}
	out = append(out, byte(m.spec.Format), req[3])
	for _, t := range m.troubles {
		if within(t) && slices.ContainsFunc(codes, func(s string) bool { b, err := parseCode(s); return err == nil && b == t.code }) {
			out = append(out, m.record(t)...)
		}
	}
	return out, 0
}

func checkScaling(_ *module, req []byte) byte {
	if len(req) != 3 {
		return nrcLength
	}
	return 0
}

// readScaling tells how a value is to be read.
func (c *Car) readScaling(m *module, req []byte, _ time.Time) ([]byte, byte) {
	for key, bytes := range m.spec.Scaling {
		if id, err := identifier(key); err == nil && id == uint16(req[1])<<8|uint16(req[2]) {
			return append([]byte{0x64, req[1], req[2]}, bytes...), 0
		}
	}
	return nil, nrcOutOfRange
}

func (d *Deeper) validate(at string, codes map[string]*Code) error {
	for i, r := range d.Reports {
		if _, ok := deeperReports[byte(r)]; !ok {
			return wrong(fmt.Sprintf("%s.reports[%d]", at, i), "%02X is no report type that a module may have or lack", byte(r))
		}
	}
	for _, key := range slices.Sorted(maps.Keys(d.Scaling)) {
		at := at + ".scaling." + key
		if _, err := identifier(key); err != nil {
			return wrong(at, "%w", err)
		}
		if len(d.Scaling[key]) == 0 {
			return wrong(at, "is empty")
		}
	}
	if err := validateCodes(at+".mirror", d.Mirror); err != nil {
		return err
	}
	for _, key := range slices.Sorted(maps.Keys(d.Memories)) {
		at := at + ".memories." + key
		if _, ok := oneByte(key); !ok {
			return wrong(at, "%q is no number of a memory, as in 15", key)
		}
		if err := validateCodes(at, d.Memories[key]); err != nil {
			return err
		}
	}
	for _, key := range slices.Sorted(maps.Keys(d.Readiness)) {
		at := at + ".readiness." + key
		if n, ok := oneByte(key); !ok || key != fmt.Sprintf("%02X", n) {
			return wrong(at, "%q is no readiness group, as in 0A", key)
		}
		for _, code := range d.Readiness[key] {
			if codes[code] == nil {
				return wrong(at, "%s is no code of this module", code)
			}
		}
	}
	return nil
}

func validateCodes(at string, codes map[string]*Code) error {
	for _, name := range slices.Sorted(maps.Keys(codes)) {
		at := at + "." + name
		switch _, err := parseCode(name); {
		case err != nil:
			return wrong(at, "%w", err)
		case codes[name] == nil:
			return wrong(at, "is empty")
		}
		if err := codes[name].validate(at); err != nil {
			return err
		}
	}
	return nil
}
