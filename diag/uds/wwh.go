package uds

import (
	"context"

	"readback/diag/dtc"
)

// Group is the answer to 19 42, 19 55 and 19 56, the reports of world-wide harmonised OBD: the codes of one functional
// group (33 emissions, D0 safety, FE VOBD).
type Group struct {
	Group                byte
	Availability         dtc.Status
	SeverityAvailability byte // 19 42 only
	Format               byte // 02 or 04
	Readiness            byte // readiness group, 19 56 only
	Records              []Rated
}

// GroupCodes lists the codes of a functional group that match a status mask and a severity mask (19 42).
func (c *Client) GroupCodes(ctx context.Context, group byte, mask dtc.Status, severity byte) (Group, error) {
	return ask(ctx, c, DecodeGroup, CodesRequest{Report: ReportGroup, Group: group, Status: mask, Severity: severity})
}

// GroupPermanent lists the codes of a functional group that only the module itself erases (19 55).
func (c *Client) GroupPermanent(ctx context.Context, group byte) (Group, error) {
	return ask(ctx, c, DecodeGroup, CodesRequest{Report: ReportGroupPermanent, Group: group})
}

// GroupReadiness lists the codes of a readiness group within a functional group (19 56). The numbers of readiness groups
// are in SAE J1979-DA.
func (c *Client) GroupReadiness(ctx context.Context, group, readiness byte) (Group, error) {
	return ask(ctx, c, DecodeGroup, CodesRequest{Report: ReportGroupReadiness, Group: group, Readiness: readiness})
}

// DecodeGroup reads 59 42 (severity, code and status each), 59 55 and 59 56 (code and status each). The shorter record
// of 59 55 follows ISO 14229-1:2020; one open library takes five bytes there.
func DecodeGroup(a []byte) (Group, error) {
	const op = "codes of a functional group"
	if len(a) < 5 {
		return Group{}, &ShapeError{op, a, "the head of the list is missing"}
	}
	g := Group{Group: a[2], Availability: dtc.Status(a[3]), Records: []Rated{}}
	head := 5
	switch a[1] & 0x7F {
	case 0x42:
		if len(a) < 6 {
			return Group{}, &ShapeError{op, a, "the format is missing"}
		}
		g.SeverityAvailability, g.Format, head = a[4], a[5], 6
		for b := a[head:]; !allZero(b); b = b[5:] {
			if len(b) < 5 {
				return Group{}, &ShapeError{op, a, "the last record is not whole"}
			}
			g.Records = append(g.Records, Rated{Severity: b[0], Code: dtc.From3(b[1], b[2], b[3]), Status: dtc.Status(b[4])})
		}
		return g, nil
	case 0x55:
		g.Format = a[4]
	case 0x56:
		if len(a) < 6 {
			return Group{}, &ShapeError{op, a, "the readiness group is missing"}
		}
		g.Format, g.Readiness, head = a[4], a[5], 6
	default:
		return Group{}, &ShapeError{op, a, "this is another report"}
	}
	list, err := records(a, a[head:])
	for _, r := range list {
		g.Records = append(g.Records, Rated{Code: r.Code, Status: r.Status})
	}
	return g, err
}
