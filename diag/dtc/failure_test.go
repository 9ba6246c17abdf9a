package dtc_test

import (
	"strconv"
	"strings"
	"testing"

	"readback/diag/dtc"
	"readback/testdata"
)

// One list alone gives these four a meaning; the lists contradict each other on 99 and 9A.
var uncertain = map[byte]bool{0x56: true, 0x68: true, 0x99: true, 0x9A: true}

// Every value that public listings describe has a text, every other value has none.
func TestFailureTypes(t *testing.T) {
	listed := map[byte]string{}
	for line := range strings.Lines(testdata.DTCFailureTypes) {
		if line[0] == '#' {
			continue
		}
		f := strings.Split(strings.TrimSpace(line), "\t")
		n, err := strconv.ParseUint(f[0], 16, 8)
		if err != nil || len(f) != 3 {
			t.Fatalf("row %q: %v", line, err)
		}
		listed[byte(n)] = f[1]
	}
	if len(listed) != 102 {
		t.Fatalf("%d values are listed", len(listed))
	}
	texts := map[string]byte{}
	for n := range 256 {
		b := byte(n)
		text, known := dtc.FailureText(b)
		_, want := listed[b]
		if known != (want && !uncertain[b]) || text == "" {
			t.Errorf("%02X: %q, known %v, listed %v", b, text, known, want)
		}
		if strings.EqualFold(text, listed[b]) && len(strings.Fields(text)) > 2 {
			t.Errorf("%02X: %q is the standard's wording", b, text)
		}
		if uncertain[b] && !strings.Contains(text, "not certain") {
			t.Errorf("%02X: %q does not say that it is not certain", b, text)
		}
		if other, double := texts[text]; known && double {
			t.Errorf("%02X and %02X both read %q", b, other, text)
		}
		if maker := strings.Contains(text, "the maker's own"); !want && maker != (b >= 0xF0) {
			t.Errorf("%02X: %q", b, text)
		}
		texts[text] = b
	}
}

// Words that the listed meaning and ours must share, for values that are easily confused.
func TestFailureTypeMeanings(t *testing.T) {
	for b, word := range map[byte]string{
		0x11: "ground", 0x12: "battery", 0x13: "open", 0x16: "voltage is too low", 0x17: "voltage is too high", 0x18: "current is too low",
		0x1A: "resistance is too low", 0x1C: "voltage is out of range", 0x31: "no signal", 0x4B: "hot", 0x71: "stuck", 0x7B: "fluid is low",
		0x84: "below", 0x85: "above", 0x87: "missing", 0x88: "bus off", 0x97: "blocked",
	} {
		if text, _ := dtc.FailureText(b); !strings.Contains(text, word) {
			t.Errorf("%02X: %q lacks %q", b, text, word)
		}
	}
}
