package uds

import (
	"context"
	"fmt"

	"readback/diag/dtc"
)

// Formats of codes (DTCFormatIdentifier, ISO 14229-1:2020 table 330).
const (
	FormatJ2012   byte = 0x00 // SAE J2012-DA format 00 (ISO 15031-6)
	Format14229   byte = 0x01 // ISO 14229-1: the maker's own; the letters may not apply
	FormatJ1939   byte = 0x02 // SAE J1939-73
	Format11992   byte = 0x03 // ISO 11992-4
	FormatJ2012v4 byte = 0x04 // SAE J2012-DA format 04 (WWH-OBD)
)

var formats = [...]string{"SAE J2012-DA format 00", "ISO 14229-1 format", "SAE J1939-73 format", "ISO 11992-4 format", "SAE J2012-DA format 04"}

// FormatName is the name of a code format; ok is false for one that the standard does not name.
func FormatName(f byte) (name string, ok bool) {
	if int(f) < len(formats) {
		return formats[f], true
	}
	return fmt.Sprintf("format %02X", f), false
}

// Count is how many codes match what was asked.
type Count struct {
	Availability dtc.Status // the status bits that the module reports
	Format       byte       // see FormatName
	Count        int
}

// CountCodes asks how many codes match a status mask (19 01, clause 12.3).
func (c *Client) CountCodes(ctx context.Context, mask dtc.Status) (Count, error) {
	return ask(ctx, c, DecodeCount, CodesRequest{Report: ReportNumber, Status: mask})
}

// CountBySeverity asks how many codes match a severity mask and a status mask (19 07).
func (c *Client) CountBySeverity(ctx context.Context, severity byte, mask dtc.Status) (Count, error) {
	return ask(ctx, c, DecodeCount, CodesRequest{Report: ReportNumberBySeverity, Severity: severity, Status: mask})
}

// CountMirror asks how many codes of the mirror memory match a status mask (19 11, edition of 2013).
func (c *Client) CountMirror(ctx context.Context, mask dtc.Status) (Count, error) {
	return ask(ctx, c, DecodeCount, CodesRequest{Report: ReportMirrorNumber, Status: mask})
}

// CountEmissions asks how many emission-related codes match a status mask (19 12, edition of 2013).
func (c *Client) CountEmissions(ctx context.Context, mask dtc.Status) (Count, error) {
	return ask(ctx, c, DecodeCount, CodesRequest{Report: ReportEmissionsNumber, Status: mask})
}

// ask asks a question of service 19 and decodes the answer.
func ask[T any](ctx context.Context, c *Client, decode func([]byte) (T, error), q CodesRequest) (none T, err error) {
	request, err := q.Bytes()
	if err != nil {
		return none, err
	}
	a, err := c.read(ctx, request...)
	if err != nil {
		return none, err
	}
	return decode(a)
}

// DecodeCount reads 59 01, 59 07, 59 11 and 59 12: availability mask, format, count.
func DecodeCount(a []byte) (Count, error) {
	if len(a) < 6 {
		return Count{}, &ShapeError{"number of codes", a, "mask, format and number need four bytes"}
	}
	return Count{Availability: dtc.Status(a[2]), Format: a[3], Count: int(word(a[4:]))}, nil
}

// CodeStatus is one code with its status byte.
type CodeStatus struct {
	Code   dtc.Code
	Status dtc.Status
}

// CodeList is a list of codes. Records is never nil: a list without codes is an answer.
type CodeList struct {
	Availability dtc.Status // the status bits that the module reports
	Records      []CodeStatus
}

// CodesByStatus lists the codes of which at least one status bit is in mask (19 02).
func (c *Client) CodesByStatus(ctx context.Context, mask dtc.Status) (CodeList, error) {
	return ask(ctx, c, DecodeCodes, CodesRequest{Report: ReportByStatus, Status: mask})
}

// Supported lists every code that the module can store, with its status (19 0A).
func (c *Client) Supported(ctx context.Context) (CodeList, error) {
	return ask(ctx, c, DecodeCodes, CodesRequest{Report: ReportSupported})
}

// FirstFailed is the code that failed first since the last clear (19 0B), or an empty list.
func (c *Client) FirstFailed(ctx context.Context) (CodeList, error) {
	return ask(ctx, c, DecodeCodes, CodesRequest{Report: ReportFirstFailed})
}

// FirstConfirmed is the code that was confirmed first since the last clear (19 0C), or an empty list.
func (c *Client) FirstConfirmed(ctx context.Context) (CodeList, error) {
	return ask(ctx, c, DecodeCodes, CodesRequest{Report: ReportFirstConfirmed})
}

// LastFailed is the code that failed last (19 0D), or an empty list.
func (c *Client) LastFailed(ctx context.Context) (CodeList, error) {
	return ask(ctx, c, DecodeCodes, CodesRequest{Report: ReportLastFailed})
}

// LastConfirmed is the code that was confirmed last (19 0E), or an empty list.
func (c *Client) LastConfirmed(ctx context.Context) (CodeList, error) {
	return ask(ctx, c, DecodeCodes, CodesRequest{Report: ReportLastConfirmed})
}

// Mirror lists the codes of the mirror memory that match a status mask (19 0F, edition of 2013). A clear does not reach
// that memory.
func (c *Client) Mirror(ctx context.Context, mask dtc.Status) (CodeList, error) {
	return ask(ctx, c, DecodeCodes, CodesRequest{Report: ReportMirror, Status: mask})
}

// Emissions lists the emission-related codes that match a status mask (19 13, edition of 2013).
func (c *Client) Emissions(ctx context.Context, mask dtc.Status) (CodeList, error) {
	return ask(ctx, c, DecodeCodes, CodesRequest{Report: ReportEmissions, Status: mask})
}

// Permanent lists the codes that only the module itself erases (19 15).
func (c *Client) Permanent(ctx context.Context) (CodeList, error) {
	return ask(ctx, c, DecodeCodes, CodesRequest{Report: ReportPermanent})
}

// MemoryCodes lists the codes in a memory of the maker's own that match a status mask (19 17).
func (c *Client) MemoryCodes(ctx context.Context, mask dtc.Status, memory byte) (CodeList, error) {
	return ask(ctx, c, DecodeMemoryCodes, CodesRequest{Report: ReportMemory, Status: mask, Memory: memory})
}

// Supporting lists the codes that can have a certain extended data record (19 1A).
func (c *Client) Supporting(ctx context.Context, record byte) (CodeList, error) {
	return ask(ctx, c, DecodeSupporting, CodesRequest{Report: ReportSupportingExtended, Record: record})
}

// DecodeCodes reads 59 02, 59 0A-0F, 59 13 and 59 15: availability mask, then three code bytes and a status each. Zeros
// after the last record are padding.
func DecodeCodes(a []byte) (CodeList, error) {
	if len(a) < 3 {
		return CodeList{}, &ShapeError{"list of codes", a, "the availability mask is missing"}
	}
	records, err := records(a, a[3:])
	return CodeList{Availability: dtc.Status(a[2]), Records: records}, err
}

// DecodeMemoryCodes reads 59 17: which memory, availability mask, then code and status each.
func DecodeMemoryCodes(a []byte) (CodeList, error) {
	if len(a) < 4 {
		return CodeList{}, &ShapeError{"codes of a memory", a, "the memory or the availability mask is missing"}
	}
	records, err := records(a, a[4:])
	return CodeList{Availability: dtc.Status(a[3]), Records: records}, err
}

// DecodeSupporting reads 59 1A: availability mask, record number, then code and status each.
func DecodeSupporting(a []byte) (CodeList, error) {
	if len(a) < 4 {
		return CodeList{}, &ShapeError{"codes with an extended data record", a, "the availability mask or the record number is missing"}
	}
	records, err := records(a, a[4:])
	return CodeList{Availability: dtc.Status(a[2]), Records: records}, err
}

// records reads code and status, four bytes each, up to the padding.
func records(a, b []byte) ([]CodeStatus, error) {
	out := []CodeStatus{}
	for ; !allZero(b); b = b[4:] {
		if len(b) < 4 {
			return nil, &ShapeError{"list of codes", a, fmt.Sprintf("%d bytes are left over after the last record", len(b))}
		}
		out = append(out, CodeStatus{Code: dtc.From3(b[0], b[1], b[2]), Status: dtc.Status(b[3])})
	}
	return out, nil
}

func allZero(b []byte) bool {
	for _, x := range b {
		if x != 0 {
			return false
		}
	}
	return true
}

// Counter is a code with its fault detection counter: -128 to 127, positive while a test is failing.
type Counter struct {
	Code  dtc.Code
	Value int8
}

// Counters lists the codes whose tests are failing but not yet counted as failed (19 14).
func (c *Client) Counters(ctx context.Context) ([]Counter, error) {
	return ask(ctx, c, DecodeCounters, CodesRequest{Report: ReportCounters})
}

// DecodeCounters reads 59 14: three code bytes and a signed counter each.
func DecodeCounters(a []byte) ([]Counter, error) {
	return each("fault detection counters", a, func(code dtc.Code, b byte) Counter { return Counter{code, int8(b)} })
}

// each reads a list of codes with one byte each that is no status.
func each[T any](op string, a []byte, of func(code dtc.Code, b byte) T) ([]T, error) {
	if len(a) < 2 {
		return nil, &ShapeError{op, a, "the report type is missing"}
	}
	list, err := records(a, a[2:])
	if err != nil {
		return nil, err
	}
	out := make([]T, len(list))
	for i, r := range list {
		out[i] = of(r.Code, byte(r.Status))
	}
	return out, nil
}
