package diag

import (
	"encoding/json"
	"fmt"
	"strings"

	"readback/assets"
	"readback/diag/garage"
	"readback/diag/uds"
)

// profile is what is known of the identifiers inside snapshots and extended data of one kind of car. The layout is
// not on the wire: without a profile the bytes stay raw.
type profile struct {
	Prefix      string             `json:"vinPrefix"`
	Source      string             `json:"source"`
	Identifiers map[string]meaning `json:"identifiers"` // "DD00"
	Records     map[string]meaning `json:"extended"`    // "01"
}

// meaning is one value: its length in bytes and how to show it.
type meaning struct {
	Name   string  `json:"name"`
	Bytes  int     `json:"bytes"`
	Factor float64 `json:"factor"`
	Offset float64 `json:"offset"`
	Unit   string  `json:"unit"`
	Digits int     `json:"digits"`
}

// profileOf finds the profile for an identification number; the zero profile knows nothing.
func profileOf(number string) profile {
	for _, raw := range assets.Profiles() {
		var p profile
		if err := json.Unmarshal(raw, &p); err == nil && p.Prefix != "" && strings.HasPrefix(number, p.Prefix) {
			return p
		}
	}
	return profile{}
}

func (p profile) size(id uint16) (int, bool) {
	m, ok := p.Identifiers[fmt.Sprintf("%04X", id)]
	return m.Bytes, ok
}

func (p profile) recordSize(record byte) (int, bool) {
	m, ok := p.Records[fmt.Sprintf("%02X", record)]
	return m.Bytes, ok
}

func (p profile) snapshot(s uds.Snapshot) garage.Snapshot {
	out := garage.Snapshot{Record: s.Record, Raw: s.Raw, Values: []garage.Value{}}
	for _, d := range s.Data {
		m := p.Identifiers[fmt.Sprintf("%04X", d.Identifier)]
		out.Values = append(out.Values, garage.Value{Identifier: d.Identifier, Name: m.Name, Text: m.text(d.Data), Raw: d.Data})
	}
	return out
}

func (p profile) extended(x uds.ExtendedRecord) garage.Extended {
	m := p.Records[fmt.Sprintf("%02X", x.Record)]
	return garage.Extended{Record: x.Record, Name: m.Name, Text: m.text(x.Data), Raw: x.Data}
}

// value reads raw bytes, most significant first; ok is false when the meaning or the length is not known.
func (m meaning) value(raw []byte) (value float64, ok bool) {
	if m.Bytes == 0 || len(raw) != m.Bytes {
		return 0, false
	}
	var n uint64
	for _, b := range raw {
		n = n<<8 | uint64(b)
	}
	factor := m.Factor
	if factor == 0 {
		factor = 1
	}
	return float64(n)*factor + m.Offset, true
}

// text shows raw bytes as a value with its unit; "" when the meaning or the length is not known.
func (m meaning) text(raw []byte) string {
	value, ok := m.value(raw)
	if !ok {
		return ""
	}
	s := fmt.Sprintf("%.*f", m.Digits, value)
	if m.Unit == "" {
		return s
	}
	return s + " " + m.Unit
}
