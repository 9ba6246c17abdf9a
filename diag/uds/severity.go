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

// Rated is one code with the severity that its module gives it.
type Rated struct {
	Severity byte
	Unit     byte // functional unit, the maker's numbers
	Code     dtc.Code
	Status   dtc.Status
}

// RatedList is a list of codes with their severities. Records is never nil.
type RatedList struct {
	Availability dtc.Status // the status bits that the module reports
	Records      []Rated
}

// CodesBySeverity lists the codes that match a severity mask and a status mask (19 08).
func (c *Client) CodesBySeverity(ctx context.Context, severity byte, mask dtc.Status) (RatedList, error) {
	return ask(ctx, c, decodeRated, CodesRequest{Report: ReportBySeverity, Severity: severity, Status: mask})
}

// Severity asks how serious the module takes one code (19 09).
func (c *Client) Severity(ctx context.Context, code dtc.Code) (byte, error) {
	return ask(ctx, c, func(a []byte) (byte, error) {
		list, err := decodeRated(a)
		if err != nil {
			return 0, err
		}
		for _, r := range list.Records {
			if code3(r.Code) == code3(code) {
				return r.Severity, nil
			}
		}
		return 0, &ShapeError{"severity of a code", a, "the answer holds no record of the code"}
	}, CodesRequest{Report: ReportSeverity, Code: code})
}

func decodeRated(a []byte) (RatedList, error) {
	available, list, err := DecodeSeverity(a)
	return RatedList{available, list}, err
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
