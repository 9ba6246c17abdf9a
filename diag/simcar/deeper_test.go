package simcar

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// every report type that a module may have besides.
const everyReport = `"reports":["05","07","08","0B","0C","0D","0E","0F","10","11","12","13","15","16","17","18","19","1A","42","55","56"]`

// deeper is a module that has them all: two codes, of which one concerns emissions and is permanent, and one each in a
// mirror memory and in a memory of its own.
const deeper = `{"modules":{"m":{` + everyReport + `,"format":"04","groups":["FFFF33","FFFFD0"],
	"codes":{
		"P0143-00":{"status":"08","obd":true,"permanent":true,"severity":"20","unit":"10","occurrences":3,"aged":1,
			"snapshots":[{"record":1,"odometer":256,"supply":12,"outside":0,"onFor":1},{"record":2,"odometer":770,"supply":12,"outside":0,"onFor":1}]},
		"P0A9B-17":{"status":"2F","severity":"40","unit":"11","occurrences":14,
			"snapshots":[{"record":1,"odometer":512,"supply":9.5,"outside":-3,"onFor":2}]},
		"U0001-88":{"status":"50","after":60000}},
	"mirror":{"C1234-56":{"status":"28","occurrences":2,"aged":5}},
	"memories":{"15":{"B1234-56":{"status":"08","occurrences":7,
		"snapshots":[{"record":1,"odometer":1,"supply":12,"outside":0,"onFor":1}]}}},
	"readiness":{"FE":["P0143-00","P0A9B-17"]},
	"scaling":{"DD01":"01 95 06 00 01 A1 0E"}}}}`

// Layouts of ISO 14229-1 as py-uds reads them. The answers 59 42, 59 55 and 59 56 for emissions are worked examples that
// py-uds (and, the first, udsoncan) decodes.
func TestDeeperReports(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, deeper)
		const (
			one   = "01 43 00 08"
			two   = "0A 9B 17 2F"
			first = " 04 DD 00 00 01 00 DD 01 78 DD 02 28 DD 03 00 01"
			last  = " 04 DD 00 00 03 02 DD 01 78 DD 02 28 DD 03 00 01"
			other = " 04 DD 00 00 02 00 DD 01 5F DD 02 25 DD 03 00 02"
		)
		for _, x := range []struct{ request, want string }{
			{"19 05 01", "59 05 01 " + one + first},
			{"19 05 03", "59 05 03 " + two + other},
			{"19 05 FF", "59 05 01 " + one + first + "02" + one + last + "03" + two + other},
			{"19 05 04", "7F 19 31"},
			{"19 07 60 FF", "59 07 FF 04 00 02"},
			{"19 07 40 FF", "59 07 FF 04 00 01"},
			{"19 07 60 04", "59 07 FF 04 00 01"},
			{"19 08 60 FF", "59 08 FF 20 10 " + one + "40 11" + two},
			{"19 08 80 FF", "59 08 FF"},
			{"19 0F FF", "59 0F FF 52 34 56 28"},
			{"19 0F 01", "59 0F FF"},
			{"19 10 52 34 56 FF", "59 10 52 34 56 28 01 02 02 05"},
			{"19 10 52 34 56 02", "59 10 52 34 56 28 02 05"},
			{"19 10 01 43 00 FF", "7F 19 31"},
			{"19 11 FF", "59 11 FF 04 00 01"},
			{"19 12 FF", "59 12 FF 04 00 01"},
			{"19 13 FF", "59 13 FF" + one},
			{"19 13 04", "59 13 FF"},
			{"19 15", "59 15 FF" + one},
			{"19 16 01", "59 16 01 " + one + "03" + two + "0E"},
			{"19 16 02", "59 16 02 " + one + "01" + two + "00"},
			{"19 16 09", "7F 19 31"},
			{"19 17 FF 15", "59 17 15 FF 92 34 56 08"},
			{"19 17 04 15", "59 17 15 FF"},
			{"19 17 FF 16", "7F 19 31"},
			{"19 18 92 34 56 FF 15", "59 18 15 92 34 56 08 01 04 DD 00 00 00 01 DD 01 78 DD 02 28 DD 03 00 01"},
			{"19 18 01 43 00 FF 15", "7F 19 31"},
			{"19 19 92 34 56 01 15", "59 19 15 92 34 56 08 01 07"},
			{"19 19 92 34 56 09 15", "7F 19 31"},
			{"19 1A 01", "59 1A FF 01 " + one + two + "C0 01 88 50"},
			{"19 1A 09", "7F 19 31"},
			{"19 42 33 FF 20", "59 42 33 FF FE 04 20 01 43 00 08"},
			{"19 42 33 FF 40", "59 42 33 FF FE 04"},
			{"19 42 D0 FF 60", "59 42 D0 FF FE 04 20" + one + "40" + two},
			{"19 42 FE FF 60", "7F 19 31"},
			{"19 55 33", "59 55 33 FF 04 01 43 00 08"},
			{"19 55 FE", "7F 19 31"},
			{"19 56 33 FE", "59 56 33 FF 04 FE 01 43 00 08"},
			{"19 56 D0 FE", "59 56 D0 FF 04 FE" + one + two},
			{"19 56 33 01", "7F 19 31"},
			{"24 DD 01", "64 DD 01 01 95 06 00 01 A1 0E"},
			{"24 DD 00", "7F 24 31"},
			{"24 DD", "7F 24 13"},
			{"24 DD 01 DD 00", "7F 24 13"},
			{"19 05", "7F 19 13"},
			{"19 42 33 FF", "7F 19 13"},
			{"19 93 FF", ""},
			{"19 1B", "7F 19 12"},
		} {
			equal(t, x.request, asked(c, "m", x.request), x.want)
		}
	})
}

// What a scenario lacks is refused: the report type with 12, its parameter with 31.
func TestNotDeeper(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, `{"modules":{"m":{"codes":{"P0143-00":{"status":"08"}}}}}`)
		for _, report := range []string{"05 01", "07 FF FF", "08 FF FF", "0B", "0C", "0D", "0E", "0F FF", "10 01 43 00 01", "11 FF", "12 FF", "13 FF", "15", "16 01",
			"17 FF 15", "18 01 43 00 FF 15", "19 01 43 00 FF 15", "1A 01", "42 33 FF FF", "55 33", "56 33 01", "1B", "57"} {
			equal(t, report, asked(c, "m", "19"+report), "7F 19 12")
		}
		equal(t, "scaling", asked(c, "m", "24 DD 01"), "7F 24 31")
		c = carOf(t, `{"modules":{"m":{`+everyReport+`}}}`)
		for request, want := range map[string]string{"05 FF": "7F 19 31", "0B": "59 0B FF", "0F FF": "59 0F FF", "15": "59 15 FF", "17 FF 15": "7F 19 31", "42 33 FF FF": "7F 19 31", "16 01": "59 16 01"} {
			equal(t, request, asked(c, "m", "19"+request), want)
		}
	})
}

// First and last since the clear (clause 12.3): in the order of the snapshots at first, then as it happens.
func TestMilestones(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, deeper)
		for _, x := range []struct{ request, want string }{
			{"19 0B", "59 0B FF 01 43 00 08"}, {"19 0C", "59 0C FF 01 43 00 08"}, {"19 0D", "59 0D FF 01 43 00 08"}, {"19 0E", "59 0E FF 01 43 00 08"},
		} {
			equal(t, x.request, asked(c, "m", x.request), x.want)
		}
		c = carOf(t, `{"modules":{"m":{`+everyReport+`,"codes":{
			"P0A9B-17":{"status":"50","present":true,"after":1000,"every":1000},
			"P0143-00":{"status":"50","present":true,"after":5000,"every":1000,"confirm":2}}}}}`)
		for _, sub := range []string{"0B", "0C", "0D", "0E"} {
			equal(t, "nothing yet", asked(c, "m", "19"+sub), "59"+sub+"FF")
		}
		equal(t, "clear", asked(c, "m", "14 FF FF FF"), "54")
		pass(time.Second)
		for _, sub := range []string{"0B", "0C", "0D", "0E"} {
			equal(t, "one", asked(c, "m", "19"+sub), "59"+sub+"FF 0A 9B 17 2F")
		}
		pass(5 * time.Second)
		equal(t, "first failed", asked(c, "m", "19 0B"), "59 0B FF 0A 9B 17 2F")
		equal(t, "last failed", asked(c, "m", "19 0D"), "59 0D FF 01 43 00 27")
		equal(t, "last confirmed", asked(c, "m", "19 0E"), "59 0E FF 0A 9B 17 2F")
		equal(t, "clear", asked(c, "m", "14 0A 9B 17"), "54")
		equal(t, "first failed", asked(c, "m", "19 0B"), "59 0B FF 01 43 00 27")
		equal(t, "none confirmed", asked(c, "m", "19 0C"), "59 0C FF")
	})
}

// A clear names its memory with a fifth byte (ISO 14229-1:2020) and reaches no other; the mirror memory stays.
func TestClearOfMemories(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := carOf(t, deeper)
		equal(t, "the main memory", asked(c, "m", "14 FF FF FF"), "54")
		equal(t, "main", asked(c, "m", "19 02 08"), "59 02 FF")
		equal(t, "own", asked(c, "m", "19 17 08 15"), "59 17 15 FF 92 34 56 08")
		equal(t, "another code", asked(c, "m", "14 01 43 00 15"), "7F 14 31")
		equal(t, "another memory", asked(c, "m", "14 FF FF FF 16"), "7F 14 31")
		equal(t, "one code", asked(c, "m", "14 92 34 56 15"), "54")
		equal(t, "own", asked(c, "m", "19 17 08 15"), "59 17 15 FF")
		equal(t, "own, all of it", asked(c, "m", "14 FF FF FF 15"), "54")
		equal(t, "mirror", asked(c, "m", "19 0F 08"), "59 0F FF 52 34 56 28")
		equal(t, "too long", asked(c, "m", "14 FF FF FF 15 00"), "7F 14 13")
	})
}

func TestDeeperErrors(t *testing.T) {
	for _, c := range []struct{ change, field string }{
		{`"reports":["02"]`, "modules.m.reports[0]"},
		{`"reports":["1B"]`, "modules.m.reports[0]"},
		{`"scaling":{"DD":"01"}`, "modules.m.scaling.DD"},
		{`"scaling":{"DD01":""}`, "modules.m.scaling.DD01"},
		{`"memories":{"x":{}}`, "modules.m.memories.x"},
		{`"memories":{"15":{"X0143-00":{}}}`, "modules.m.memories.15.X0143-00"},
		{`"memories":{"15":{"P0143-00":{"status":"42"}}}`, "modules.m.memories.15.P0143-00.status"},
		{`"mirror":{"P0143":{}}`, "modules.m.mirror.P0143"},
		{`"readiness":{"1":[]}`, "modules.m.readiness.1"},
		{`"readiness":{"01":["P0143-00"]}`, "modules.m.readiness.01"},
	} {
		_, err := scenarioOf(`{"modules":{"m":{` + c.change + `}}}`)
		if err == nil || !strings.Contains(err.Error(), c.field+":") {
			t.Errorf("%s: %v", c.change, err)
		}
	}
}
