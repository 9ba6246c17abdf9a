package dtc_test

import (
	"fmt"
	"strconv"
	"strings"
	"testing"

	"readback/diag/dtc"
)

// olderData are the modules of U0401 to U0432, by their codes for lost contact: the part of the list that the first
// editions of SAE J2012 had already, in its order. Public service pages name U0401, U0405, U0415, U0416, U0418, U0420,
// U0422, U0423, U0428; an open list (2026) has all.
const olderData = `0100 0101 0102 0103 0104 0105 0106 0107 0108 0109 0110 0111 0112 0114 0121 0122
0128 0129 0130 0131 0132 0140 0155 0164 0166 0167 0168 0126 0212 0127 0141 0125`

// gaveWay are modules whose number for wrong data was taken, or is not used, with the one that they got. Same sources.
var gaveWay = map[string]string{
	"U010F": "U040A", "U0113": "U0441", "U0115": "U0442", "U0116": "U0456", "U0117": "U0465", "U0118": "U0467", "U0119": "U0468",
	"U0120": "U0469", "U0123": "U0513", "U0124": "U0536", "U0235": "U0433", "U023D": "U043B", "U023E": "U043C",
}

// modulesOf are the codes of a phrase by the module that they name.
func modulesOf(t *testing.T, phrase string) map[string]string {
	t.Helper()
	out := map[string]string{}
	for v := 0xC100; v < 0xC700; v++ {
		c := dtc.From2(byte(v>>8), byte(v))
		text, _ := c.Meaning()
		if module, ok := strings.CutPrefix(text, phrase); ok {
			if out[module] != "" {
				t.Errorf("%s and %s are both of %s", out[module], c, module)
			}
			out[module] = c.Name()
		}
	}
	return out
}

// away is a code some numbers above another.
func away(t *testing.T, name string, by int) string {
	t.Helper()
	b := code(t, name).Bytes()
	v := int(b[0])<<8 + int(b[1]) + by
	return dtc.From2(byte(v>>8), byte(v)).Name()
}

// Lost contact (U01, U02), wrong data (U04, U05) and unfit software (U03) name the same modules in the same order: wrong
// data 301 hex above lost contact, but for the older part and those that gave way to it; software 100 hex below the
// older part. Who gave way stands where the number was free: its module had gone to the older part, had given way
// itself, or there is none.
func TestModules(t *testing.T) {
	lost, data, misfit := modulesOf(t, "lost contact with "), modulesOf(t, "wrong data from "), modulesOf(t, "software that does not fit ")
	older := map[string]string{}
	for i, n := range strings.Fields(olderData) {
		older["U"+n] = fmt.Sprintf("U%04d", 401+i)
	}
	if len(older) != 32 {
		t.Fatalf("%d older modules", len(older))
	}
	matched := 0
	for module, l := range lost {
		want := away(t, l, 0x301)
		switch {
		case older[l] != "":
			want = older[l]
			if soft := misfit[module]; soft != away(t, want, -0x100) {
				t.Errorf("%s: data %s, software %s", module, want, soft)
			}
		case gaveWay[l] != "":
			want = gaveWay[l]
			free := away(t, want, -0x301)
			if _, known := code(t, free).Meaning(); known && older[free] == "" && gaveWay[free] == "" {
				t.Errorf("%s took the number of %s", l, free)
			}
		}
		if d := data[module]; d != "" {
			matched++
			if d != want {
				t.Errorf("%s: lost %s, data %s, want %s", module, l, d, want)
			}
		}
		if soft := misfit[module]; soft != "" && older[l] == "" {
			n, err := strconv.Atoi(soft[1:])
			if err == nil && n > 300 && n <= 332 {
				t.Errorf("%s has %s of the older part", module, soft)
			}
		}
	}
	for what, codes := range map[string]map[string]string{"data": data, "software": misfit} {
		for module, c := range codes {
			if lost[module] == "" && module != "another module" && module != "the rest of the car" {
				t.Errorf("%s of %s (%s): contact with it can't be lost", what, module, c)
			}
		}
	}
	t.Logf("%d modules; wrong data of %d, software of %d", len(lost), matched, len(misfit))
	if len(lost) < 260 || matched < 255 || len(misfit) < 45 {
		t.Error("too few modules")
	}
}

// Each data bus has nine codes in a row, decimal: the bus, its work, three of the plus wire, three of the minus wire, and
// both together; nothing differs but the name of the bus.
func TestBuses(t *testing.T) {
	wire := func(s string) string {
		return strings.NewReplacer("CAN+ wire", "plus wire", "CAN- wire", "minus wire").Replace(s)
	}
	pattern := []string{
		"", "BUS does not work as it should",
		"break in the wiring of the plus wire of BUS", "the voltage on the plus wire of BUS is too low", "the voltage on the plus wire of BUS is too high",
		"break in the wiring of the minus wire of BUS", "the voltage on the minus wire of BUS is too low", "the voltage on the minus wire of BUS is too high",
		"the two wires of BUS touch each other",
	}
	for bus, first := range map[string]int{
		"the fast CAN bus": 1, "the medium-speed CAN bus": 10, "the slow CAN bus": 19, "vehicle data bus A": 28, "vehicle data bus B": 37,
		"vehicle data bus C": 46, "vehicle data bus D": 55, "vehicle data bus E": 64, "vehicle data bus F": 80,
	} {
		for i, want := range pattern {
			c := fmt.Sprintf("U%04d", first+i)
			text, known := code(t, c).Meaning()
			if want = strings.ReplaceAll(want, "BUS", bus); !known || want != "" && wire(text) != want || !strings.Contains(text, bus) {
				t.Errorf("%s: %q, want %q", c, text, want)
			}
		}
	}
	for i := range 9 {
		c := away(t, "U0073", i)
		if text, _ := code(t, c).Meaning(); !strings.Contains(text, fmt.Sprintf("data bus %c stopped", 'A'+i)) {
			t.Errorf("%s: %q", c, text)
		}
	}
}
