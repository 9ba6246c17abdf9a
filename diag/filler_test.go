//go:build linux || darwin

package diag_test

import (
	"strings"
	"testing"
	"testing/synctest"

	"readback/diag"
	"readback/diag/adapter/practice"
	"readback/diag/explain"
	"readback/diag/link"
)

// What a visit has learnt goes into its explanations: the byte that the car fills its frames with (AA, as the practice car's
// modules do), and values that the owner has added. Facts of a car are from the practice car.
func TestExplainWithWhatWasLearnt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:", practice.Driver())
		defer v.Close()
		charging := link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
		if b := v.Filler(charging); b != 0x55 {
			t.Errorf("before anything was heard: %02X", b)
		}
		look(t, v)
		if b := v.Filler(charging); b != 0xAA {
			t.Errorf("%02X", b)
		}
		short := func() string {
			for _, f := range v.Explain("7E5 04 14 FF FF FF", "").Findings {
				if f.Code == "short-frame" {
					return f.Fix
				}
			}
			return ""
		}
		if fix := short(); fix != "Fill it up to 8 with AA, which the Charging module uses." {
			t.Error(fix)
		}
		const unknown = "7E5 03 22 12 34 AA AA AA AA"
		if e := v.Explain(unknown, ""); e.Class != explain.Change {
			t.Errorf("before it was added: %s", e.Class)
		}
		if err := v.AddIdentifier(0x1234); err != nil {
			t.Fatal(err)
		}
		if e := v.Explain(unknown, ""); e.Class != explain.Look {
			t.Errorf("once it was added: %s", e.Class)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "hidden:", hidden{})
		defer v.Close()
		if b := v.Filler(link.Functional11()); b != 0x55 {
			t.Errorf("%02X", b)
		}
	})
	if e := diag.Explain("7DF 01 04 55 55 55 55 55 55", ""); e.Summary != "Ask all modules at once to forget all their trouble codes." {
		t.Error(e.Summary)
	}
	for _, f := range diag.Explain("7ED 03 7F 14 22 55 55 55 55", "").Findings {
		if strings.Contains(f.Text, "..") {
			t.Error(f.Text)
		}
	}
	if e := diag.Explain("7E5 14 FF FF FF", ""); len(e.Fields) < 3 || e.Fields[2].Text != "No request of the standards begins with this byte." {
		t.Errorf("%+v", e.Fields)
	}
}
