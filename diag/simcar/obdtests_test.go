package simcar

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// Forms of SAE J1979 on CAN, clause 6 and annexes B-G; the numbers are those of the scenario.
func TestRunner(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := load(t, "runner")
		for request, want := range map[string]string{
			"01 00":                   "41 00 BE 3F A8 13",
			"01 01":                   "41 01 81 07 E5 00",
			"01 41":                   "41 41 00 77 E5 E5", // 25 s on this trip
			"01 05 0C 0D 11 2F 51":    "41 05 4A 0C 00 00 0D 00 11 26 2F 8C 51 01",
			"01 0C 08 05":             "41 0C 00 00 05 4A", // 08 isn't offered
			"01 A6":                   "41 A6 00 0A 68 9C", // 68214 km
			"01 05 05 05 05 05 05 05": "7F 01 12",
			"02 02 00":                "42 02 00 04 42",
			"02 05 00 0C 00 2F 00":    "42 05 00 7E 0C 00 0C 58 2F 00 8E",
			"02 05 01":                "7F 02 12",
			"03":                      "43 01 04 42",
			"07":                      "47 02 01 71 04 42",
			"0A":                      "4A 01 04 42",
			"06 00":                   "46 00 C0 00 00 01",
			"06 20":                   "46 20 80 00 08 31",
			"06 00 20 40":             "46 00 C0 00 00 01 20 80 00 08 31 40 80 00 00 01",
			"06 01":                   "46 01 01 0A 0E 66 0E 66 0E 66 01 05 10 00 28 00 00 00 64",
			"06 3B":                   "46 3B 81 FD 02 26 FE 0C 01 F4",
			"06 03":                   "7F 06 12",
			"06 01 02":                "7F 06 12", // only tables may be asked for together
			"06":                      "7F 06 12",
			"09 00":                   "49 00 55 40 00 00",
			"09 02":                   "49 02 01 30 54 4E 52 4E 32 31 53 36 4D 30 30 30 31 38 37 33",
			"09 06":                   "49 06 01 3C 91 0B E4",
			"09 08":                   "49 08 14 03 86 09 71 02 63 03 86 00 00 00 00 03 6A 03 86 00 00 00 00 03 16 03 86 00 00 00 00 00 9A 02 62 02 BD 03 86 00 00 00 00",
			"09 0A":                   "49 0A 01 45 43 4D 00 2D 45 6E 67 69 6E 65 43 6F 6E 74 72 6F 6C 00 00",
			"09 0B":                   "7F 09 12",
			"05 01 01":                "7F 05 11",
			"22 F4 05":                "7F 22 31",
		} {
			equal(t, request, asked(c, "engine", request), want)
		}
		equal(t, "no self-tests", asked(c, "gearbox", "06 00"), "7F 06 11")
		equal(t, "no counts", asked(c, "gearbox", "09 00"), "49 00 54 40 00 00")
		equal(t, "no OBD", asked(c, "brakes", "01 00"), "7F 01 11")
	})
}

// After a clear the self-tests are incomplete and without a result, until they have run again; the counts stay.
func TestSelfTestsAfterClear(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := load(t, "runner")
		counts := asked(c, "engine", "09 08")
		equal(t, "clear", asked(c, "engine", "04"), "44")
		equal(t, "readiness", asked(c, "engine", "01 01"), "41 01 00 77 E5 E5")
		equal(t, "no result", asked(c, "engine", "06 21"), "46 21 80 20 00 00 00 00 00 00")
		equal(t, "no frame", asked(c, "engine", "02 02 00"), "42 02 00 00 00")
		equal(t, "permanent", asked(c, "engine", "0A"), "4A 01 04 42")
		equal(t, "counts", asked(c, "engine", "09 08"), counts)
		c.SetReady(true)
		pass(10 * time.Minute)
		equal(t, "the leak again", asked(c, "engine", "03"), "43 01 04 42")
		equal(t, "frame", asked(c, "engine", "02 02 00 0C 00"), "42 02 00 04 42 0C 00 0C 30")
		equal(t, "readiness", asked(c, "engine", "01 01"), "41 01 81 07 E5 00")
		equal(t, "this trip", asked(c, "engine", "01 41"), "41 41 00 07 E5 00")
		equal(t, "result", asked(c, "engine", "06 21"), "46 21 80 20 00 40 00 00 00 C0")
		equal(t, "clear while running", asked(c, "engine", "04"), "7F 04 22")
	})
}

// The engine idles, turns faster with the speed, and warms one degree in four seconds.
func TestEngine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := load(t, "runner-running") // for 25 s
		equal(t, "idle", asked(c, "engine", "01 0C 05 04"), "41 0C 0C 30 05 50 04 33")
		pass(40 * time.Second)
		equal(t, "warmer", asked(c, "engine", "01 05"), "41 05 5A")
		c.SetSpeed(50)
		equal(t, "at 50 km/h", asked(c, "engine", "01 0C 0D"), "41 0C 23 28 0D 32") // 2250 1/min
		pass(time.Hour)
		equal(t, "warm", asked(c, "engine", "01 05"), "41 05 84")
	})
}

// SAE J1979-2: the same by data identifiers, and nothing by the older services.
func TestOnUDS(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, older := load(t, "runner-uds"), load(t, "runner")
		for request, same := range map[string]string{
			"22 F4 00": "01 00", "22 F4 05": "01 05", "22 F4 01": "01 01", "22 F4 A6": "01 A6",
			"22 F6 00": "06 00", "22 F8 00": "09 00",
		} {
			equal(t, request, asked(c, "engine", request)[6:], asked(older, "engine", same)[4:])
		}
		for request, want := range map[string]string{
			"22 F4 05 F4 0C": "62 F4 05 4A F4 0C 00 00",
			"22 F6 01":       "62 F6 01 01 0A 0E 66 0E 66 0E 66 05 10 00 28 00 00 00 64",
			"22 F8 02":       "62 F8 02 30 54 4E 52 4E 32 31 53 36 4D 30 30 30 31 38 37 33",
			"22 F8 06":       "62 F8 06 3C 91 0B E4",
			"22 F4 08":       "7F 22 31",
			"22 F6 03":       "7F 22 31",
			"22 F8 0B":       "7F 22 31",
			"22 F5 05":       "7F 22 31",
			"01 00":          "7F 01 11",
			"03":             "7F 03 11",
			"04":             "7F 04 11",
		} {
			equal(t, request, asked(c, "engine", request), want)
		}
		equal(t, "14 FF FF 33", asked(c, "engine", "14 FF FF 33"), "54")
		equal(t, "cleared", asked(c, "engine", "22 F4 01"), "62 F4 01 00 77 E5 E5")
		equal(t, "no self-tests", asked(c, "gearbox", "22 F6 00"), "7F 22 31")
		equal(t, "nobody", askedAll(c, "engine", "01 00"), "")
	})
}

func TestTestErrors(t *testing.T) {
	for _, c := range []struct{ obd, field string }{
		{`"selfTests":{"20":[{"test":"01","unit":"01","value":"0000","low":"0000","high":"0000"}]}`, "modules.m.obd.selfTests.20"},
		{`"selfTests":{"0101":[]}`, "modules.m.obd.selfTests.0101"},
		{`"selfTests":{"01":[]}`, "modules.m.obd.selfTests.01"},
		{`"selfTests":{"01":[{"test":"01","unit":"01","value":"00","low":"0000","high":"0000"}]}`, "modules.m.obd.selfTests.01"},
		{`"tracking":{"counts":[1]}`, "modules.m.obd.tracking"},
		{`"tracking":{"starts":-1}`, "modules.m.obd.tracking"},
		{`"complete":-1`, "modules.m.obd.complete"},
	} {
		_, err := scenarioOf(`{"modules":{"m":{"obd":` + obdWith(c.obd) + `}}}`)
		if err == nil || !strings.Contains(err.Error(), c.field) {
			t.Errorf("%s: %v", c.obd, err)
		}
	}
	for _, engine := range []string{`{"idle":-1}`, `{"idle":20000}`, `{"coolant":-50}`, `{"warm":300}`, `{"coolant":50,"warm":40}`} {
		if _, err := scenarioOf(`{"engine":` + engine + `}`); err == nil || !strings.Contains(err.Error(), "engine") {
			t.Errorf("%s: %v", engine, err)
		}
	}
}
