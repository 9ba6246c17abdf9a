package diag_test

import (
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag"
	"readback/diag/adapter/practice"
	"readback/diag/garage"
	"readback/diag/gate"
	"readback/diag/link"
)

// TestOlderModule reads and erases a module of ISO 14230-3 among those of ISO 14229-1: codes of two bytes, its own status
// byte beside them, and an erase that names its group with two bytes (14 FF 00).
func TestOlderModule(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:twenty", practice.Driver())
		defer v.Close()
		look(t, v)
		heater := moduleAt(t, v, link.ID11(0x711))
		if heater.Name != "Heater" || heater.Protocol != "KWP" || heater.CodesRead != garage.Yes || heater.Identification["F187"] != "TN4E-8050-A" {
			t.Errorf("module %q %q, codes %s, %v", heater.Name, heater.Protocol, heater.CodesRead, heater.Identification)
		}
		if len(heater.Views) != 1 {
			t.Fatalf("%d codes", len(heater.Views))
		}
		c := heater.Views[0]
		// U0164 is C1 64; 24: stored and not there now (bits 5-6), no signal (bit 2).
		if c.Record.Raw.String() != "C16424" || c.Describe.Code != "U0164" || c.Describe.Verdict != "remembered-only" {
			t.Errorf("raw %s, %s %s", c.Record.Raw, c.Describe.Code, c.Describe.Verdict)
		}
		if len(c.Record.Snapshots) != 1 || len(c.Record.Extended) != 1 || c.Record.Extended[0].Text != "no signal" {
			t.Errorf("kept: %+v, %+v", c.Record.Snapshots, c.Record.Extended)
		}

		e := v.Explain("711 03 14 FF 00 55 55 55 55", "")
		v.Say(gate.NotCharging)
		v.Say(gate.SafetyRead)
		v.SayBack(strings.Join(e.Words[:], " "))
		for _, err := range v.Send(t.Context(), e) {
			if err != nil {
				t.Fatal(err)
			}
		}
		r := v.Result()
		if !r.Sent || r.Outcome != garage.Accepted || r.ReadBack == nil || len(r.ReadBack.Gone) != 1 || r.ReadBack.Gone[0].Code != "U0164" {
			t.Errorf("sent %v, outcome %q, refused %+v, reason %q, read back %+v", r.Sent, r.Outcome, r.Refused, r.Reason, r.ReadBack)
		}
	})
}

func moduleAt(t *testing.T, v *diag.Visit, request link.ID) diag.ModuleView {
	t.Helper()
	for _, m := range v.Modules() {
		if m.Request == request {
			return m
		}
	}
	t.Fatalf("no module at %s", request)
	return diag.ModuleView{}
}
