package link_test

import (
	"encoding/json"
	"strings"
	"testing"

	"go.einride.tech/can"

	"readback/diag/link"
)

// TestDefaultPairs is the table of ISO 15765-4: 7E0-7E7 with 7E8-7EF, 18DAxxF1 with 18DAF1xx. The pair 7E0/7E8 is also
// in the ELM327 data sheet.
func TestDefaultPairs(t *testing.T) {
	for i := range uint32(8) {
		pairs(t, link.ID11(0x7E0+i), link.ID11(0x7E8+i))
	}
	for i := range uint32(0x100) {
		pairs(t, link.ID29(0x18DA00F1|i<<8), link.ID29(0x18DAF100|i))
	}
}

func pairs(t *testing.T, request, answer link.ID) {
	t.Helper()
	if got, ok := link.DefaultAnswer(request); !ok || got != answer {
		t.Errorf("%s is answered on %s, %v; want %s", request, got, ok, answer)
	}
	if got, ok := link.DefaultRequest(answer); !ok || got != request {
		t.Errorf("%s answers %s, %v; want %s", answer, got, ok, request)
	}
}

func TestNoDefaultPair(t *testing.T) {
	for _, id := range []link.ID{link.ID11(0x7DF), link.ID11(0x745), link.ID11(0x7E8), link.ID11(0x7F0), link.ID11(0),
		link.ID29(0x18DB33F1), link.ID29(0x7E0), link.ID29(0x18DA10F2), link.ID29(0x1CDA10F1)} {
		if got, ok := link.DefaultAnswer(id); ok {
			t.Errorf("%s is answered on %s, want not known", id, got)
		}
	}
	for _, id := range []link.ID{link.ID11(0x7E7), link.ID11(0x7F0), link.ID29(0x7E8), link.ID29(0x18DA10F1), link.ID29(0x18DBF110)} {
		if got, ok := link.DefaultRequest(id); ok {
			t.Errorf("%s answers %s, want not known", id, got)
		}
	}
}

func TestIDText(t *testing.T) {
	for _, c := range []struct {
		id   link.ID
		text string
	}{
		{link.ID11(0), "000"}, {link.ID11(0x7DF), "7DF"}, {link.ID11(0x7FF), "7FF"},
		{link.ID29(0x7DF), "000007DF"}, {link.ID29(0x18DB33F1), "18DB33F1"}, {link.ID29(0x1FFFFFFF), "1FFFFFFF"},
	} {
		if got := c.id.String(); got != c.text {
			t.Errorf("%+v is written %q, want %q", c.id, got, c.text)
		}
		if got, err := link.ParseID(c.text); err != nil || got != c.id {
			t.Errorf("%q is read as %+v, %v", c.text, got, err)
		}
		j, err := json.Marshal(c.id)
		if err != nil || string(j) != `"`+c.text+`"` {
			t.Errorf("%+v in JSON: %s, %v", c.id, j, err)
		}
		var back link.ID
		if err := json.Unmarshal(j, &back); err != nil || back != c.id {
			t.Errorf("%s from JSON: %+v, %v", j, back, err)
		}
	}
	for _, s := range []string{"", "7", "7D", "800", "FFF", "7DF ", "0x7DF", "+7D", "-7D", "7_F", "7DFG", "0007DF", "20000000", "FFFFFFFF", "18DB33F10", "7dg"} {
		if got, err := link.ParseID(s); err == nil {
			t.Errorf("%q is read as %s", s, got)
		}
		id := link.ID11(0x123)
		if err := id.UnmarshalText([]byte(s)); err == nil || id != link.ID11(0x123) {
			t.Errorf("%q: %v, and the identifier is now %s", s, err, id)
		}
	}
}

func TestIDsKeepTheirWidth(t *testing.T) {
	if link.ID11(0xFFFFFFFF).Value != can.MaxID || link.ID29(0xFFFFFFFF).Value != can.MaxExtendedID {
		t.Error("an identifier is wider than it says")
	}
	if link.IDOf(can.Frame{ID: 0x7DF}) == link.IDOf(can.Frame{ID: 0x7DF, IsExtended: true}) {
		t.Error("7DF and 000007DF are the same")
	}
	if !(link.ID{}).IsZero() || link.ID29(0).IsZero() || link.ID11(1).IsZero() {
		t.Error("IsZero is only the zero ID")
	}
}

func TestAddresses(t *testing.T) {
	if a := link.Physical(link.ID11(0x7E0), link.ID11(0x7E8)); a.Mode != link.Normal || a.Functional || a.String() != "7E0/7E8" {
		t.Errorf("%+v %s", a, a)
	}
	if a := link.Physical(link.ID29(0x18DA10F1), link.ID29(0x18DAF110)); a.Mode != link.NormalFixed || a.String() != "18DA10F1/18DAF110" {
		t.Errorf("%+v %s", a, a)
	}
	// ISO 15765-4: the functional identifiers of OBD.
	if a := link.Functional11(); !a.Functional || a.Request != link.ID11(0x7DF) || !a.Answer.IsZero() || a.String() != "7DF (all modules)" {
		t.Errorf("%+v %s", a, a)
	}
	if a := link.Functional29(); !a.Functional || a.Request != link.ID29(0x18DB33F1) || a.Mode != link.NormalFixed || a.String() != "18DB33F1 (all modules)" {
		t.Errorf("%+v %s", a, a)
	}
	if s := (link.Address{Answer: link.ID11(0x765)}).String(); s != "?/765" {
		t.Error(s)
	}
	if s := (link.Address{Request: link.ID11(0x745)}).String(); s != "745" {
		t.Error(s)
	}
}

// TestDiagnostic: 18DAttss and 18DBttss are those of ISO 15765-2 for diagnostics, 700 to 7FF is common practice; answers to a
// tester at F1 have 18DAF1ss.
func TestDiagnostic(t *testing.T) {
	for _, c := range []struct {
		id                    link.ID
		diagnostic, answering bool
		asked                 link.ID
	}{
		{link.ID11(0x6FF), false, false, link.ID{}},
		{link.ID11(0x700), true, true, link.ID{}},
		{link.ID11(0x72E), true, true, link.ID{}}, // on which it is asked differs from maker to maker
		{link.ID11(0x7E8), true, true, link.ID11(0x7E0)},
		{link.ID11(0x7FF), true, true, link.ID{}},
		{link.ID{Value: 0x800}, false, false, link.ID{}}, // no identifier
		{link.ID29(0x18DAF158), true, true, link.ID29(0x18DA58F1)},
		{link.ID29(0x18DA58F1), true, false, link.ID{}},
		{link.ID29(0x18DB33F1), true, false, link.ID{}},
		{link.ID29(0x18D90000), false, false, link.ID{}},
		{link.ID29(0x18DCF158), false, false, link.ID{}},
		{link.ID29(0x7E8), false, false, link.ID{}},
	} {
		a, ok := link.Answering(c.id)
		if c.id.Diagnostic() != c.diagnostic || ok != c.answering || a.Request != c.asked || ok && a.Answer != c.id ||
			(a.Mode == link.NormalFixed) != (ok && c.id.Extended) {
			t.Errorf("%s: diagnostic %t, %+v, %t", c.id, c.id.Diagnostic(), a, ok)
		}
	}
}

// FuzzParseID: what is read as an identifier has 11 or 29 bits, and is written as it was read, in capitals.
func FuzzParseID(f *testing.F) {
	for _, s := range []string{"7E8", "7df", "18DA10F1", "800", "1FFFFFFF", "2000000", "+7E", "0x7", "", "７E8"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		id, err := link.ParseID(s)
		if err != nil {
			return
		}
		if id.String() != strings.ToUpper(s) || id.Value > can.MaxExtendedID || !id.Extended && id.Value > can.MaxID {
			t.Fatalf("%q is read as %v (%+v)", s, id, id)
		}
		if again, err := link.ParseID(id.String()); err != nil || again != id {
			t.Fatalf("%q: read again as %v, %v", s, again, err)
		}
	})
}
