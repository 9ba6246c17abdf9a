package uds

import (
	"context"

	"readback/diag/dtc"
)

// Size tells the length in bytes of the data of an identifier, where the car's profile knows it. The lengths are not on
// the wire; without one the rest stays raw.
type Size = func(id uint16) (int, bool)

// RecordSize tells the length in bytes of an extended data record, as [Size] does.
type RecordSize = func(record byte) (int, bool)

// CodeRecord names one snapshot of one code.
type CodeRecord struct {
	Code   dtc.Code
	Record byte
}

// SnapshotRecords lists which codes have which snapshots (19 03, clause 12.3).
func (c *Client) SnapshotRecords(ctx context.Context) ([]CodeRecord, error) {
	return ask(ctx, c, DecodeSnapshotRecords, CodesRequest{Report: ReportSnapshotRecords})
}

// DecodeSnapshotRecords reads 59 03: three code bytes and a record number each.
func DecodeSnapshotRecords(a []byte) ([]CodeRecord, error) {
	return each("list of snapshots", a, func(code dtc.Code, b byte) CodeRecord { return CodeRecord{code, b} })
}

// Snapshot is one record of values kept when a code was stored.
type Snapshot struct {
	Record byte
	Raw    []byte       // everything after the number of identifiers
	Data   []Identified // as far as the lengths are known
}

// Snapshots reads what was kept with a code (19 04); record FF asks for all. What follows an unknown length stays in
// Raw of the record that it began in.
func (c *Client) Snapshots(ctx context.Context, code dtc.Code, record byte, size Size) ([]Snapshot, error) {
	return ask(ctx, c, func(a []byte) ([]Snapshot, error) { return DecodeSnapshots(a, size) },
		CodesRequest{Report: ReportSnapshots, Code: code, Record: record})
}

// MemorySnapshots reads what was kept with a code in a memory of the maker's own (19 18).
func (c *Client) MemorySnapshots(ctx context.Context, code dtc.Code, record, memory byte, size Size) ([]Snapshot, error) {
	return ask(ctx, c, func(a []byte) ([]Snapshot, error) { return DecodeMemorySnapshots(a, size) },
		CodesRequest{Report: ReportMemorySnapshots, Code: code, Record: record, Memory: memory})
}

// DecodeSnapshots reads 59 04: code, status, then per record its number, the number of identifiers, and for each the
// identifier and its data.
func DecodeSnapshots(a []byte, size Size) ([]Snapshot, error) { return snapshots(a, 6, size) }

// DecodeMemorySnapshots reads 59 18: which memory, then as 59 04.
func DecodeMemorySnapshots(a []byte, size Size) ([]Snapshot, error) { return snapshots(a, 7, size) }

func snapshots(a []byte, head int, size Size) ([]Snapshot, error) {
	if len(a) < head {
		return nil, &ShapeError{"snapshots", a, "the code and its status are missing"}
	}
	var out []Snapshot
	for b := a[head:]; len(b) > 0; {
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
func (s *Snapshot) fill(n int, b []byte, size Size) (left []byte) {
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

// Stored is one record of stored data: a snapshot with the code that it belongs to. A record that the module has but
// that is empty has no code.
type Stored struct {
	CodeStatus
	Snapshot
}

// StoredData reads stored data by record number (19 05); record FF asks for all.
func (c *Client) StoredData(ctx context.Context, record byte, size Size) ([]Stored, error) {
	return ask(ctx, c, func(a []byte) ([]Stored, error) { return DecodeStored(a, size) },
		CodesRequest{Report: ReportStored, Record: record})
}

// DecodeStored reads 59 05: per record its number and, unless it is empty, code, status, number of identifiers, and for
// each the identifier and its data.
func DecodeStored(a []byte, size Size) ([]Stored, error) {
	if len(a) < 3 {
		return nil, &ShapeError{"stored data", a, "the record number is missing"}
	}
	var out []Stored
	for b := a[2:]; len(b) > 0; {
		if len(out) > 0 && allZero(b) {
			break // padding
		}
		x := Stored{Snapshot: Snapshot{Record: b[0]}}
		switch b = b[1:]; {
		case len(b) >= 5:
			x.Code, x.Status = dtc.From3(b[0], b[1], b[2]), dtc.Status(b[3])
			left := x.fill(int(b[4]), b[5:], size)
			x.Raw = b[5 : len(b)-len(left)]
			b = left
		case allZero(b):
			b = nil
		default:
			return nil, &ShapeError{"stored data", a, "a record has no code, status and number of identifiers"}
		}
		out = append(out, x)
	}
	return out, nil
}
