package simcar

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// walk does one step after another and checks the status byte after each.
func walk(t *testing.T, c *Car, code string, steps []struct {
	do   string
	want status
}) {
	t.Helper()
	for i, s := range steps {
		switch s.do {
		case "off, on":
			c.Switch(false)
			c.Switch(true)
		case "clear":
			if got := asked(c, "m", "14 FF FF FF"); got != "54" {
				t.Fatalf("clear: %s", got)
			}
		case "fault", "no fault":
			if err := c.SetFault("m", code, s.do == "fault"); err != nil {
				t.Fatal(err)
			}
		case "test":
			pass(time.Second)
		case "ready":
			c.SetReady(true)
		}
		if got := statusOf(c, "m", code); got != s.want {
			t.Errorf("step %d (%s): status %02X, want %02X", i, s.do, got, s.want)
		}
	}
}

type steps = []struct {
	do   string
	want status
}

// The life of a code that needs two failing operation cycles, as the figures of ISO 14229-1 annex D.2 walk through
// it (from memory of the figures; the bits are those of three open tables).
func TestTwoTrips(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, `{"modules":{"m":{"codes":{"P0143-00":{"status":"50","after":1000,"every":1000,"confirm":2,"aging":2}}}}}`)
		walk(t, c, "P0143-00", steps{
			{"", 0x50},
			{"test", 0x00},  // passed: both "not completed" bits go
			{"fault", 0x00}, // nothing until it is tested
			{"test", 0x27},  // failed, this cycle, pending, since clear
			{"no fault", 0x27},
			{"test", 0x26},    // passed again: only the last result changes
			{"off, on", 0x64}, // a new cycle: not tested in it, still pending
			{"test", 0x24},    // "pending and failed since clear"
			{"off, on", 0x60}, // a whole cycle tested and never failed: not pending
			{"test", 0x20},
			{"fault", 0x20},
			{"test", 0x27},    // the row of failing cycles begins anew
			{"off, on", 0x64}, // the last result is not kept over switching off
			{"test", 0x2F},    // the second cycle in a row: confirmed
			{"no fault", 0x2F},
			{"test", 0x2E},
			{"off, on", 0x6C},
			{"test", 0x2C},
			{"off, on", 0x68}, // remembered, not tested yet
			{"test", 0x28},    // remembered, tested and passed
			{"off, on", 0x40}, // second passing cycle: aged out
			{"test", 0x00},
		})
	})
}

// A cycle in which the test never ran changes neither pending nor the aging (annex D.2).
func TestUntestedCycle(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, `{"modules":{"m":{"codes":{"U0100-00":{"status":"6C","after":1000,"every":1000,"needs":"ready","aging":2}}}}}`)
		walk(t, c, "U0100-00", steps{
			{"test", 0x6C},
			{"off, on", 0x6C},
			{"off, on", 0x6C},
			{"ready", 0x6C},
			{"test", 0x2C},
			{"off, on", 0x68},
			{"ready", 0x68},
			{"test", 0x28},
			{"off, on", 0x40},
		})
	})
}

// A fault that is there comes back after a clear: first 50, then, once tested, everything again.
func TestClearOfAFaultThatIsThere(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, `{"modules":{"m":{"codes":{"P0143-00":{"status":"AF","present":true,"lamp":true,"after":1000,"every":1000,"occurrences":14}}}}}`)
		walk(t, c, "P0143-00", steps{{"", 0xAF}, {"clear", 0x50}, {"test", 0xAF}, {"no fault", 0xAF}, {"test", 0xAE}, {"clear", 0x50}, {"test", 0x00}})
		equal(t, "never seen since", asked(c, "m", "19 06 01 43 00 FF"), "59 06 01 43 00 00")
	})
}

// A test that runs once a switch-on finds its fault again only then.
func TestSwitchOnTest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, `{"modules":{"m":{"codes":{"P0143-00":{"status":"2F","present":true,"after":1000}}}}}`)
		walk(t, c, "P0143-00", steps{{"clear", 0x50}, {"test", 0x50}, {"test", 0x50}, {"off, on", 0x50}, {"test", 0x2F}})
	})
}

// The lamp is off after three passing cycles (common practice, ISO 15031), the code stays.
func TestLamp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, `{"modules":{"m":{"codes":{"P0143-00":{"status":"A8","after":1000,"every":1000}}}}}`)
		walk(t, c, "P0143-00", steps{{"off, on", 0xE8}, {"test", 0xA8}, {"off, on", 0xE8}, {"test", 0xA8}, {"off, on", 0x68}, {"test", 0x28}})
	})
}

// Modules judge faults between 9 and 16 V only (common practice).
func TestSupplyOutsideTheJudgedBand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, `{"supply":8.5,"modules":{"m":{"codes":{"P0143-00":{"status":"50","present":true,"every":1000}}}}}`)
		walk(t, c, "P0143-00", steps{{"test", 0x50}})
		c.SetSupply(12)
		walk(t, c, "P0143-00", steps{{"test", 0x2F}})
	})
}

// The courier: its charge flap lock code is back within seconds of a clear, with new notes.
func TestCourierClear(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := load(t, "")
		equal(t, "before", asked(c, "charging", "19 02 FF"), "59 02 7F 1D 5A 13 2F C1 40 87 28 C2 93 00 28")
		equal(t, "clear", asked(c, "charging", "14 FF FF FF"), "7F 14 78|54")
		equal(t, "at once", asked(c, "charging", "19 02 FF"), "59 02 7F 0D 59 00 50 1D 5A 13 50 C1 40 87 50 C2 93 00 50")
		pass(10 * time.Second)
		equal(t, "later", asked(c, "charging", "19 02 FF"), "59 02 7F 1D 5A 13 2F")
		equal(t, "seen", asked(c, "charging", "19 06 1D 5A 13 FF"), "59 06 1D 5A 13 2F 01 01 02 00")
		equal(t, "note", asked(c, "charging", "19 04 1D 5A 13 FF"), "59 04 1D 5A 13 2F 01 05 DD 00 00 A0 F6 DD 01 7E DD 02 2F DD 03 00 2A DD 7A 03 E8")
		// the body's fault is tested at switch-on only
		equal(t, "clear", asked(c, "body", "14 FF FF FF"), "54")
		pass(10 * time.Second)
		equal(t, "no result yet", asked(c, "body", "19 02 FF"), "59 02 7F 9A 14 15 50")
		c.Switch(false)
		pass(3 * time.Minute)
		equal(t, "off", asked(c, "body", "19 02 FF"), "")
		c.Switch(true)
		pass(10 * time.Second)
		equal(t, "back", asked(c, "body", "19 02 FF"), "59 02 7F 9A 14 15 2F")
	})
}

// One code, a group, and a clear where nothing is stored.
func TestClearForms(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := load(t, "")
		equal(t, "one code", asked(c, "body", "14 9A 14 15"), "54")
		equal(t, "the others", asked(c, "body", "19 02 2F"), "59 02 7F C1 55 00 28 F0 03 16 28")
		equal(t, "group", asked(c, "brakes", "14 FF FF D0"), "54")
		equal(t, "group of others", asked(c, "brakes", "14 FF FF 33"), "7F 14 31")
		equal(t, "nothing stored", asked(c, "gateway", "14 FF FF FF"), "54")
		c.SetReady(true)
		equal(t, "drive on", asked(c, "battery", "14 FF FF FF"), "7F 14 22")
		equal(t, "drive on", asked(c, "drive", "04"), "7F 04 22")
		c.SetSpeed(23)
		equal(t, "moving", asked(c, "brakes", "14 FF FF FF"), "7F 14 88")
		c.SetReady(false)
		equal(t, "standing", asked(c, "battery", "14 FF FF FF"), "54")
	})
}

func TestOBDMemory(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := load(t, "")
		equal(t, "stored", asked(c, "drive", "03"), "43 01 05 62")
		equal(t, "pending", asked(c, "drive", "07"), "47 00")
		equal(t, "permanent", asked(c, "drive", "0A"), "4A 00")
		equal(t, "cause of the freeze frame", asked(c, "drive", "02 02 00"), "42 02 00 05 62")
		equal(t, "supply then", asked(c, "drive", "02 42 00"), "42 42 00 23 8C")
		equal(t, "supply now, two in one", asked(c, "drive", "01 42 0D"), "41 42 31 38 0D 00")
		equal(t, "distance, time", asked(c, "drive", "01 31 30 4E"), "41 31 20 E4 30 D4 4E 37 E6")
		equal(t, "types of 09", asked(c, "drive", "09 00"), "49 00 54 40 00 00") // bits 02 04 06 0A
		equal(t, "not offered, to all modules", askedAll(c, "drive", "01 0A"), "")
		equal(t, "clear", asked(c, "drive", "04"), "44")
		pass(2 * time.Minute)
		equal(t, "stored", asked(c, "drive", "03"), "43 00")
		equal(t, "freeze frame", asked(c, "drive", "02 02 00"), "42 02 00 00 00")
		equal(t, "distance, time", asked(c, "drive", "01 31 30 4E"), "41 31 00 00 30 00 4E 00 02")
		equal(t, "the same memory", asked(c, "drive", "19 02 2F"), "59 02 FF")
		if err := c.SetFault("drive", "P0A1B-00", true); err != nil {
			t.Fatal(err)
		}
		pass(10 * time.Second)
		equal(t, "a new code", asked(c, "drive", "03"), "43 01 0A 1B")
		equal(t, "its freeze frame", asked(c, "drive", "02 02 00 42 00"), "42 02 00 0A 1B 42 00 31 38")
	})
}

func TestSetFaultOfNobody(t *testing.T) {
	c := load(t, "")
	for _, name := range []string{"P0000-00", "P1D5A", ""} {
		if err := c.SetFault("charging", name, true); err == nil || !strings.Contains(err.Error(), "simcar") {
			t.Errorf("%q: error %v", name, err)
		}
	}
}
