package uds_test

import (
	"errors"
	"fmt"
	"testing"

	"readback/diag/dtc"
	"readback/diag/uds"
)

// Stored data by record number (59 05, layout of py-uds): the code comes after the record number, an empty record has
// none, and what follows an unknown length stays raw.
func TestStored(t *testing.T) {
	for _, c := range []struct{ name, body, want string }{
		{"one", "010A9B172F02DD0000A0F6DD016D", "[{1 P0A9B-17 2F dd0000a0f6dd016d [{56576 00a0f6} {56577 6d}]}]"},
		{"two", "010A9B172F01DD016D020A08132401DD017F", "[{1 P0A9B-17 2F dd016d [{56577 6d}]} {2 P0A08-13 24 dd017f [{56577 7f}]}]"},
		{"an unknown value", "010A9B172F01DD0711020A08132401DD017F", "[{1 P0A9B-17 2F dd0711020a08132401dd017f []}]"},
		{"an empty record", "05", "[{5  00  []}]"},
		{"an empty record and padding", "05000000", "[{5  00  []}]"},
		{"padding", "010A9B172F01DD016D000000", "[{1 P0A9B-17 2F dd016d [{56577 6d}]}]"},
	} {
		list, err := uds.DecodeStored(unhex(t, "5905"+c.body), sizes)
		out := []string{}
		for _, x := range list {
			code := ""
			if !x.Code.IsZero() {
				code = x.Code.String()
			}
			values := []string{}
			for _, d := range x.Data {
				values = append(values, fmt.Sprintf("{%d %x}", d.Identifier, d.Data))
			}
			out = append(out, fmt.Sprintf("{%d %s %02X %x %v}", x.Record, code, byte(x.Status), x.Raw, values))
		}
		if got := fmt.Sprint(out); err != nil || got != c.want {
			t.Errorf("%s: %s, %v, want %s", c.name, got, err, c.want)
		}
	}
}

// Extended data by record number (59 16, layout of py-uds): a known length separates the codes.
func TestExtendedByNumber(t *testing.T) {
	if got, err := uds.DecodeExtendedByNumber(unhex(t, "5916010A9B172F"), lengths); err != nil || len(got) != 1 || len(got[0].Data) != 0 {
		t.Errorf("a code without data: %v, %v", got, err)
	}
	a := unhex(t, "5916010A9B172F0E0A08132401")
	list, err := uds.DecodeExtendedByNumber(a, lengths)
	if err != nil || fmt.Sprint(list) != "[{{P0A9B-17 47} [14]} {{P0A08-13 36} [1]}]" {
		t.Errorf("%v, %v", list, err)
	}
	a[2] = 9
	list, err = uds.DecodeExtendedByNumber(a, lengths)
	if err != nil || fmt.Sprint(list) != "[{{P0A9B-17 47} [14 10 8 19 36 1]}]" {
		t.Errorf("unknown length: %v, %v", list, err)
	}
	list, err = uds.DecodeExtendedByNumber([]byte{0x59, 0x16, 1}, lengths)
	if err != nil || list == nil || len(list) != 0 {
		t.Errorf("no code has it: %v, %v", list, err)
	}
}

// Lists and records of the report types that begin with more than a mask (layouts of py-uds).
func TestHeads(t *testing.T) {
	l, err := uds.DecodeMemoryCodes(unhex(t, "5917157F0A9B172F"))
	if err != nil || l.Availability != 0x7F || fmt.Sprint(listed(l.Records)) != "[[P0A9B-17 2F]]" {
		t.Errorf("59 17: %+v, %v", l, err)
	}
	l, err = uds.DecodeSupporting(unhex(t, "591A7F020A9B172F"))
	if err != nil || l.Availability != 0x7F || fmt.Sprint(listed(l.Records)) != "[[P0A9B-17 2F]]" {
		t.Errorf("59 1A: %+v, %v", l, err)
	}
	snaps, err := uds.DecodeMemorySnapshots(unhex(t, "5918150A9B172F0101DD016D"), sizes)
	if err != nil || show(snaps) != "[{1 dd016d [{56577 6d}]}]" {
		t.Errorf("59 18: %s, %v", show(snaps), err)
	}
	ext, err := uds.DecodeMemoryExtended(unhex(t, "5919150A9B172F010E"), lengths)
	if err != nil || fmt.Sprint(ext) != "[{1 [14]}]" {
		t.Errorf("59 19: %v, %v", ext, err)
	}
	records, err := uds.DecodeSnapshotRecords(unhex(t, "59030A9B17010A9B1702000000"))
	if want := []uds.CodeRecord{{Code: dtc.From3(0x0A, 0x9B, 0x17), Record: 1}, {Code: dtc.From3(0x0A, 0x9B, 0x17), Record: 2}}; err != nil || fmt.Sprint(records) != fmt.Sprint(want) {
		t.Errorf("59 03: %v, %v", records, err)
	}
}

// An answer that ends too soon is told as such by every decoder, and its bytes are kept.
func TestShapes(t *testing.T) {
	for name, c := range map[string]struct {
		decode func(a []byte) error
		whole  string
		bad    []int // lengths at which it is no answer
	}{
		"59 03": {func(a []byte) error { _, err := uds.DecodeSnapshotRecords(a); return err }, "59030A9B1701", []int{0, 1, 3, 4, 5}},
		"59 05": {func(a []byte) error { _, err := uds.DecodeStored(a, sizes); return err }, "5905010A9B172F00", []int{0, 1, 2, 4, 5, 6, 7}},
		"59 16": {func(a []byte) error { _, err := uds.DecodeExtendedByNumber(a, lengths); return err }, "5916010A9B172F0E", []int{0, 1, 2, 4, 5, 6}},
		"59 17": {func(a []byte) error { _, err := uds.DecodeMemoryCodes(a); return err }, "5917157F0A9B172F", []int{0, 1, 2, 3, 5, 6, 7}},
		"59 18": {func(a []byte) error { _, err := uds.DecodeMemorySnapshots(a, sizes); return err }, "5918150A9B172F0100", []int{0, 1, 2, 3, 4, 5, 6, 8}},
		"59 19": {func(a []byte) error { _, err := uds.DecodeMemoryExtended(a, lengths); return err }, "5919150A9B172F010E", []int{0, 1, 2, 3, 4, 5, 6}},
		"59 1A": {func(a []byte) error { _, err := uds.DecodeSupporting(a); return err }, "591A7F020A9B172F", []int{0, 1, 2, 3, 5, 6, 7}},
	} {
		whole := unhex(t, c.whole)
		if err := c.decode(whole); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for _, n := range c.bad {
			var shape *uds.ShapeError
			if err := c.decode(whole[:n]); !errors.As(err, &shape) || len(shape.Bytes) != n {
				t.Errorf("%s of %d bytes: %v", name, n, err)
			}
		}
	}
}

// Requests that this package makes and others send.
func TestChanges(t *testing.T) {
	for want, got := range map[string][]byte{
		"140A9B17":   uds.ClearRequest(uds.GroupOf(dtc.From3(0x0A, 0x9B, 0x17))),
		"140A9B00":   uds.ClearRequest(uds.GroupOf(dtc.From2(0x0A, 0x9B))),
		"14FFFF3315": uds.ClearMemoryRequest(uds.GroupEmissions, 0x15),
		"280003":     uds.SpeakAgainRequest(uds.MessagesNormal | uds.MessagesManagement),
		"8501":       uds.StoreAgainRequest(),
		"8501FFFFFF": uds.StoreAgainRequest(0xFF, 0xFF, 0xFF),
	} {
		if fmt.Sprintf("%X", got) != want {
			t.Errorf("%X, want %s", got, want)
		}
	}
}
