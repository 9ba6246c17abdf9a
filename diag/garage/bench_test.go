package garage

import (
	"path/filepath"
	"testing"

	"readback/diag/dtc"
	"readback/diag/link"
)

// manyCodes is a visit with 10 000 codes in 100 modules, each code with a snapshot.
func manyCodes(car int64) Visit {
	v := Visit{CarID: car, Kind: KindLook, Begun: begun, Ended: begun}
	for m := range 100 {
		a := link.Physical(link.ID29(0x18DA00F1|uint32(m)<<8), link.ID29(0x18DAF100|uint32(m)))
		module := Module{Address: a, Request: a.Request, Answer: a.Answer, Answered: Yes, CodesRead: Yes, Identification: map[string]string{"F187": "x"}}
		for c := range 100 {
			module.Codes = append(module.Codes, CodeRecord{
				Code: dtc.From3(byte(m), byte(c), 0x13), Raw: []byte{byte(m), byte(c), 0x13, 0x2F}, Status: ptr(dtc.Status(0x2F)),
				Snapshots: []Snapshot{{Record: 1, Raw: []byte{1, 1, 0xF4, 0x42, 0x31, 0x38}, Values: []Value{{Identifier: 0xF442, Text: "12.6 V", Raw: []byte{0x31, 0x38}}}}},
			})
		}
		v.Modules = append(v.Modules, module)
	}
	return v
}

func BenchmarkSave10000Codes(b *testing.B) {
	s := fresh(b)
	v := manyCodes(putCar(b, s, Car{Name: "Van"}).ID)
	for b.Loop() {
		putVisit(b, s, v)
	}
}

func BenchmarkRead10000Codes(b *testing.B) {
	s := fresh(b)
	v := putVisit(b, s, manyCodes(putCar(b, s, Car{Name: "Van"}).ID))
	for b.Loop() {
		if _, err := s.Visit(b.Context(), v.ID); err != nil {
			b.Fatal(err)
		}
	}
}

// Opening checks every page: here of a store with 100 000 codes.
func BenchmarkOpenLargeStore(b *testing.B) {
	path := filepath.Join(b.TempDir(), "readback.db")
	s := open(b, path)
	car := putCar(b, s, Car{Name: "Van"})
	for range 10 {
		putVisit(b, s, manyCodes(car.ID))
	}
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		s, err := Open(b.Context(), path)
		if err != nil {
			b.Fatal(err)
		}
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
	}
}

// One change is written down and synced before it is sent.
func BenchmarkBegin(b *testing.B) {
	s := fresh(b)
	car := putCar(b, s, Car{Name: "Van"})
	for b.Loop() {
		begin(b, s, clearing(car.ID, 0))
	}
}
