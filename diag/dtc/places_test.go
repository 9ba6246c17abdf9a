package dtc_test

import (
	"strings"
	"testing"

	"readback/diag/dtc"
)

// pairs are codes that differ in nothing but a place: n codes from the first one on, and as many from the second one on.
type pairs struct {
	first, second string
	n             int
	from, to      string
}

// differ checks pairs: the second meaning is the first one with the other place.
func differ(t *testing.T, all []pairs) {
	t.Helper()
	for _, p := range all {
		for i := range p.n {
			a, b := away(t, p.first, i), away(t, p.second, i)
			one, known := code(t, a).Meaning()
			two, _ := code(t, b).Meaning()
			if !known || !strings.Contains(one, p.from) || strings.Replace(one, p.from, p.to, 1) != two {
				t.Errorf("%s %q, %s %q", a, one, b, two)
			}
		}
	}
}

// Wheels come in the order left front, right front, left rear, right rear, at the same distance: four codes a wheel for
// valves (C0010), three for ring, sensor and supply (C0030), six for the newer sensors (C0500). Public service pages of
// 2018 to 2021 name C0010 to C001D, C0030 to C003A, C0500, C050C and C0512.
func TestWheels(t *testing.T) {
	order := []string{"left front", "right front", "left rear", "right rear"}
	for i, to := range order[1:] {
		differ(t, []pairs{
			{"C0010", away(t, "C0010", 4*(i+1)), 2, order[0], to},
			{"C0030", away(t, "C0030", 3*(i+1)), 2, order[0], to},
			{"C0500", away(t, "C0500", 6*(i+1)), 5, order[0], to},
		})
		if to != "right front" { // C0035, the supply of the right front sensor, is doubtful
			differ(t, []pairs{{"C0032", away(t, "C0032", 3*(i+1)), 1, order[0], to}})
		}
	}
	differ(t, []pairs{
		{"C0037", "C003D", 2, "left rear", "rear"}, {"C0036", "C003C", 1, "left rear", "rear"}, {"C0001", "C0003", 2, "channel A", "channel B"},
		{"C0042", "C0043", 1, "signal A", "signal B"}, {"C0052", "C0053", 1, "signal A", "signal B"}, {"C0053", "C0055", 1, "signal B", "signal D"},
	})
}

// Airbags, belts and sensors by their places: driver and passenger, left and right, second and third row. Public
// service pages of 2009 to 2019 name about thirty of them; the rest follows from the order.
func TestPlaces(t *testing.T) {
	differ(t, []pairs{
		{"B0001", "B0010", 4, "driver", "passenger"}, {"B0060", "B0061", 1, "driver", "passenger"}, {"B0079", "B007A", 1, "driver", "passenger"},
		{"B00B0", "B00C0", 12, "driver", "passenger"}, {"B00D0", "B00D1", 1, "driver", "passenger"},
		{"B0020", "B0028", 3, "left", "right"}, {"B0030", "B0038", 4, "left", "right"}, {"B0040", "B0048", 4, "left", "right"},
		{"B0090", "B0095", 4, "left", "right"}, {"B0030", "B0040", 4, "second row", "third row"}, {"B0038", "B0048", 4, "second row", "third row"},
		{"B0001", "B0002", 1, "stage 1", "stage 2"}, {"B0002", "B0003", 1, "stage 2", "stage 3"}, {"B0021", "B0022", 1, "stage 1", "stage 2"},
		{"B0090", "B0094", 1, "left", "middle"}, {"B0070", "B0079", 1, "tensioner A", "tensioner B"}, {"B0072", "B007A", 1, "tensioner A", "tensioner B"},
	})
	// The belts of nine seats: buckle sensors, tensioners, force limiters.
	for i, seat := range []string{
		"driver's seat", "front middle seat", "passenger's seat", "second row left", "second row middle", "second row right",
		"third row left", "third row middle", "third row right",
	} {
		for first, part := range map[string]string{"B0050": "buckle sensor", "B0070": "tensioner A", "B0080": "force limiter"} {
			c := away(t, first, i)
			if text, _ := code(t, c).Meaning(); !strings.HasSuffix(text, part+" ("+seat+")") {
				t.Errorf("%s: %q, want %s (%s)", c, text, part, seat)
			}
		}
	}
}

// Every code of B00 counts as safety, known or not, whatever its state but "no result" and "passed".
func TestAirbagsAreSerious(t *testing.T) {
	for v := 0x8000; v < 0x8100; v++ {
		c := dtc.From3(byte(v>>8), byte(v), 0)
		for _, s := range []dtc.Status{0x2F, 0x28, 0x08, 0x24} {
			d := dtc.Describe(c, status(s), 0xFF, nil)
			if d.Area != "airbags and belts" || !strings.Contains(d.Severity+d.SeverityReason, string(dtc.WorkshopSoon)) {
				t.Errorf("%s %02X: %s, %s: %s", c, byte(s), d.Area, d.Severity, d.SeverityReason)
			}
			if _, known := c.Meaning(); known && d.Severity != string(dtc.WorkshopSoon) {
				t.Errorf("%s %02X: %s", c, byte(s), d.Severity)
			}
		}
	}
}

// The charger's sensors come in fives, of the same kinds in the same order, and so do the signals of the socket.
// Public service pages of a plug-in car of 2011 to 2013 name the kinds of seven of these families.
func TestCharging(t *testing.T) {
	const first, part = "P0D38", "the input current sensor of the on-board charger"
	for next, other := range map[string]string{
		"P0D3D": "the input voltage sensor of the on-board charger", "P0D42": "the 14 V output voltage sensor of the on-board charger",
		"P0D47": "the 14 V output current sensor of the on-board charger", "P0D4C": "the output voltage sensor of the on-board charger to the drive battery",
		"P0D51": "the output current sensor of the on-board charger to the drive battery", "P0CCC": "the position sensor of the charging flap",
		"P0CC7": "the switch that opens the charging flap", "P0CF3": "the control pilot line of the charging socket",
		"P0CF8": "the control pilot switch for charging", "P0D00": "the control pilot switch for ventilation while charging",
	} {
		differ(t, []pairs{{first, next, 5, part, other}})
	}
	differ(t, []pairs{{"P0D07", "P0D0E", 7, "positive", "negative"}})
	// The contactors of the charging system have the kinds of those of the drive battery, P0AA0 and P0AD9.
	differ(t, []pairs{{"P0AA0", "P0D07", 3, "drive battery", "charging system"}, {"P0AD9", "P0D0A", 4, "drive battery", "charging system"}})
}
