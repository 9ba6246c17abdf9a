package garage

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"readback/diag/dtc"
	"readback/diag/link"
)

func TestVisits(t *testing.T) {
	s := fresh(t)
	car := putCar(t, s, Car{Name: "Van"})
	other := putCar(t, s, Car{Name: "Other"})
	first := putVisit(t, s, fullVisit(car.ID))
	putVisit(t, s, fullVisit(other.ID))
	second := putVisit(t, s, Visit{CarID: car.ID, Kind: KindLook, Begun: begun, Ended: begun})
	got, err := s.Visits(t.Context(), car.ID)
	if err != nil {
		t.Fatal(err)
	}
	want := []Summary{
		{ID: second.ID, CarID: car.ID, Kind: KindLook, Begun: second.Begun, Ended: second.Ended},
		// Codes: 2F and 28 are faults, 50 is "no result yet", the two OBD codes have no status. Now: 2F alone.
		{ID: first.ID, CarID: car.ID, Kind: KindBefore, Begun: first.Begun, Ended: first.Ended, Complete: true, Supply: 12.62, Modules: 2, Silent: 1, Codes: 4, Now: 1},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

// Status values and what they say: example values of ISO 14229-1 annex D.2 bits, as they are commonly read.
func TestJudge(t *testing.T) {
	for _, c := range []struct {
		status, mask dtc.Status
		present, now bool
	}{
		{0x09, 0xFF, true, true},   // there now and stored
		{0x08, 0xFF, true, false},  // stored
		{0x24, 0xFF, true, false},  // pending
		{0x28, 0xFF, true, false},  // stored, failed since the last clear, passing
		{0x68, 0xFF, true, false},  // the same, not tested yet this trip
		{0x50, 0xFF, false, false}, // no result yet
		{0x40, 0xFF, false, false}, // no result yet this trip
		{0x80, 0xFF, false, false}, // a lamp alone
		{0x00, 0xFF, false, false},
		{0x01, 0xFE, false, false}, // "now" is not a bit that this module reports
		{0x09, 0xFE, true, false},
	} {
		if present, now := judge(&c.status, &c.mask); present != c.present || now != c.now {
			t.Errorf("status %02X with mask %02X: present %v, now %v", byte(c.status), byte(c.mask), present, now)
		}
	}
	if present, now := judge(nil, nil); !present || now {
		t.Error("an OBD code is a fault, and nobody knows whether it is there now")
	}
}

func TestCodeHistory(t *testing.T) {
	s := fresh(t)
	car := putCar(t, s, Car{Name: "Van"})
	a := link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
	lockCode, untested := dtc.From3(0x0A, 0x08, 0x13), dtc.From3(0x0A, 0x09, 0x00)
	visit := func(name string, read Answered, status ...dtc.Status) {
		m := Module{Name: name, Address: a, Answered: Yes, CodesRead: read}
		for _, st := range status {
			m.Codes = append(m.Codes, CodeRecord{Code: lockCode, Status: ptr(st)}, CodeRecord{Code: untested, Status: ptr(dtc.Status(0x50))})
		}
		putVisit(t, s, Visit{CarID: car.ID, Kind: KindLook, Begun: begun, Modules: []Module{m}})
	}
	visit("", Yes, 0x2F)
	visit("Charging", Yes, 0x50)
	visit("Charging", Silent)
	visit("Charging", Yes)
	putVisit(t, s, Visit{CarID: car.ID, Kind: KindLook, Begun: begun})
	visit("Charge flap", Yes, 0x28)

	h, err := s.CodeHistory(t.Context(), car.ID)
	if err != nil {
		t.Fatal(err)
	}
	if len(h.Visits) != 6 || h.Visits[0].ID > h.Visits[5].ID {
		t.Fatalf("visits %+v", h.Visits)
	}
	want := []CodeLine{{Module: "Charge flap", Address: a, Code: lockCode, Marks: []Mark{
		{Read: Yes, Listed: true, Present: true, Now: true, Status: ptr(dtc.Status(0x2F))},
		{Read: Yes, Listed: true, Status: ptr(dtc.Status(0x50))},
		{Read: Silent},
		{Read: Yes},
		{Read: NotAsked},
		{Read: Yes, Listed: true, Present: true, Status: ptr(dtc.Status(0x28))},
	}}}
	if d := cmp.Diff(want, h.Codes, cmpopts.EquateEmpty(), cmp.Comparer(func(a, b dtc.Code) bool { return a == b })); d != "" {
		t.Error(d)
	}
}

func TestModules(t *testing.T) {
	s := fresh(t)
	car := putCar(t, s, Car{Name: "Van"})
	module := func(request, answer uint32, name string, answered Answered) Module {
		a := link.Physical(link.ID11(request), link.ID11(answer))
		return Module{Name: name, Address: a, Request: a.Request, Answer: a.Answer, Answered: answered, CodesRead: NotAsked,
			Identification: map[string]string{"F187": name}}
	}
	putVisit(t, s, Visit{CarID: car.ID, Modules: []Module{
		module(0x7E0, 0x7E8, "Engine old", Yes), module(0x7E5, 0x7ED, "Charging", Yes), module(0x7E7, 0x7EF, "Never there", Silent),
	}})
	putVisit(t, s, Visit{CarID: car.ID, Modules: []Module{
		module(0x7E5, 0x7ED, "", Silent), module(0x740, 0x748, "Body", Yes), module(0x7E0, 0x7E8, "Engine", Yes),
	}})
	names := func() (list []string) {
		t.Helper()
		modules, err := s.Modules(t.Context(), car.ID)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range modules {
			list = append(list, m.Name)
			if m.Answered != Yes || len(m.Identification) != 1 || m.Request != m.Address.Request {
				t.Errorf("module %+v", m)
			}
		}
		return list
	}
	if d := cmp.Diff([]string{"Body", "Engine", "Charging"}, names()); d != "" {
		t.Error(d)
	}

	a := link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
	for _, name := range []string{"Flap", " Charge flap "} {
		if err := s.NameModule(t.Context(), car.ID, a, name); err != nil {
			t.Fatal(err)
		}
	}
	if d := cmp.Diff([]string{"Body", "Engine", "Charge flap"}, names()); d != "" {
		t.Error(d)
	}
	if m, err := s.Modules(t.Context(), car.ID); err != nil || m[2].NameSource != "by you" {
		t.Errorf("source of the owner's name: %q, %v", m[2].NameSource, err)
	}
	if err := s.NameModule(t.Context(), car.ID, a, ""); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{"Body", "Engine", "Charging"}, names()); d != "" {
		t.Error(d)
	}
}

// A module of which nothing but damaged answers came is known all the same, so that the next look asks it; what a sound
// answer told before goes before it.
func TestDamagedModulesAreKnown(t *testing.T) {
	s := fresh(t)
	car := putCar(t, s, Car{Name: "Van"})
	module := func(request uint32, name string, answered Answered) Module {
		a := link.Physical(link.ID11(request), link.ID11(request+8))
		return Module{Name: name, Address: a, Request: a.Request, Answer: a.Answer, Answered: answered, CodesRead: NotAsked}
	}
	putVisit(t, s, Visit{CarID: car.ID, Modules: []Module{module(0x7E0, "Engine", Yes), module(0x7E4, "Battery", Yes)}})
	putVisit(t, s, Visit{CarID: car.ID, Modules: []Module{module(0x7E5, "Module 7E5", Damaged), module(0x7E0, "Module 7E0", Damaged), module(0x7E4, "Battery", Yes)}})
	known, err := s.Modules(t.Context(), car.ID)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, m := range known {
		got = append(got, m.Name+": "+m.Answered.Words())
	}
	if d := cmp.Diff([]string{"Battery: yes", "Engine: yes", "Module 7E5: answered, damaged"}, got); d != "" {
		t.Error(d)
	}
}
