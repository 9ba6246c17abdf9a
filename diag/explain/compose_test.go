package explain

import (
	"fmt"
	"strings"
	"testing"

	"readback/diag/link"
)

// What is composed is well formed, does what was wished for, and nothing else: judged by the explanation, which does
// not know how it was made.
func TestCompose(t *testing.T) {
	written := map[string]string{ // from the clauses of the standards that compose.go names, by hand
		"UDS codes": "03 19 02 FF 55 55 55 55", "UDS number": "03 22 F1 90 55 55 55 55", "UDS plate": "03 22 F1 87 55 55 55 55", "UDS erase": "04 14 FF FF FF 55 55 55",
		"KWP codes": "04 18 02 FF 00 55 55 55", "KWP number": "02 1A 90 55 55 55 55 55", "KWP plate": "02 1A 87 55 55 55 55 55", "KWP erase": "03 14 FF 00 55 55 55 55",
		"OBD codes": "01 03 55 55 55 55 55 55", "OBD number": "02 09 02 55 55 55 55 55", "OBD erase": "01 04 55 55 55 55 55 55",
	}
	made := 0
	for _, protocol := range []string{"UDS", "KWP", "OBD", ""} {
		for _, address := range []link.Address{link.Physical(link.ID11(0x7E5), link.ID11(0x7ED)), link.Physical(link.ID29(0x18DA10F1), link.ID29(0x18DAF110))} {
			m := Module{Name: "Charging", Address: address, Protocol: protocol, Codes: 2}
			for _, d := range Deeds {
				text, ok := Compose(d, m, 0x55)
				want, exists := written[protocol+" "+string(d)]
				if ok != exists {
					t.Errorf("%s %s: made %v, wanted %v", protocol, d, ok, exists)
				}
				if !ok {
					continue
				}
				made++
				if text != fmt.Sprintf("%s %s", address.Request, want) {
					t.Errorf("%s %s: %q, not %q", protocol, d, text, want)
				}
				wish, class := WishRead, Look
				if d == DeedErase {
					wish, class = WishClear, Change
				}
				e := Explain(text, Options{Wish: wish, Modules: []Module{m}})
				if e.Class != class || e.Wrong() || e.Odd() {
					t.Errorf("%s: class %s, %v, reason %s", text, e.Class, e.Findings, e.Reason)
				}
			}
		}
	}
	if made != 2*len(written) {
		t.Errorf("%d requests were made", made)
	}
}

func TestComposeFiller(t *testing.T) {
	m := Module{Address: link.Physical(link.ID11(0x726), link.ID11(0x72E)), Protocol: "UDS"}
	if text, _ := Compose(DeedErase, m, 0); text != "726 04 14 FF FF FF 00 00 00" {
		t.Error(text)
	}
	m.Address.Mode = link.Extended
	if text, ok := Compose(DeedErase, m, 0); ok || !strings.EqualFold(text, "") {
		t.Errorf("an address with a byte of its own became %q", text)
	}
}
