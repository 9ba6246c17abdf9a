package dtc_test

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"readback/diag/dtc"
	"readback/testdata"
)

// traits are respects of codes, as an open list has them.
func traits(t *testing.T) map[string]map[string]bool {
	t.Helper()
	out := map[string]map[string]bool{}
	for line := range strings.Lines(testdata.DTCTraits) {
		name, codes, ok := strings.Cut(strings.TrimSpace(line), "\t")
		if !ok || line[0] == '#' {
			continue
		}
		out[name] = map[string]bool{}
		for c := range strings.FieldsSeq(codes) {
			out[name][c] = true
		}
	}
	return out
}

// says are our words for a respect of the open list.
var says = map[string]*regexp.Regexp{
	"low":          regexp.MustCompile(`too low\b`),
	"high":         regexp.MustCompile(`too high\b`),
	"intermittent": regexp.MustCompile(`comes and goes|loose contact`),
	"stuck on":     regexp.MustCompile(`does not switch off`),
	"stuck off":    regexp.MustCompile(`does not switch on`),
	"stuck open":   regexp.MustCompile(`stuck open`),
	"stuck closed": regexp.MustCompile(`stuck closed`),
}

// unlike are codes whose list text is of another kind than a low or high signal: a value itself that is too low, a reading
// that drifts, or a text that the list cuts short.
var unlike = map[string]string{
	"P0087": "rail pressure", "P0088": "rail pressure", "P008A": "pressure", "P008B": "pressure", "P00B9": "pressure", "P00C6": "pressure",
	"P00BC": "air flow", "P00BD": "air flow", "P00BE": "air flow", "P00BF": "air flow", "P0129": "outside pressure",
	"P0297": "overspeed", "P02EC": "air flow", "P02ED": "air flow", "P043E": "flow, cut short", "P043F": "flow, cut short",
	"P048E": "cut short", "P04A8": "cut short", "P04A9": "cut short", "P0494": "fan speed", "P0495": "fan speed",
	"P050E": "exhaust temperature", "P050F": "vacuum", "P0524": "oil pressure", "P0574": "speed",
	"P070F": "oil level", "P075F": "oil level", "P07B5": "performance low", "P07B6": "performance high", "P07BB": "performance low", "P07BC": "performance high",
	"P0B0A": "cut short", "P0B0B": "cut short", "P0C2D": "cut short", "P0C2E": "cut short", "P0C3F": "not in that list",
	"P0C79": "inverter voltage", "P0C7A": "inverter voltage", "P0C7B": "inverter voltage", "P0C30": "charge",
	"P048F": "cut short", "P04AA": "cut short", "P07B7": "cut short", "P07BD": "cut short", "P012E": "cut short",
	"P040E": "cut short", "P041E": "cut short", "P0BD5": "cut short", "P0BDA": "cut short", "P0BDF": "cut short", "P0BE4": "cut short", "P0C46": "cut short",
}

// Low is low and high is high, and nothing else is: both ways against an open list, for P0000 to P0C87.
func TestTraits(t *testing.T) {
	needed := map[string]bool{}
	for name, codes := range traits(t) {
		pattern := says[name]
		if pattern == nil {
			letter, ok := strings.CutPrefix(name, "letter ")
			if !ok {
				t.Fatalf("nobody knows %q", name)
			}
			for c := range codes {
				if text, _ := code(t, c).Meaning(); !regexp.MustCompile(`\b` + letter + `\b`).MatchString(text) {
					t.Errorf("%s has the letter %s: %q", c, letter, text)
				}
			}
			continue
		}
		for v := range 0x0C88 {
			c := dtc.From2(byte(v>>8), byte(v))
			text, known := c.Meaning()
			if got := pattern.MatchString(text); known && got != codes[c.Name()] {
				if needed[c.Name()] = true; unlike[c.Name()] == "" || !got {
					t.Errorf("%s is %s: %v in the list; ours is %q", c, name, codes[c.Name()], text)
				}
			}
		}
	}
	for c := range unlike {
		if !needed[c] {
			t.Errorf("%s needs no exception", c)
		}
	}
}

// Numbers of cylinders follow from the code's own number: rules that hold for whole ranges of the standard, as the open
// lists have them.
func TestCylinders(t *testing.T) {
	decimal := func(first string, step, at int) func(int) string {
		base, _ := strconv.Atoi(first[1:])
		return func(cylinder int) string { return fmt.Sprintf("P%04d", base+(cylinder-1)*step+at) }
	}
	hexed := func(first string, step, at int) func(int) string {
		base, _ := strconv.ParseUint(first[1:], 16, 16)
		return func(cylinder int) string { return fmt.Sprintf("P%04X", int(base)+(cylinder-1)*step+at) }
	}
	for _, rule := range []struct {
		name string
		code func(cylinder int) string
		to   int
	}{
		{"injector", decimal("P0201", 1, 0), 12}, {"injector low", decimal("P0261", 3, 0), 12}, {"injector high", decimal("P0261", 3, 1), 12},
		{"balance", decimal("P0261", 3, 2), 12}, {"misfire", decimal("P0301", 1, 0), 12}, {"glow plug", decimal("P0671", 1, 0), 12},
		{"knock", decimal("P2336", 1, 0), 12}, {"trim", hexed("P029A", 4, 0), 12}, {"leak", hexed("P029A", 4, 3), 12},
		{"learned", hexed("P02CC", 2, 1), 10}, {"range", hexed("P02EE", 1, 0), 12}, {"timing", hexed("P020A", 1, 0), 6},
		{"glow range", hexed("P06B9", 1, 0), 12}, {"glow wrong", hexed("P06C5", 1, 0), 12},
		{"intake switch-off", decimal("P3401", 8, 0), 12}, {"exhaust switch-off", decimal("P3401", 8, 4), 12},
	} {
		for cylinder := 1; cylinder <= rule.to; cylinder++ {
			c := rule.code(cylinder)
			if text, _ := code(t, c).Meaning(); !regexp.MustCompile(fmt.Sprintf(`cylinder %d\b`, cylinder)).MatchString(text) {
				t.Errorf("%s, %s of cylinder %d: %q", c, rule.name, cylinder, text)
			}
		}
	}
	for i := range 12 {
		for _, c := range []string{fmt.Sprintf("P%04d", 351+i), fmt.Sprintf("P%04d", 2300+3*i)} {
			if text, _ := code(t, c).Meaning(); !strings.HasSuffix(strings.TrimSuffix(text, " is too low"), fmt.Sprintf("ignition coil %c", 'A'+i)) {
				t.Errorf("%s: %q", c, text)
			}
		}
	}
}

// Banks and sensors of the oxygen sensors follow from the number: P0130 to P0147 are bank 1, P0150 to P0167 bank 2, six
// codes a sensor, of the same kinds in the same order; the heaters and the signals of P00, P22 and P2A in the same way.
func TestBanksAndSensors(t *testing.T) {
	place := func(c string, bank, sensor int) {
		t.Helper()
		if text, _ := code(t, c).Meaning(); !strings.Contains(text, fmt.Sprintf("(bank %d, sensor %d)", bank, sensor)) {
			t.Errorf("%s is of bank %d, sensor %d: %q", c, bank, sensor, text)
		}
	}
	for bank := 1; bank <= 2; bank++ {
		for sensor := 1; sensor <= 3; sensor++ {
			for kind := range 6 {
				place(fmt.Sprintf("P%04d", 130+20*(bank-1)+6*(sensor-1)+kind), bank, sensor)
			}
			for kind := range 3 {
				place(fmt.Sprintf("P%04d", 30+20*(bank-1)+6*(sensor-1)+kind), bank, sensor)
			}
			place(fmt.Sprintf("P%04d", 53+6*(bank-1)+sensor-1), bank, sensor)
			place(fmt.Sprintf("P%04d", 2231+3*(bank-1)+sensor-1), bank, sensor)
			place(fmt.Sprintf("P2A%02d", 3*(bank-1)+sensor-1), bank, sensor)
		}
	}
	// Pairs of codes for bank 1 and bank 2 differ in nothing but the bank.
	for _, pair := range [][2]string{
		{"P0008", "P0009"}, {"P000A", "P000C"}, {"P0010", "P0020"}, {"P0011", "P0021"}, {"P0013", "P0023"}, {"P0016", "P0018"}, {"P0017", "P0019"},
		{"P001A", "P001D"}, {"P0026", "P0028"}, {"P0075", "P0081"}, {"P0078", "P0084"}, {"P007A", "P00A0"}, {"P0095", "P00A5"}, {"P0110", "P00AA"},
		{"P0171", "P0174"}, {"P0172", "P0175"}, {"P0340", "P0345"}, {"P0365", "P0390"}, {"P0420", "P0430"}, {"P0421", "P0431"}, {"P0425", "P0435"},
		{"P042A", "P043A"}, {"P0491", "P0492"}, {"P0544", "P0547"}, {"P052A", "P052C"}, {"P054A", "P054C"}, {"P062D", "P062E"}, {"P0660", "P0663"},
		{"P2000", "P2001"}, {"P2002", "P2003"}, {"P2004", "P2005"}, {"P2096", "P2098"}, {"P2177", "P2179"}, {"P2187", "P2189"}, {"P2195", "P2197"},
		{"P2237", "P2240"}, {"P2270", "P2272"}, {"P2645", "P2655"}, {"P2650", "P2660"}, {"P219A", "P219B"},
	} {
		one, _ := code(t, pair[0]).Meaning()
		two, _ := code(t, pair[1]).Meaning()
		if !strings.Contains(one, "bank 1") || strings.Replace(one, "bank 1", "bank 2", 1) != two {
			t.Errorf("%s %q, %s %q", pair[0], one, pair[1], two)
		}
	}
}

// Parts that come twice or three times: same kinds at the same distance, as the open lists have them.
func TestTwins(t *testing.T) {
	for _, twin := range []struct {
		first, second string
		n             int
		from, to      string
	}{
		{"P0A2A", "P0A30", 6, "drive motor A", "drive motor B"}, {"P0A2A", "P0A36", 6, "drive motor A", "the generator"},
		{"P0A3F", "P0A45", 6, "drive motor A", "drive motor B"}, {"P0A51", "P0A55", 4, "drive motor A", "drive motor B"},
		{"P0A5D", "P0A66", 9, "drive motor A", "drive motor B"}, {"P0A5D", "P0A60", 3, "phase U", "phase V"}, {"P0A60", "P0A63", 3, "phase V", "phase W"},
		{"P0A81", "P0A96", 5, "fan 1", "fan 2"}, {"P0A81", "P0ACF", 5, "fan 1", "fan 3"}, {"P0AA0", "P0AA3", 3, "positive", "negative"},
		{"P0AA0", "P0AE1", 3, "positive", "precharge"}, {"P0AD9", "P0ADD", 4, "positive", "negative"}, {"P0BE5", "P0BF1", 12, "drive motor A", "drive motor B"},
		{"P0AED", "P0AF2", 5, "sensor A", "sensor B"}, {"P0A9B", "P0AC5", 5, "sensor A", "sensor B"}, {"P0ABF", "P0B0E", 5, "sensor A", "sensor B"},
		{"P0750", "P0755", 5, "valve A", "valve B"}, {"P0750", "P075A", 5, "valve A", "valve G"}, {"P0745", "P0795", 5, "valve A", "valve C"},
		{"P0840", "P0845", 5, "sensor A", "sensor B"}, {"P0840", "P0875", 5, "sensor A", "sensor D"}, {"P0120", "P0220", 5, "sensor A", "sensor B"},
		{"P0120", "P2120", 5, "sensor A", "sensor D"}, {"P2713", "P2807", 3, "valve D", "valve G"}, {"P0A05", "P0B38", 3, "pump A", "pump B"},
	} {
		at := func(first string, i int) string {
			n := code(t, first).Bytes()
			v := int(n[0])<<8 | int(n[1]) + i
			text, _ := dtc.From2(byte(v>>8), byte(v)).Meaning()
			return text
		}
		for i := range twin.n {
			one, two := at(twin.first, i), at(twin.second, i)
			if !strings.Contains(one, twin.from) || strings.Replace(one, twin.from, twin.to, 1) != two {
				t.Errorf("%s+%d %q, %s+%d %q", twin.first, i, one, twin.second, i, two)
			}
		}
	}
}
