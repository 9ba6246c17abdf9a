package simcar

import (
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// onLineCar is the small car on a serial line, its module at address 10.
func onLineCar(line Line, more string) string {
	return `{"line":"` + string(line) + `","bitRate":0,"vin":"1D4GP00R55B123456","modules":{"m":{"request":"18DA10F1","answer":"18DAF110",
		"obd":` + obdWith(`"parameters":{"0D":"32"}`) + more + `}}}`
}

// Whole messages as published: the ELM327 data sheet (VPW: a CRC), transcripts of two real modules (ISO 9141-2 and ISO
// 14230-4, addresses 10 and 17), and transcripts of adapters on ISO 14230.
func TestMessagesOnTheLine(t *testing.T) {
	for _, c := range []struct {
		line       Line
		source     byte
		functional bool
		want       string // the whole message; its data are between header and checksum
	}{
		{VPW, 0x10, true, "48 6B 10 41 00 BE 3E B8 11 FA"},
		{ISO9141, 0x10, true, "48 6B 10 41 00 B8 7B 30 10 77"},
		{ISO9141, 0x17, true, "48 6B 17 41 00 80 00 80 03 0E"},
		{ISO9141, 0x10, true, "48 6B 10 49 02 05 32 33 34 35 E1"},
		{KWPSlow, 0x10, true, "86 F1 10 41 00 B8 7B 30 10 3B"},
		{KWPFast, 0x17, true, "86 F1 17 41 00 80 00 80 03 D2"},
		{KWPFast, 0x10, true, "83 F1 10 7F 01 12 16"},
		{KWPFast, 0x10, true, "87 F1 10 49 02 02 44 34 47 50 E4"},
		{KWPFast, 0x11, false, "83 F1 11 C1 EF 8F C4"},
		{KWPFast, 0x20, false, "83 F1 20 C1 EF 8F D3"},
		{KWPFast, 0x11, false, "81 F1 11 7E 01"},
		{KWPFast, 0x11, false, "83 F1 11 7F 22 11 37"},
	} {
		whole := unhex(c.want)
		data := whole[3 : len(whole)-1]
		if got := fmt.Sprintf("% X", forms[c.line].message(c.source, c.functional, data)); got != c.want {
			t.Errorf("%s: %s, want %s", c.line, got, c.want)
		}
	}
	long := forms[KWPFast].message(0x10, false, make([]byte, 200))
	if long[0] != 0x80 || long[3] != 200 || len(long) != 205 {
		t.Errorf("200 bytes: % X", long[:5])
	}
}

// The data sheet's lines without headers (p. 34 and 42): three codes a line and no count, the number of the car in five
// numbered lines, 44 for "erased"; they are the same on every older line.
func TestLineTranscripts(t *testing.T) {
	for _, line := range []Line{PWM, VPW, ISO9141, KWPSlow, KWPFast} {
		t.Run(string(line), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				four := `,"codes":{"P0133-00":{"status":"08","obd":true},"P0102-00":{"status":"08","obd":true},"P0113-00":{"status":"08","obd":true},"P0123-00":{"status":"24","obd":true},"P0222-00":{"status":"08","obd":true}}`
				d := plug(t, carOf(t, onLineCar(line, four)), SerialOptions{})
				d.setUp("ATE0", "ATSP"+fmt.Sprint(forms[line].protocol))
				first := d.enter("0902")
				start := map[Line]string{ISO9141: "BUS INIT: ...OK\r", KWPSlow: "BUS INIT: ...OK\r", KWPFast: "BUS INIT: OK\r"}[line]
				if want := start + "49 02 01 00 00 00 31 \r49 02 02 44 34 47 50 \r49 02 03 30 30 52 35 \r49 02 04 35 42 31 32 \r49 02 05 33 34 35 36 "; first != want {
					t.Errorf("VIN: %q", first)
				}
				d.expect("03", "43 01 02 01 13 01 33 \r43 02 22 00 00 00 00 ")
				d.expect("07", "47 01 23 00 00 00 00 ")
				d.expect("010D", "41 0D 32 ")
				d.expect("010D0C", "NO DATA")
				d.expect("04", "44 ")
				d.expect("03", "43 00 00 00 00 00 00 ")
				d.expect("ATDPN", fmt.Sprint(forms[line].protocol))
			})
		})
	}
}

func TestLineSearch(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := plug(t, load(t, "pony"), SerialOptions{})
		d.setUp("ATE0", "ATH1", "ATSP0")
		if got := d.enter("0100"); !strings.HasPrefix(got, "SEARCHING...\r48 6B 10 41 00 ") || !strings.Contains(got, "\r48 6B 18 41 00 ") {
			t.Errorf("%q", got)
		}
		d.expect("ATDPN", "A3")
		d.expect("ATDP", "AUTO, ISO 9141-2")
		d.setUp("ATSP6")
		d.expect("0100", "CAN ERROR")
		d.setUp("ATSP5")
		d.expect("0100", "BUS INIT: ERROR")
	})
}

// Refusals: on ISO 9141-2 and SAE J1850 none but to erase; on ISO 14230 all.
func TestLineRefusals(t *testing.T) {
	for line, want := range map[Line][2]string{ISO9141: {"7F 04 00 00 00 00 22 ", "NO DATA"}, KWPFast: {"7F 04 22 ", "7F 09 12 "}} {
		synctest.Test(t, func(t *testing.T) {
			d := plug(t, carOf(t, onLineCar(line, `,"refuse":[{"request":"04","nrc":"22"},{"request":"0902","nrc":"12"}]`)), SerialOptions{})
			d.setUp("ATE0", "ATSP"+fmt.Sprint(forms[line].protocol))
			d.enter("0100")
			d.expect("04", want[0])
			if line == ISO9141 {
				d.expect("0902", want[1])
			}
		})
	}
}

// The services of ISO 14230-3 of one module, opened by its own address; another one does not hear.
func TestKWPOnTheLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := plug(t, load(t, "drover"), SerialOptions{})
		d.setUp("ATE0", "ATH1", "ATSP5", "ATSH8228F1")
		d.expect("ATFI", "BUS INIT: OK")
		d.expect("ATFI", "?") // open already
		d.expect("1A97", "88 F1 28 5A 97 42 52 41 4B 45 53 4A ")
		d.expect("1802FF00", "88 F1 28 58 02 50 95 21 51 45 64 FB ")
		d.expect("13", "86 F1 28 53 02 50 95 51 45 6F ")
		d.expect("175145", "86 F1 28 57 01 51 45 64 09 FA ")
		d.expect("3E01", "81 F1 28 7E 18 ")
		d.expect("3E02", "NO DATA")
		d.expect("2101", "86 F1 28 61 01 00 00 00 00 01 ")
		d.expect("2102", "83 F1 28 7F 21 31 6D ")
		d.expect("1902FF", "83 F1 28 7F 19 11 45 ")
		d.setUp("ATSH8240F1")
		d.expect("1A97", "NO DATA")
		d.setUp("ATPC")
		d.expect("1A97", "BUS INIT: OK\r86 F1 40 5A 97 42 4F 44 59 D6 ")
		d.setUp("ATPC", "ATSH8250F1")
		d.expect("ATFI", "BUS INIT: ERROR")
	})
}

func TestKWPServices(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := load(t, "drover")
		equal(t, "plate", asked(c, "engine", "1A 91"), "5A 91 54 4E 33 44 2D 31 31 32 30 2D 42")
		equal(t, "plate", asked(c, "engine", "1A 80"), "5A 80 54 4E 33 44 01 0B 03")
		equal(t, "no such plate", asked(c, "engine", "1A 92"), "7F 1A 31")
		equal(t, "with a result", asked(c, "engine", "18 02 FF 00"), "58 03 01 17 22 01 90 E4 14 02 28")
		equal(t, "all", asked(c, "engine", "18 03 FF 00"), "58 04 01 17 22 01 90 E4 02 43 00 14 02 28")
		equal(t, "of the body", asked(c, "engine", "18 02 80 00"), "58 00")
		equal(t, "one", asked(c, "engine", "18 00 01 90"), "58 01 01 90 E4")
		equal(t, "form unknown", asked(c, "engine", "18 05 FF 00"), "7F 18 12")
		equal(t, "length", asked(c, "engine", "18 02 FF"), "7F 18 12")
		equal(t, "no result", asked(c, "engine", "17 02 43"), "57 00")
		equal(t, "kept", asked(c, "engine", "12 00 02 01 90"), "52 00 03 B0 8D 89 31 01 36")
		equal(t, "nothing kept", asked(c, "engine", "12 00 02 14 02"), "7F 12 31")
		equal(t, "session", asked(c, "engine", "10 81")+asked(c, "engine", "10 92")+asked(c, "engine", "20"), "5081 5092 60")
		equal(t, "programming", asked(c, "engine", "10 85"), "7F 10 12")
		equal(t, "start and stop", asked(c, "engine", "81")+asked(c, "engine", "82"), "C1EF8F C2")
		equal(t, "UDS", asked(c, "engine", "22 F1 90"), "7F 22 11")
		equal(t, "not of this module", asked(c, "brakes", "14 01 17"), "7F 14 31")
		equal(t, "one erased", asked(c, "brakes", "14 50 95"), "54")
		equal(t, "the other stays", asked(c, "brakes", "18 02 40 00"), "58 01 51 45 64")
		equal(t, "slowly", asked(c, "engine", "14 FF 00"), "7F 14 78|54 FF 00")
		equal(t, "erased", asked(c, "engine", "18 02 FF 00"), "58 00")
		pass(11 * time.Second)
		equal(t, "back", asked(c, "engine", "18 02 FF 00"), "58 01 01 90 E4")
	})
}

func TestLineScenarios(t *testing.T) {
	for _, c := range []struct{ change, field, text string }{
		{`{"line":"token ring"}`, "bitRate", "has none"},
		{`{"line":"token ring","bitRate":0}`, "line", "token ring"},
		{`{"line":"ISO 9141-2","bitRate":0}`, "modules.m.request", "18DAttF1"},
		{`{"line":"ISO 9141-2","bitRate":0,"modules":{"m":{"request":"18DA10F1","answer":"18DAF110"}}}`, "modules.m", "no service"},
		{`{"line":"ISO 9141-2","bitRate":0,"modules":{"m":{"request":"18DA10F1","answer":"18DAF110","kwp":{}}}}`, "modules.m", "no service"},
		{onLineCar(KWPFast, `,"kwp":{"texts":{"9":"X"}}`), "modules.m.kwp.texts.9", "one byte"},
		{onLineCar(KWPFast, `,"kwp":{"local":{"01":""}}`), "modules.m.kwp.local.01", "one byte"},
		{`{"bitRate":0}`, "bitRate", "neither"},
	} {
		_, err := scenarioOf(c.change)
		if err == nil || !strings.Contains(err.Error(), c.field) || !strings.Contains(err.Error(), c.text) {
			t.Errorf("%s: %v", c.change, err)
		}
	}
}

// A car on a serial line has nothing on CAN.
func TestLineIsNotCAN(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, load(t, "drover"))
		w.say("18DB33F1 02 01 00", "18DA10F1 02 1A 90", "7DF 02 01 00")
		w.expect(time.Second)
	})
}

// Both directions of the serial line take the time of their bytes: 10 bits each.
func TestSerialPace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const rate = 9600
		d := plug(t, carOf(t, ""), SerialOptions{BitRate: rate})
		d.setUp("ATE0")
		begun := time.Now()
		d.expect("ATI", "ELM327 v2.2")
		bytes := len("ATI\r") + len("ELM327 v2.2\r\r>")
		if got, want := time.Since(begun), time.Duration(bytes)*10*time.Second/rate; got < want-time.Microsecond || got > want+5*time.Millisecond {
			t.Errorf("%v for %d bytes, want %v", got, bytes, want)
		}
	})
}
