package uds_test

import (
	"math"
	"testing"

	"readback/diag/dtc"
	"readback/diag/uds"
)

func seed(f *testing.F, answers ...string) {
	for _, a := range answers {
		f.Add(unhex(f, a))
	}
}

// No decoder of a list finds more codes than the bytes can hold.
func FuzzDecode(f *testing.F) {
	seed(f, "5902FF0143000801960024C1230009", "594233FFFE042001430008", "50", "59030A9B1701", "5917157F0A9B172F", "591A7F020A9B172F", "5909FF40100A9B172F")
	f.Fuzz(func(t *testing.T, b []byte) {
		within := func(codes, size int, err error) {
			if err == nil && size*codes > len(b) {
				t.Fatalf("%d codes out of %d bytes", codes, len(b))
			}
		}
		for _, decode := range []func([]byte) (uds.CodeList, error){uds.DecodeCodes, uds.DecodeMemoryCodes, uds.DecodeSupporting} {
			l, err := decode(b)
			within(len(l.Records), 4, err)
		}
		counters, err := uds.DecodeCounters(b)
		within(len(counters), 4, err)
		records, err := uds.DecodeSnapshotRecords(b)
		within(len(records), 4, err)
		_, rated, err := uds.DecodeSeverity(b)
		within(len(rated), 6, err)
		g, err := uds.DecodeGroup(b)
		within(len(g.Records), 4, err)
		_, _ = uds.DecodeSession(b)
		_, _ = uds.DecodeCount(b)
		for _, id := range []uint16{0xF181, 0xF183, 0xF186, 0xF18B, 0xF190} {
			_ = uds.PlateText(id, b)
		}
	})
}

// No byte of what was kept with a code is lost or told twice, whatever the lengths.
func FuzzRecords(f *testing.F) {
	seed(f, "59040A9B172F0102DD0000A0F6DD016D", "5905010A9B172F01DD016D", "59060A9B172F010E", "5916010A9B172F0E", "62DD0000A0F6DD016D")
	f.Fuzz(func(t *testing.T, b []byte) {
		is := func(what string, got, want int) {
			if got != want {
				t.Fatalf("%s: %d bytes of %d", what, got, want)
			}
		}
		for head, decode := range map[int]func([]byte, uds.Size) ([]uds.Snapshot, error){6: uds.DecodeSnapshots, 7: uds.DecodeMemorySnapshots} {
			if snaps, err := decode(b, sizes); err == nil {
				n := head
				for _, s := range snaps {
					n += 2 + len(s.Raw)
				}
				is("snapshots", n+zeros(b[n:]), len(b))
			}
		}
		for head, decode := range map[int]func([]byte, uds.RecordSize) ([]uds.ExtendedRecord, error){6: uds.DecodeExtended, 7: uds.DecodeMemoryExtended} {
			if records, err := decode(b, lengths); err == nil {
				n := head
				for _, r := range records {
					n += 1 + len(r.Data)
				}
				is("extended data", n+zeros(b[n:]), len(b))
			}
		}
		if stored, err := uds.DecodeStored(b, sizes); err == nil {
			n := 2
			for _, x := range stored {
				if n++; !x.Code.IsZero() {
					n += 5 + len(x.Raw)
				}
			}
			is("stored data", n+zeros(b[n:]), len(b))
		}
		if list, err := uds.DecodeExtendedByNumber(b, lengths); err == nil {
			n := 3
			for _, x := range list {
				n += 4 + len(x.Data)
			}
			is("extended data by number", n+zeros(b[n:]), len(b))
		}
		if values, err := uds.DecodeData(b, sizes); err == nil {
			n := 1
			for _, v := range values {
				n += 2 + len(v.Data)
			}
			is("values", n, len(b))
		}
	})
}

// zeros is the length of b where it is padding alone.
func zeros(b []byte) int {
	for _, x := range b {
		if x != 0 {
			return 0
		}
	}
	return len(b)
}

// Scaling bytes and their extensions cover the answer; a number is a number.
func FuzzScaling(f *testing.F) {
	for _, c := range scalings {
		f.Add(unhex(f, c.answer), []byte{0x64})
	}
	f.Fuzz(func(t *testing.T, b, value []byte) {
		list, err := uds.DecodeScaling(b)
		if err != nil {
			return
		}
		n := 3
		for _, s := range list {
			n += 1 + len(s.Extension)
			_, _, _ = s.Formula()
			_, _, _ = s.Unit()
			_, _ = s.Connection()
		}
		if n != len(b) {
			t.Fatalf("%d bytes of %d", n, len(b))
		}
		if y, _, ok := uds.Number(list, value); ok && (math.IsNaN(y) || math.IsInf(y, 0)) {
			t.Fatalf("%v", y)
		}
	})
}

// A request is as long as its parameters, and only a report type that the standard has makes one.
func FuzzCodesRequest(f *testing.F) {
	f.Add(byte(0x02), byte(0xFF), uint32(0x0A9B17))
	f.Fuzz(func(t *testing.T, report, x byte, code uint32) {
		q := uds.CodesRequest{Report: uds.Report(report), Status: dtc.Status(x), Severity: x, Record: x, Memory: x, Group: x, Readiness: x,
			Code: dtc.From3(byte(code>>16), byte(code>>8), byte(code))}
		b, err := q.Bytes()
		if known := uds.Report(report).Name() != ""; known != (err == nil) || known && (len(b) < 2 || len(b) > 7 || b[1] != report) {
			t.Fatalf("%02X: %X, %v", report, b, err)
		}
	})
}
