package uds

import (
	"context"

	"readback/diag/dtc"
)

// Bits of a severity byte, ISO 14229-1:2020 annex D.3; bits 4-0 are the GTR class.
const (
	CheckImmediately byte = 0x80
	CheckAtNextHalt  byte = 0x40
	MaintenanceOnly  byte = 0x20
)

// SeverityText is the module's own judgement in words; "" when it gives none.
func SeverityText(b byte) string {
	switch {
	case b&CheckImmediately != 0:
		return "check at once"
	case b&CheckAtNextHalt != 0:
		return "check at the next halt"
	case b&MaintenanceOnly != 0:
		return "maintenance only"
	}
	return ""
}

// Rated is one code with the severity that its module gives it.
type Rated struct {
	Severity byte
	Unit     byte // functional unit, the maker's numbers
	Code     dtc.Code
	Status   dtc.Status
}

// Severity asks how serious the module takes one code (19 09).
func (c *Client) Severity(ctx context.Context, code dtc.Code) (byte, error) {
	b := code3(code)
	a, err := c.read(ctx, sidReadCodes, byte(ReportSeverity), b[0], b[1], b[2])
	if err != nil {
		return 0, err
	}
	_, list, err := DecodeSeverity(a)
	if err != nil {
		return 0, err
	}
	for _, r := range list {
		if code3(r.Code) == b {
			return r.Severity, nil
		}
	}
	return 0, &ShapeError{"severity of a code", a, "the answer holds no record of the code"}
}

// DecodeSeverity reads 59 08 and 59 09: availability mask, then severity, functional unit, three code bytes and status.
func DecodeSeverity(a []byte) (availability dtc.Status, list []Rated, err error) {
	if len(a) < 3 {
		return 0, nil, &ShapeError{"severity of codes", a, "the availability mask is missing"}
	}
	list = []Rated{}
	for b := a[3:]; !allZero(b); b = b[6:] {
		if len(b) < 6 {
			return 0, nil, &ShapeError{"severity of codes", a, "the last record is not whole"}
		}
		list = append(list, Rated{Severity: b[0], Unit: b[1], Code: dtc.From3(b[2], b[3], b[4]), Status: dtc.Status(b[5])})
	}
	return dtc.Status(a[2]), list, nil
}
