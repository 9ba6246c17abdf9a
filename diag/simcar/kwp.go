package simcar

import (
	"encoding/binary"
	"fmt"
	"maps"
	"slices"
	"time"
)

// KWP makes a module answer the services of ISO 14230-3 instead of those of ISO 14229-1, on its own serial line or on
// CAN. Its codes have two bytes: the failure type of the scenario's code becomes the fault symptom.
type KWP struct {
	Texts map[string]string `json:"texts"` // identification option -> ASCII text, for 1A
	Data  map[string]Hex    `json:"data"`  // identification option -> bytes, for 1A
	Local map[string]Hex    `json:"local"` // local identifier -> bytes, for 21
	Bare  bool              `json:"bare"`  // the answer to 14 does not repeat the group
}

// kwpServices are those of ISO 14230-3 that such a module knows. Forms as the open library scapy has them
// (contrib/automotive/kwp); 12, 13, 20, 81 and 82 from memory of ISO 14230-2 and -3.
var kwpServices = map[byte]service{
	0x10: {kwpLength(2), (*Car).kwpSession, false},
	0x12: {kwpLength(5), (*Car).kwpFrozen, false},
	0x13: {kwpLength(1, 3), (*Car).kwpCodes, false},
	0x14: {kwpLength(3), (*Car).kwpClear, false},
	0x17: {kwpLength(3), (*Car).kwpStatus, false},
	0x18: {kwpLength(4), (*Car).kwpByStatus, false},
	0x1A: {kwpLength(2), (*Car).kwpPlate, false},
	0x20: {kwpLength(1), (*Car).kwpEndSession, false},
	0x21: {kwpLength(2), (*Car).kwpLocal, false},
	0x3E: {kwpLength(1, 2), (*Car).kwpPresent, false},
	0x81: {kwpLength(1), (*Car).kwpStart, false},
	0x82: {kwpLength(1), (*Car).kwpStop, false},
}

// Sessions of ISO 14230-3 (scapy KWP_SDS).
const (
	kwpStandard = 0x81
	kwpExtended = 0x92
)

func kwpLength(lengths ...int) func(*module, []byte) byte {
	return func(_ *module, req []byte) byte {
		if !slices.Contains(lengths, len(req)) {
			return nrcSubFunctionNotSupported // "invalid format" has the same number in ISO 14230-3
		}
		return 0
	}
}

func (c *Car) kwpSession(m *module, req []byte, _ time.Time) ([]byte, byte) {
	switch req[1] {
	case kwpStandard:
		m.session = defaultSession
	case kwpExtended:
		m.session = extendedSession
	default:
		return nil, nrcSubFunctionNotSupported
	}
	return []byte{0x50, req[1]}, 0
}

func (c *Car) kwpEndSession(m *module, _ []byte, _ time.Time) ([]byte, byte) {
	m.session = defaultSession
	return []byte{0x60}, 0
}

// kwpPresent answers unless it is asked not to: 02 is noResponse.
func (c *Car) kwpPresent(_ *module, req []byte, _ time.Time) ([]byte, byte) {
	switch {
	case len(req) == 1 || req[1] == 0x01:
		return []byte{0x7E}, 0
	case req[1] == 0x02:
		return nil, 0
	}
	return nil, nrcSubFunctionNotSupported
}

// kwpStart tells the key bytes EF 8F: headers with addresses, length in the format byte or behind it, usual timing
// (ISO 14230-2; public transcripts show the same bytes).
func (c *Car) kwpStart(_ *module, _ []byte, _ time.Time) ([]byte, byte) {
	return []byte{0xC1, 0xEF, 0x8F}, 0
}

func (c *Car) kwpStop(_ *module, _ []byte, _ time.Time) ([]byte, byte) { return []byte{0xC2}, 0 }

// Groups of codes (scapy KWP_CDI): all, or those of one letter.
const kwpAll = 0xFF00

func inGroup(t *trouble, group uint16) bool {
	code := binary.BigEndian.Uint16(t.code[:2])
	switch group {
	case kwpAll:
		return true
	case 0x0000, 0x4000, 0x8000, 0xC000:
		return code&0xC000 == group
	}
	return code == group
}

// Symptoms in the status byte of ISO 14230-3, by the failure type of the scenario's code (SAE J2012: 16 and 17 are a
// voltage below and above its limits, 31 is no signal, 29 an invalid one).
var kwpSymptoms = map[byte]byte{0x17: 0x01, 0x16: 0x02, 0x31: 0x04, 0x29: 0x08}

// kwpState is the status byte of ISO 14230-3: symptom, readiness in bit 4, storage state in bits 5 and 6, lamp in bit 7.
func kwpState(t *trouble) byte {
	b := kwpSymptoms[t.code[2]]
	if t.status.has(notTestedThisCycle) {
		b |= 0x10
	}
	switch now, stored := t.status.has(testFailed), t.status.has(confirmed); {
	case now && stored:
		b |= 0x60
	case now:
		b |= 0x40
	case stored:
		b |= 0x20
	}
	if t.status.has(lampRequested) {
		b |= 0x80
	}
	return b
}

func identified(t *trouble) bool { return kwpState(t)&0x60 != 0 }

// kwpByStatus knows the codes with a result (00 and 02) and all codes (01 and 03).
func (c *Car) kwpByStatus(m *module, req []byte, _ time.Time) ([]byte, byte) {
	if req[1] > 0x03 {
		return nil, nrcSubFunctionNotSupported
	}
	group := binary.BigEndian.Uint16(req[2:])
	out := []byte{0x58, 0}
	for _, t := range m.troubles {
		if inGroup(t, group) && (req[1]&1 == 1 || identified(t)) {
			out[1]++
			out = append(out, t.code[0], t.code[1], kwpState(t))
		}
	}
	return out, 0
}

func (c *Car) kwpCodes(m *module, req []byte, _ time.Time) ([]byte, byte) {
	group := uint16(kwpAll)
	if len(req) == 3 {
		group = binary.BigEndian.Uint16(req[1:])
	}
	out := []byte{0x53, 0}
	for _, t := range m.troubles {
		if inGroup(t, group) && identified(t) {
			out[1]++
			out = append(out, t.code[:2]...)
		}
	}
	return out, 0
}

// findOld is the first code with these two bytes.
func (m *module) findOld(code []byte) *trouble {
	for _, t := range m.troubles {
		if t.code[0] == code[0] && t.code[1] == code[1] {
			return t
		}
	}
	return nil
}

// kwpStatus tells one code, and behind its status how often it was seen: the maker's own.
func (c *Car) kwpStatus(m *module, req []byte, _ time.Time) ([]byte, byte) {
	t := m.findOld(req[1:])
	if t == nil || !identified(t) {
		return []byte{0x57, 0}, 0
	}
	return []byte{0x57, 1, t.code[0], t.code[1], kwpState(t), byte(t.seen)}, 0
}

// kwpFrozen tells what was kept with a code, 02 being "by its number": odometer, supply, temperature and time on, in the
// maker's own form.
func (c *Car) kwpFrozen(m *module, req []byte, _ time.Time) ([]byte, byte) {
	t := m.findOld(req[3:])
	if req[2] != 0x02 || t == nil {
		return nil, nrcOutOfRange
	}
	for _, n := range t.records(allRecords) {
		kept := t.snapshots[n]
		out := append([]byte{0x52, req[1]}, kept.odometerBytes()...)
		return append(append(out, kept.supplyByte(), kept.outsideByte()), kept.onForBytes()...), 0
	}
	return nil, nrcOutOfRange
}

func (c *Car) kwpClear(m *module, req []byte, now time.Time) ([]byte, byte) {
	group := binary.BigEndian.Uint16(req[1:])
	any := group == kwpAll || group&0x3FFF == 0
	for _, t := range m.troubles {
		if inGroup(t, group) {
			any = true
			m.clearOne(c, t, now)
		}
	}
	switch {
	case !any:
		return nil, nrcOutOfRange
	case m.spec.KWP.Bare:
		return []byte{0x54}, 0
	}
	return []byte{0x54, req[1], req[2]}, 0
}

// kwpPlate knows the number of the car (90) beside the scenario's own options.
func (c *Car) kwpPlate(m *module, req []byte, _ time.Time) ([]byte, byte) {
	out := []byte{0x5A, req[1]}
	key := fmt.Sprintf("%02X", req[1])
	k := m.spec.KWP
	switch {
	case req[1] == 0x90:
		return append(out, c.spec.VIN...), 0
	case k.Texts[key] != "":
		return append(out, k.Texts[key]...), 0
	case k.Data[key] != nil:
		return append(out, k.Data[key]...), 0
	}
	return nil, nrcOutOfRange
}

func (c *Car) kwpLocal(m *module, req []byte, _ time.Time) ([]byte, byte) {
	v := m.spec.KWP.Local[fmt.Sprintf("%02X", req[1])]
	if v == nil {
		return nil, nrcOutOfRange
	}
	return append([]byte{0x61, req[1]}, v...), 0
}

func (k *KWP) validate(at string) error {
	check := func(table, key string, empty bool) error {
		var b Byte
		if b.UnmarshalText([]byte(key)) != nil || key != fmt.Sprintf("%02X", byte(b)) || empty {
			return wrong(at+"."+table+"."+key, "is no number of one byte with its value")
		}
		return nil
	}
	for _, key := range slices.Sorted(maps.Keys(k.Texts)) {
		if err := check("texts", key, k.Texts[key] == ""); err != nil {
			return err
		}
	}
	for i, table := range []map[string]Hex{k.Data, k.Local} {
		for _, key := range slices.Sorted(maps.Keys(table)) {
			if err := check([]string{"data", "local"}[i], key, len(table[key]) == 0); err != nil {
				return err
			}
		}
	}
	return nil
}
