package uds

import (
	"context"

	"readback/diag/dtc"
)

// ExtendedRecord is one extended data record of a code.
type ExtendedRecord struct {
	Record byte
	Data   []byte
}

// ExtendedData reads a code's extended data (19 06, clause 12.3); record FF asks for all, FE for all regulated ones. A
// record of unknown length takes all the rest.
func (c *Client) ExtendedData(ctx context.Context, code dtc.Code, record byte, size RecordSize) ([]ExtendedRecord, error) {
	return c.extended(ctx, CodesRequest{Report: ReportExtended, Code: code, Record: record}, 6, size)
}

// MirrorExtended reads a code's extended data out of the mirror memory (19 10, edition of 2013).
func (c *Client) MirrorExtended(ctx context.Context, code dtc.Code, record byte, size RecordSize) ([]ExtendedRecord, error) {
	return c.extended(ctx, CodesRequest{Report: ReportMirrorExtended, Code: code, Record: record}, 6, size)
}

// MemoryExtended reads a code's extended data out of a memory of the maker's own (19 19).
func (c *Client) MemoryExtended(ctx context.Context, code dtc.Code, record, memory byte, size RecordSize) ([]ExtendedRecord, error) {
	return c.extended(ctx, CodesRequest{Report: ReportMemoryExtended, Code: code, Record: record, Memory: memory}, 7, size)
}

func (c *Client) extended(ctx context.Context, q CodesRequest, head int, size RecordSize) ([]ExtendedRecord, error) {
	return ask(ctx, c, func(a []byte) ([]ExtendedRecord, error) { return extended(a, head, size) }, q)
}

// DecodeExtended reads 59 06 and 59 10: code, status, then each record's number and data.
func DecodeExtended(a []byte, size RecordSize) ([]ExtendedRecord, error) { return extended(a, 6, size) }

// DecodeMemoryExtended reads 59 19: which memory, then as 59 06.
func DecodeMemoryExtended(a []byte, size RecordSize) ([]ExtendedRecord, error) {
	return extended(a, 7, size)
}

func extended(a []byte, head int, size RecordSize) ([]ExtendedRecord, error) {
	if len(a) < head {
		return nil, &ShapeError{"extended data", a, "the code and its status are missing"}
	}
	var out []ExtendedRecord
	for b := a[head:]; len(b) > 0; {
		if len(out) > 0 && allZero(b) {
			break // padding: no record has the number 00
		}
		n, known := size(b[0])
		if !known || n < 0 || n > len(b)-1 {
			n = len(b) - 1
		}
		out = append(out, ExtendedRecord{Record: b[0], Data: b[1 : 1+n]})
		b = b[1+n:]
	}
	return out, nil
}

// CodeExtended is the data that one code has in a record.
type CodeExtended struct {
	CodeStatus
	Data []byte
}

// ExtendedByNumber reads one extended data record of all codes that have it (19 16). Without its length all the rest
// stays with the first code.
func (c *Client) ExtendedByNumber(ctx context.Context, record byte, size RecordSize) ([]CodeExtended, error) {
	return ask(ctx, c, func(a []byte) ([]CodeExtended, error) { return DecodeExtendedByNumber(a, size) },
		CodesRequest{Report: ReportExtendedByNumber, Record: record})
}

// DecodeExtendedByNumber reads 59 16: record number, then code, status and data each.
func DecodeExtendedByNumber(a []byte, size RecordSize) ([]CodeExtended, error) {
	const op = "extended data by record number"
	if len(a) < 3 {
		return nil, &ShapeError{op, a, "the record number is missing"}
	}
	length, known := size(a[2])
	out := []CodeExtended{}
	for b := a[3:]; !allZero(b); {
		if len(b) < 4 {
			return nil, &ShapeError{op, a, "the last code has no status"}
		}
		x := CodeExtended{CodeStatus: CodeStatus{dtc.From3(b[0], b[1], b[2]), dtc.Status(b[3])}}
		b = b[4:]
		n := length
		if !known || n < 0 || n > len(b) {
			n = len(b)
		}
		x.Data = b[:n]
		out, b = append(out, x), b[n:]
	}
	return out, nil
}
