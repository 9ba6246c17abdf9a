package simcar

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// Published answers, byte for byte. Each case builds a module that holds what the example tells.
func TestPublishedAnswers(t *testing.T) {
	const (
		pyuds  = "layout of py-uds and udsoncan, both decode these bytes"
		trace  = "ecu_trace.pcap of the scapy project, a real module"
		memory = "ISO 14229-1 example, from memory"
		sheet  = "ELM327 data sheet"
		real   = "transcript of a real car"
	)
	for _, c := range []struct{ name, change, request, want, source string }{
		{"session timing", ``, "10 03", "50 03 00 32 01 F4", trace},
		{"codes by mask", `{"modules":{"m":{"codes":{"P0143-00":{"status":"08"},"P0196-00":{"status":"24"},"U0123-00":{"status":"09"}}}}}`,
			"19 02 FF", "59 02 FF 01 43 00 08 01 96 00 24 C1 23 00 09", pyuds},
		{"number of codes", `{"modules":{"m":{"codes":{"P0143-00":{"status":"2F"},"P0196-00":{"status":"2F"},"U0123-00":{"status":"2F"}}}}}`,
			"19 01 01", "59 01 FF 01 00 03", pyuds},
		{"supported codes", `{"modules":{"m":{"codes":{"P0143-00":{"status":"08"}}}}}`, "19 0A", "59 0A FF 01 43 00 08", pyuds},
		{"mask with an availability mask", `{"modules":{"m":{"mask":"7F","codes":{"P0A9B-17":{"status":"24"},"P0805-11":{"status":"2F"}}}}}`,
			"19 02 84", "59 02 7F 08 05 11 2F 0A 9B 17 24", memory + " (there in another order)"},
		{"VIN by identifier", `{"vin":"1M8GDM9AXKP042788","modules":{"m":{"live":["F190"]}}}`, "22 F1 90",
			"62 F1 90 31 4D 38 47 44 4D 39 41 58 4B 50 30 34 32 37 38 38", "data record shown by tshark"},
		{"refused clear", `{"modules":{"m":{"groups":["FFFF33"],"refuse":[{"request":"14","nrc":"22"}]}}}`, "14 FF FF 33", "7F 14 22", pyuds},
		{"clear that takes time", `{"modules":{"m":{"clearTime":6000}}}`, "14 FF FF FF", "7F 14 78|7F 14 78|54", pyuds},
		{"parameters offered", `{"modules":{"m":{"obd":` + obdWith(`"parameters":{"03":"00","04":"00","05":"7B","06":"00","07":"00","0B":"00",
			"0E":"00","0F":"00","11":"00","13":"00","14":"00","15":"00","1C":"00"},"live":["01","0C","0D","21"]`) + `}}}`,
			"01 00", "41 00 BE 3E B8 11", sheet + ", bytes from memory"},
		{"temperature", `{"modules":{"m":{"obd":` + obdWith(`"parameters":{"05":"7B"}`) + `}}}`, "01 05", "41 05 7B", sheet},
		{"motor speed 1726", `{"ready":true,"speed":2,"gearing":863,"modules":{"m":{"obd":` + obdWith(`"live":["0C"]`) + `}}}`, "01 0C", "41 0C 1A F8", sheet},
		{"motor speed 716", `{"ready":true,"speed":4,"gearing":179,"modules":{"m":{"obd":` + obdWith(`"live":["0C"]`) + `}}}`, "01 0C", "41 0C 0B 30", "public example"},
		{"lamp, one code, readiness", `{"modules":{"m":{"codes":{"P0133-00":{"status":"AF","obd":true}},"obd":` + obdWith(`"readiness":"07 65 04","live":["01"]`) + `}}}`,
			"01 01", "41 01 81 07 65 04", sheet},
		{"two stored codes", `{"modules":{"m":{"codes":{"P0102-00":{"status":"08","obd":true},"P0113-00":{"status":"08","obd":true}},"obd":` + obdWith("") + `}}}`,
			"03", "43 02 01 02 01 13", real},
		{"four stored codes", `{"modules":{"m":{"codes":{"P0102-00":{"status":"08","obd":true},"P0113-00":{"status":"08","obd":true},
			"P0123-00":{"status":"08","obd":true},"P0222-00":{"status":"08","obd":true},"P0300-00":{"status":"08"}},"obd":` + obdWith("") + `}}}`,
			"03", "43 04 01 02 01 13 01 23 02 22", real},
		{"clear", `{"modules":{"m":{"obd":` + obdWith("") + `}}}`, "04", "44", sheet},
		{"VIN", `{"vin":"1D4GP00R55B123456","modules":{"m":{"obd":` + obdWith("") + `}}}`, "09 02",
			"49 02 01 31 44 34 47 50 30 30 52 35 35 42 31 32 33 34 35 36", sheet},
		{"calibration", `{"modules":{"m":{"obd":` + obdWith(`"calibration":"56028949AC"`) + `}}}`, "09 04",
			"49 04 01 35 36 30 32 38 39 34 39 41 43 00 00 00 00 00 00", "ELM329 data sheet"},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				equal(t, c.source, asked(carOf(t, c.change), "m", c.request), c.want)
			})
		})
	}
}

// obdWith is an OBD part with some fields of its own.
func obdWith(fields string) string {
	out := `{"check":"00000000"`
	if !strings.Contains(fields, "readiness") {
		out += `,"readiness":"040000"`
	}
	if fields != "" {
		out += "," + fields
	}
	return out + "}"
}

// The fault detection counter of a code that is on its way: 59 14 {code, counter} (layout: py-uds and udsoncan).
func TestFaultDetectionCounter(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, `{"modules":{"m":{"codes":{"P0143-00":{"status":"50","present":true,"step":5,"every":1000}}}}}`)
		equal(t, "before a test", asked(c, "m", "19 14"), "59 14")
		pass(time.Second)
		equal(t, "after one", asked(c, "m", "19 14"), "59 14 01 43 00 05")
		equal(t, "not failed yet", asked(c, "m", "19 02 01"), "59 02 FF")
		pass(25 * time.Second) // 26 tests: 130, held at 127
		equal(t, "failed", asked(c, "m", "19 14"), "59 14")
		equal(t, "failed", asked(c, "m", "19 02 01"), "59 02 FF 01 43 00 2F")
	})
}

// Refusals by ISO 14229-1 annex A.1 and the order of checks in its clause 8.7: service, sub-function, length, conditions.
func TestRefusals(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, `{"modules":{"m":{"live":["F190"],"codes":{"P0143-00":{"status":"08"}},
			"refuse":[{"request":"19 0A","nrc":"7E","while":"default session"},{"request":"22 F1 8C"}],
			"obd":`+obdWith(`"parameters":{"05":"40"}`)+`}}}`)
		for request, want := range map[string]string{
			"10 02":             "7F 10 12",
			"10":                "7F 10 13",
			"10 03 00":          "7F 10 13",
			"11 01":             "7F 11 11",
			"27 01":             "7F 27 11",
			"85 02":             "7F 85 11",
			"2E F1 90 00":       "7F 2E 11",
			"3E 01":             "7F 3E 12",
			"3E":                "7F 3E 13",
			"3E 00":             "7E 00",
			"3E 80":             "",
			"10 81":             "",
			"19 05 FF":          "7F 19 12",
			"19 02":             "7F 19 13",
			"19 0A":             "7F 19 7E",
			"19 8A":             "7F 19 7E",
			"19 82 FF":          "",
			"19 04 01 44 00 FF": "7F 19 31",
			"19 04 01 43 00 05": "7F 19 31",
			"19 06 01 43 00 90": "7F 19 31",
			"14 FF FF":          "7F 14 13",
			"14 FF FF FF 00":    "7F 14 13",
			"14 FF FF 33":       "7F 14 31",
			"14 01 44 00":       "7F 14 31",
			"22 F1":             "7F 22 13",
			"22 F1 91":          "7F 22 31",
			"22 F1 8C":          "",
			"01 0C":             "7F 01 12",
			"08 00":             "7F 08 11",
		} {
			equal(t, request, asked(c, "m", request), want)
		}
		for _, request := range []string{"10 02", "11 01", "3E 01", "19 0A", "14 FF FF 33", "22 F1 91", "01 0C"} {
			equal(t, request+" to all modules", askedAll(c, "m", request), "")
		}
		equal(t, "length, to all modules", askedAll(c, "m", "14 FF FF"), "7F 14 13")
		equal(t, "3E 00 to all modules", askedAll(c, "m", "3E 00"), "7E 00")
	})
}

// A session ends 5 s after the last request (S3 server, ISO 14229-2).
func TestSession(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, `{"modules":{"m":{"live":["F186"],"refuse":[{"request":"14","nrc":"7F","while":"default session"}]}}}`)
		equal(t, "clear at first", asked(c, "m", "14 FF FF FF"), "7F 14 7F")
		equal(t, "10 03", asked(c, "m", "10 03"), "50 03 00 32 01 F4")
		for range 3 {
			pass(4 * time.Second)
			equal(t, "3E 80 keeps it", asked(c, "m", "3E 80"), "")
		}
		equal(t, "session", asked(c, "m", "22 F1 86"), "62 F1 86 03")
		equal(t, "clear", asked(c, "m", "14 FF FF FF"), "54")
		pass(5001 * time.Millisecond)
		equal(t, "session after S3", asked(c, "m", "22 F1 86"), "62 F1 86 01")
		equal(t, "10 03", asked(c, "m", "10 83"), "")
		equal(t, "session", asked(c, "m", "22 F1 86"), "62 F1 86 03")
		c.Switch(false)
		c.Switch(true)
		equal(t, "session after switching", asked(c, "m", "22 F1 86"), "62 F1 86 01")
	})
}

// Several identifiers in one request; those that the module doesn't have are left out (ISO 14229-1 clause 11.2).
func TestSeveralIdentifiers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, `{"modules":{"m":{"live":["DD00","DD01","DD02","DD03"],"texts":{"F197":"BODY"},"data":{"F18B":"23 03 14"}}}}`)
		equal(t, "plates", asked(c, "m", "22 F1 97 F1 91 F1 8B"), "62 F1 97 42 4F 44 59 F1 8B 23 03 14")
		pass(10 * time.Second)
		equal(t, "live", asked(c, "m", "22 DD 00 DD 01 DD 02 DD 03"), "62 DD 00 00 A0 F6 DD 01 7E DD 02 2F DD 03 00 32")
	})
}

// Layouts 59 03, 59 04, 59 06 and 59 09 as py-uds and udsoncan read them.
func TestDetails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := load(t, "")
		first := "DD 00 00 9F 6C DD 01 7C DD 02 2C DD 03 00 3D DD 7A 03 E8"
		second := "DD 00 00 A0 EE DD 01 77 DD 02 25 DD 03 00 26 DD 7A 03 E8"
		equal(t, "list", asked(c, "charging", "19 03"), "59 03 1D 5A 13 01 1D 5A 13 02 C1 40 87 01 C2 93 00 01")
		equal(t, "all", asked(c, "charging", "19 04 1D 5A 13 FF"), "59 04 1D 5A 13 2F 01 05 "+first+"02 05"+second)
		equal(t, "the last", asked(c, "charging", "19 04 1D 5A 13 02"), "59 04 1D 5A 13 2F 02 05"+second)
		equal(t, "none", asked(c, "charging", "19 04 0D 59 00 FF"), "59 04 0D 59 00 00")
		equal(t, "times seen", asked(c, "charging", "19 06 1D 5A 13 01"), "59 06 1D 5A 13 2F 01 0E")
		equal(t, "both", asked(c, "charging", "19 06 1D 5A 13 FF"), "59 06 1D 5A 13 2F 01 0E 02 00")
		equal(t, "severity", asked(c, "charging", "19 09 1D 5A 13"), "59 09 7F 40 10 1D 5A 13 2F")
		equal(t, "without a bit that isn't available", asked(c, "panel", "19 02 FF"), "59 02 2F C1 00 00 28 C1 40 00 28")
	})
}
