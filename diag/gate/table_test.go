package gate

import (
	"testing"

	"readback/diag/explain"
	"readback/diag/link"
)

// eachPayload walks every service byte with every second byte and every length up to 7, with several tails.
func eachPayload(do func(p []byte)) {
	tails := [][]byte{{0x11, 0x11, 0x11, 0x11, 0x11}, {0xFF, 0xFF, 0xFF, 0xFF, 0xFF}, {0x00, 0x20, 0x40, 0x60, 0x80},
		{0x90, 0xF1, 0x8C, 0xF4, 0x0C}, {0x01, 0x02, 0x03, 0x04, 0x05}, {0x20, 0x01, 0xF6, 0x00, 0x40}}
	for s := 0; s < 256; s++ {
		do([]byte{byte(s)})
		for b := 0; b < 256; b++ {
			do([]byte{byte(s), byte(b)})
			for _, t := range tails {
				for n := 1; n <= 6; n++ {
					do(append([]byte{byte(s), byte(b)}, append([]byte{}, append(t, 0)[:n]...)...))
				}
			}
		}
	}
}

// Two tables, written apart: what the gate lets pass is what the explanation calls a look, and what may get a permit
// is what the explanation calls a change.
func TestTheTwoTablesAgree(t *testing.T) {
	met := map[explain.Class]int{}
	for _, a := range []link.Address{link.Physical(link.ID11(0x7E5), link.ID11(0x7ED)), link.Functional11(),
		link.Physical(link.ID29(0x18DA10F1), link.ID29(0x18DAF110)), {Mode: link.Mixed, Request: link.ID11(0x7E0), Target: 1},
		link.AtHeader(0x10), link.AllAtHeader()} {
		bad := 0
		eachPayload(func(p []byte) {
			class, why := explain.ClassifyPayload(a, p)
			met[class]++
			if looks(a, p, Options{}) != (class == explain.Look) && bad < 20 {
				bad++
				t.Errorf("%s % X: the gate's look is %v, the explanation says %s (%s)", a, p, looks(a, p, Options{}), class, why)
			}
			if class == explain.Change && (!changes(p) || asksSilence(p)) && bad < 20 {
				bad++
				t.Errorf("%s % X: a change (%s) that the gate's own table does not have", a, p, why)
			}
		})
	}
	if met[explain.Look] < 100 || met[explain.Change] < 100 || met[explain.Never] < 1000 || met[explain.Workshop] < 10 {
		t.Errorf("the walk is too small: %v", met)
	}
}

func TestTheTwoTablesAgreeOnIdentifiers(t *testing.T) {
	frame := []byte{0x02, 0x3E, 0x00, 0, 0, 0, 0, 0}
	ids := make([]link.ID, 0, 6000)
	for v := uint32(0); v <= 0x7FF; v++ {
		ids = append(ids, link.ID11(v))
	}
	for b := uint32(0); b < 256; b++ {
		ids = append(ids, link.ID29(0x18DA00F1|b<<8), link.ID29(0x18DAF100|b), link.ID29(0x18DB00F1|b<<8), link.ID29(0x18DA1000|b),
			link.ID29(0x18DB3300|b), link.ID29(b<<3), link.ID29(0x18D900F1|b<<8))
	}
	for _, id := range ids {
		class, why := explain.Classify(id, frame, explain.Options{})
		if mayAsk(id, Options{}) != (class == explain.Look) {
			t.Errorf("%s: the gate says %v, the explanation %s (%s)", id, mayAsk(id, Options{}), class, why)
		}
	}
}

func TestOptionsWidenBothTables(t *testing.T) {
	o := Options{Identifiers: []uint16{0x1234}, Requests: []link.ID{link.ID29(0x1CDA10F1)}}
	x := explain.Options{Identifiers: o.Identifiers, Modules: []explain.Module{{Name: "A", Address: link.Address{Request: o.Requests[0]}}}}
	for _, p := range [][]byte{{0x22, 0x12, 0x34}, {0x21, 0x5A}, {0x22, 0x12, 0x35}, {0x21, 0x5B}} {
		class, _ := explain.Classify(o.Requests[0], append([]byte{byte(len(p))}, p...), x)
		if !mayAsk(o.Requests[0], o) || looks(link.Address{}, p, o) != (class == explain.Look) {
			t.Errorf("% X: gate %v, explanation %s", p, looks(link.Address{}, p, o), class)
		}
	}
	if mayAsk(o.Requests[0], Options{}) {
		t.Error("an identifier of no standard may not be asked without the car's profile")
	}
}

// What a visit asks on a line of ISO 14230 passes as a look: codes, what was kept with them, identification, and the way
// back to the standard session. What begins or ends a conversation, opens another session, erases, unlocks, writes or
// operates does not; nor does testerPresent in its older form, as the adapter keeps the line open by itself. Services:
// ISO 14230-2 and -3, from memory; the classes are this program's own.
func TestLooksOnALine(t *testing.T) {
	for _, c := range []struct {
		request []byte
		look    bool
	}{
		{[]byte{0x18, 0x02, 0xFF, 0x00}, true}, {[]byte{0x18, 0x00, 0xFF, 0x00}, true}, {[]byte{0x13, 0xFF, 0x00}, true},
		{[]byte{0x17, 0x01, 0x90}, true}, {[]byte{0x12, 0xFF, 0x02, 0x01, 0x90}, true}, {[]byte{0x1A, 0x90}, true},
		{[]byte{0x10, 0x81}, true}, {[]byte{0x20}, true},
		{[]byte{0x81}, false}, {[]byte{0x82}, false}, {[]byte{0x3E, 0x01}, false},
		{[]byte{0x10, 0x82}, false}, {[]byte{0x10, 0x85}, false}, {[]byte{0x10, 0x92}, false}, {[]byte{0x11, 0x01}, false},
		{[]byte{0x14, 0xFF, 0x00}, false}, {[]byte{0x04}, false}, {[]byte{0x21, 0x01}, false}, {[]byte{0x27, 0x01}, false},
		{[]byte{0x30, 0x01, 0x07}, false}, {[]byte{0x31, 0x01}, false}, {[]byte{0x3B, 0x90, 0x00}, false}, {[]byte{0x83, 0x03}, false},
	} {
		if a := link.AtHeader(0x10); looks(a, c.request, Options{}) != c.look || !mayAsk(a.Request, Options{}) {
			t.Errorf("% X: a look: %v, want %v", c.request, !c.look, c.look)
		}
	}
}

func TestToAll(t *testing.T) {
	for a, want := range map[link.Address]bool{
		link.Functional11():                                      true,
		link.Functional29():                                      true,
		{Request: link.ID11(0x7DF)}:                              true,
		{Request: link.ID29(0x18DBFEF1)}:                         true,
		{Request: link.ID11(0x740), Functional: true}:            true,
		link.Physical(link.ID11(0x7E0), link.ID11(0x7E8)):        false,
		{Mode: link.NormalFixed, Request: link.ID29(0x18DA10F1)}: false,
		{Request: link.ID29(0x18DB33F2)}:                         false,
		{Request: link.ID29(0x7DF)}:                              false,
	} {
		if toAll(a) != want {
			t.Errorf("%s: %v", a, !want)
		}
	}
}
