package signal

import "testing"

// TestNamed: the names of numbers after factor and offset are those of their raw values; what lies between two of them
// counts as the nearer one.
func TestNamed(t *testing.T) {
	s := Signal{Bits: 8, Factor: 0.1, Offset: -4, Texts: []Text{{Raw: 0, Text: "off"}, {Raw: 7, Text: "on"}, {Raw: 255, Text: "not known"}}}
	for number, want := range map[float64]string{-4: "off", -3.3: "on", -3.3 + 1e-9: "on", 21.5: "not known", -3.9: "", 0: ""} {
		if got := s.Named(number); got != want {
			t.Errorf("%v is %q, want %q", number, got, want)
		}
	}
	for raw := range uint64(256) { // as a decoded value has it
		v := s.value(raw, true)
		if got := s.Named(v.Number); got != v.Text {
			t.Errorf("raw %d is %q, want %q", raw, got, v.Text)
		}
	}
	if got := (&Signal{Factor: 1}).Named(0); got != "" {
		t.Errorf("a signal without names: %q", got)
	}
}
