package kwp

import (
	"context"
	"fmt"

	"readback/diag/dtc"
)

// Groups of codes that 13, 14 and 18 can name (scapy KWP_CDI). A single code is a group of its own.
const (
	GroupPowertrain uint16 = 0x0000
	GroupChassis    uint16 = 0x4000
	GroupBody       uint16 = 0x8000
	GroupNetwork    uint16 = 0xC000
	GroupAll        uint16 = 0xFF00
)

// Selection is which codes 18 shall tell and in which form (statusOfDTCRequested, from memory of ISO 14230-3). Older
// modules know only the first two.
type Selection byte

const (
	Identified   Selection = 0x00 // those with a result, in the module's own form
	Supported    Selection = 0x01 // all that the module knows, in its own form
	Identified2  Selection = 0x02 // those with a result, as two-byte codes
	Supported2   Selection = 0x03 // all that the module knows, as two-byte codes
	MostRecent2  Selection = 0x04 // the latest one
	byStatusSize           = 3    // two bytes of code, one of status
)

// CodeStatus is one code with its status byte.
type CodeStatus struct {
	Code   dtc.Code
	Status Status
}

// CodesByStatus lists codes with their status (18). The usual request is Identified2 of GroupAll: 18 02 FF 00. The list
// is never nil: a list without codes is an answer.
func (c *Client) CodesByStatus(ctx context.Context, s Selection, group uint16) ([]CodeStatus, error) {
	a, err := c.read(ctx, sidByStatus, byte(s), byte(group>>8), byte(group))
	if err != nil {
		return nil, err
	}
	return DecodeByStatus(a)
}

// DecodeByStatus reads 58: the number of codes, then two code bytes and a status each. Zeros after the last record are
// padding.
func DecodeByStatus(a []byte) ([]CodeStatus, error) {
	b, err := counted("codes by status", a, byStatusSize)
	if err != nil {
		return nil, err
	}
	out := []CodeStatus{}
	for ; len(b) > 0; b = b[byStatusSize:] {
		out = append(out, CodeStatus{dtc.From2(b[0], b[1]), Status(b[2])})
	}
	return out, nil
}

// Codes lists codes without their status, the older reading (13).
func (c *Client) Codes(ctx context.Context, group uint16) ([]dtc.Code, error) {
	a, err := c.read(ctx, sidCodes, byte(group>>8), byte(group))
	if err != nil {
		return nil, err
	}
	return DecodeCodes(a)
}

// DecodeCodes reads 53: the number of codes, then two bytes each.
func DecodeCodes(a []byte) ([]dtc.Code, error) {
	b, err := counted("codes", a, 2)
	if err != nil {
		return nil, err
	}
	out := []dtc.Code{}
	for ; len(b) > 0; b = b[2:] {
		out = append(out, dtc.From2(b[0], b[1]))
	}
	return out, nil
}

// counted are the announced records of an answer, without padding.
func counted(op string, a []byte, size int) ([]byte, error) {
	if len(a) < 2 {
		return nil, &ShapeError{op, a, "the number of codes is missing"}
	}
	n, b := int(a[1])*size, a[2:]
	if len(b) < n {
		return nil, &ShapeError{op, a, fmt.Sprintf("%d codes are announced, %d bytes follow", a[1], len(b))}
	}
	for _, x := range b[n:] {
		if x != 0 {
			return nil, &ShapeError{op, a, fmt.Sprintf("%d codes are announced, but more follow", a[1])}
		}
	}
	return b[:n], nil
}

// OneStatus is the answer to 17.
type OneStatus struct {
	CodeStatus
	Known bool   // the module has told about the code
	Raw   []byte // what follows the status: the maker's own
}

// StatusOf reads the status of one code and what the module keeps with it (17).
func (c *Client) StatusOf(ctx context.Context, code dtc.Code) (OneStatus, error) {
	hi, lo := two(code)
	a, err := c.read(ctx, sidStatus, hi, lo)
	if err != nil {
		return OneStatus{}, err
	}
	return DecodeStatusOf(a)
}

// DecodeStatusOf reads 57: the number of codes, two code bytes, the status, and data in the maker's own form. A module
// that has nothing to tell about the code says that there are none.
func DecodeStatusOf(a []byte) (OneStatus, error) {
	const op = "status of a code"
	switch {
	case len(a) < 2:
		return OneStatus{}, &ShapeError{op, a, "the number of codes is missing"}
	case a[1] == 0:
		return OneStatus{Raw: a[2:]}, nil
	case len(a) < 2+byStatusSize:
		return OneStatus{}, &ShapeError{op, a, "the code and its status are missing"}
	}
	return OneStatus{CodeStatus{dtc.From2(a[2], a[3]), Status(a[4])}, true, a[5:]}, nil
}

// ClearRequest is the request to erase a group of codes, or one code (14). This package does not send it.
func ClearRequest(group uint16) []byte { return []byte{sidClear, byte(group >> 8), byte(group)} }

// DecodeClear reads 54: the group that was erased. Some modules leave it out (common practice); echoed is false then.
func DecodeClear(a []byte) (group uint16, echoed bool, err error) {
	switch len(a) {
	case 0, 2:
		return 0, false, &ShapeError{"erased codes", a, "a group has two bytes"}
	case 1:
		return 0, false, nil
	}
	return uint16(a[1])<<8 | uint16(a[2]), true, nil
}
