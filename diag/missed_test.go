package diag

import (
	"strings"
	"testing"

	"readback/diag/dtc"
)

// TestRolesAgree: what a code of lost contact misses by the table of roles is what its meaning says, which diag/dtc
// checks against published lists.
func TestRolesAgree(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range roles {
		for _, name := range r.codes {
			c := code(t, name)
			d := dtc.Describe(c, nil, 0xFF, nil)
			if seen[name] || !lostContact(c) || missing(c) != r.key || !strings.HasPrefix(d.Meaning, "lost contact with ") || !called(d.Part, r.words) {
				t.Errorf("%s, %s: it means %q", r.key, name, d.Meaning)
			}
			seen[name] = true
		}
	}
}

func TestRoleOf(t *testing.T) {
	for name, want := range map[string]string{
		"Engine or drive": "drive", "Drive": "drive", "Drive battery": "battery", "Drive motor": "motor", "Battery or hybrid": "battery",
		"Engine control": "drive", "ABS": "brakes", "Absorber": "", "Brakes": "brakes", "Body": "body", "Instrument panel": "panel",
		"Module 7A4": "", "Climate": "climate", "Telematics": "telematics", "Converter": "converter", "Gearbox": "gearbox", "": "",
	} {
		if got := roleOf(name); got != want {
			t.Errorf("%q is %q, want %q", name, got, want)
		}
	}
}
