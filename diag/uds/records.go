package uds

import (
	"context"

	"readback/diag/dtc"
)

// Snapshot is one record of values kept when a code was stored.
type Snapshot struct {
	Record byte
	Raw    []byte       // everything after the number of identifiers
	Data   []Identified // as far as the lengths are known
}

// Snapshots reads what was kept with a code (19 04, clause 12.3); record FF asks for all. The length of a value is
// not on the wire: size tells it, where the car's profile knows. What follows an unknown length stays in Raw of the
// record that it began in.
func (c *Client) Snapshots(ctx context.Context, code dtc.Code, record byte, size func(id uint16) (int, bool)) ([]Snapshot, error) {
	b := code3(code)
	a, err := c.read(ctx, sidReadCodes, byte(ReportSnapshots), b[0], b[1], b[2], record)
	if err != nil {
		return nil, err
	}
	return DecodeSnapshots(a, size)
}

// DecodeSnapshots reads 59 04: code, status, then per record its number, the number of identifiers, and for each the
// identifier and its data.
func DecodeSnapshots(a []byte, size func(id uint16) (int, bool)) ([]Snapshot, error) {
	if len(a) < 6 {
		return nil, &ShapeError{"snapshots", a, "the code and its status are missing"}
	}
	var out []Snapshot
	for b := a[6:]; len(b) > 0; {
		if len(b) < 2 {
			if b[0] == 0 {
				break // padding
			}
			return nil, &ShapeError{"snapshots", a, "a record has no number of identifiers"}
		}
		if allZero(b) && len(out) > 0 {
			break
		}
		s := Snapshot{Record: b[0]}
		left := s.fill(int(b[1]), b[2:], size)
		s.Raw = b[2 : len(b)-len(left)]
		out = append(out, s)
		b = left
	}
	return out, nil
}

// fill reads n values of b and returns what follows them: nothing when a length is not known or does not fit, for
// then the end of the record can't be found.
func (s *Snapshot) fill(n int, b []byte, size func(id uint16) (int, bool)) (left []byte) {
	for range n {
		if len(b) < 2 {
			return nil
		}
		length, known := size(word(b))
		if !known || length < 0 || length > len(b)-2 {
			return nil
		}
		s.Data = append(s.Data, Identified{Identifier: word(b), Data: b[2 : 2+length]})
		b = b[2+length:]
	}
	return b
}

// ExtendedRecord is one extended data record of a code.
type ExtendedRecord struct {
	Record byte
	Data   []byte
}

// ExtendedData reads a code's extended data (19 06, clause 12.3); record FF asks for all. The length of a record is
// not on the wire: size tells it; a record of unknown length takes all the rest.
func (c *Client) ExtendedData(ctx context.Context, code dtc.Code, record byte, size func(record byte) (int, bool)) ([]ExtendedRecord, error) {
	b := code3(code)
	a, err := c.read(ctx, sidReadCodes, byte(ReportExtended), b[0], b[1], b[2], record)
	if err != nil {
		return nil, err
	}
	return DecodeExtended(a, size)
}

// DecodeExtended reads 59 06: code, status, then each record's number and data.
func DecodeExtended(a []byte, size func(record byte) (int, bool)) ([]ExtendedRecord, error) {
	if len(a) < 6 {
		return nil, &ShapeError{"extended data", a, "the code and its status are missing"}
	}
	var out []ExtendedRecord
	for b := a[6:]; len(b) > 0; {
		n, known := size(b[0])
		if !known || n < 0 || n > len(b)-1 {
			n = len(b) - 1
		}
		out = append(out, ExtendedRecord{Record: b[0], Data: b[1 : 1+n]})
		b = b[1+n:]
	}
	return out, nil
}
