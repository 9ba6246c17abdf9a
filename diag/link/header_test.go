package link_test

import (
	"testing"

	"readback/diag/link"
)

// The identifiers are those that ISO 15765-4 makes of the same address bytes; 33 and F1 are those of ISO 14230-4.
func TestHeaderAddresses(t *testing.T) {
	seen := map[link.Address]bool{}
	for target := range 0x100 {
		a := link.AtHeader(uint8(target))
		answer, ok := link.DefaultAnswer(a.Request)
		if a.Mode != link.Header || a.Functional || int(a.Target) != target || a.Source != 0xF1 || !ok || answer != a.Answer || seen[a] {
			t.Errorf("%02X: %+v", target, a)
		}
		seen[a] = true
	}
	if s := link.AtHeader(0x10).String(); s != "18DA10F1/18DAF110" {
		t.Error(s)
	}
	all := link.AllAtHeader()
	if all.Mode != link.Header || !all.Functional || all.Request != link.ID29(0x18DB33F1) || !all.Answer.IsZero() || all.Target != 0x33 || all.Source != 0xF1 {
		t.Errorf("%+v", all)
	}
	if all == link.Functional29() {
		t.Error("a bus with header bytes and CAN share an address")
	}
}
