package diag

import (
	"testing"

	"readback/diag/dtc"
	"readback/diag/garage"
	"readback/diag/link"
)

// TestNameModule holds where a name comes from, and which modules are marked. The customary names are those that ISO
// 15765-4 recommends (from memory) and common practice; the safety marks are common practice.
func TestNameModule(t *testing.T) {
	drive, other, ext := link.ID11(0x7E0), link.ID11(0x737), link.ID29(0x18DA10F1)
	for _, c := range []struct {
		name         string
		m            garage.Module
		want, source string
		safety       bool
	}{
		{"its own name", garage.Module{Request: drive, Identification: map[string]string{"F197": "CHARGING "}}, "Charging", byModule, false},
		{"its own name as it is written", garage.Module{Request: drive, Identification: map[string]string{"F197": "Brake unit"}}, "Brake unit", byModule, true},
		{"an abbreviation", garage.Module{Request: other, Identification: map[string]string{"F197": "ABS"}}, "ABS", byModule, true},
		{"its name in emission control", garage.Module{Request: drive, Identification: map[string]string{"F80A": "ECM-EngineControl"}}, "Engine control", byModule, false},
		{"a part number is no name", garage.Module{Request: drive, Identification: map[string]string{"F197": "4E0 907 115 C"}}, "Engine or drive", byPractice, false},
		{"bytes are no name", garage.Module{Request: drive, Identification: map[string]string{"F197": "0A1BCD"}}, "Engine or drive", byPractice, false},
		{"what the owner says", garage.Module{Name: "Front axle", NameSource: byOwner, Request: drive, Identification: map[string]string{"F197": "DRIVE"}}, "Front axle", byOwner, false},
		{"customary, 29 bits", garage.Module{Request: ext}, "Engine or drive", byPractice, false},
		{"customary, battery", garage.Module{Request: link.ID11(0x7E4)}, "Battery or hybrid", byPractice, true},
		{"7E0 of 29 bits is another identifier", garage.Module{Request: link.ID29(0x7E0)}, "Module 000007E0", byIdentifier, false},
		{"its identifier", garage.Module{Request: other}, "Module 737", byIdentifier, false},
		{"marked by its codes", garage.Module{Request: other, Codes: []garage.CodeRecord{{Code: code(t, "B0012-11")}}}, "Module 737", byIdentifier, true},
		{"maker's codes mark nothing", garage.Module{Request: other, Codes: []garage.CodeRecord{{Code: code(t, "B1012-11")}}}, "Module 737", byIdentifier, false},
		{"words inside words mark nothing", garage.Module{Request: other, Identification: map[string]string{"F197": "ABSORBER"}}, "Absorber", byModule, false},
		{"high voltage", garage.Module{Request: other, Identification: map[string]string{"F197": "HIGH VOLTAGE BOX"}}, "High voltage box", byModule, true},
	} {
		m := c.m
		nameModule(&m)
		if m.Name != c.want || m.NameSource != c.source || m.Safety != c.safety {
			t.Errorf("%s: %q, %q, safety %v; want %q, %q, %v", c.name, m.Name, m.NameSource, m.Safety, c.want, c.source, c.safety)
		}
	}
}

func code(t *testing.T, s string) dtc.Code {
	t.Helper()
	c, err := dtc.Parse(s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}
