package elm

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/adapter"
	"readback/diag/link"
	"readback/diag/simcar"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func busOf(number byte) *headerBus { return protocols[number].header }

// Published lines with headers: the ELM327 data sheet (VPW: a CRC), transcripts of two real modules (ISO 9141-2 and ISO
// 14230-4, addresses 10 and 17) and of single modules on ISO 14230. Each is read as printed, without spaces, and behind
// the adapter's own words on the same line.
func TestParseHeader(t *testing.T) {
	for _, c := range []struct {
		bus    byte
		line   string
		source byte
		data   string
	}{
		{'2', "48 6B 10 41 00 BE 3E B8 11 FA ", 0x10, "4100BE3EB811"},
		{'3', "48 6B 10 41 00 B8 7B 30 10 77", 0x10, "4100B87B3010"},
		{'3', "48 6B 17 41 00 80 00 80 03 0E", 0x17, "410080008003"},
		{'3', "48 6B 10 49 02 01 00 00 00 57 66", 0x10, "49020100000057"},
		{'4', "86 F1 10 41 00 B8 7B 30 10 3B", 0x10, "4100B87B3010"},
		{'5', "86 F1 11 41 00 FF FF FF FF C5", 0x11, "4100FFFFFFFF"},
		{'5', "83 F1 10 7F 01 12 16", 0x10, "7F0112"},
		{'5', "83 F1 11 C1 EF 8F C4", 0x11, "C1EF8F"},
		{'5', "83 F1 20 C1 EF 8F D3", 0x20, "C1EF8F"},
		{'5', "81 F1 11 7E 01", 0x11, "7E"},
		{'5', "83 F1 11 7F 22 11 37", 0x11, "7F2211"},
		{'5', "87F11049020244344750E4", 0x10, "49020244344750"},
	} {
		for _, line := range []string{c.line, strings.ReplaceAll(c.line, " ", ""), "SEARCHING..." + c.line, "BUS INIT: ...OK" + c.line, "BUS INIT: OK" + c.line} {
			h, err := busOf(c.bus).parse(line, true)
			if err != nil || h.source != c.source || typed(h.data) != c.data {
				t.Errorf("%q: %02X %X, %v", line, h.source, h.data, err)
			}
		}
	}
}

// Without the checksum, with a fourth header byte, and what is no answer.
func TestParseHeaderForms(t *testing.T) {
	for _, c := range []struct {
		bus  byte
		line string
		sums bool
		data string // "" is an error
	}{
		{'3', "48 6B 10 41 0D 32", false, "410D32"},
		{'3', "48 6B 10 41 0D 32", true, ""}, // 32 is then the checksum, and wrong
		{'5', "83 F1 11 41 0D 32", true, "410D32"},
		{'5', "80 F1 11 03 41 0D 32 05", true, "410D32"},
		{'5', "80 F1 11 03 41 0D 32", true, "410D32"},
		{'5', "80 F1 11 03 41 0D 32 06", true, ""},
		{'5', "83 F1 11 41 0D", true, ""},
		{'5', "83 F1 11 41 0D 32 05 00", true, ""},
		{'5', "03 41 0D 32 83", true, ""}, // no addresses: nobody knows who says it
		{'5', "C2 33 F1 01 00 E7", true, ""},
		{'3', "68 6A F1 01 00 C4", true, ""},
		{'3', "48 6B 10 01 02 03 04 05 06 07 08", false, ""},
		{'3', "48 6B 10", false, ""}, {'3', "48 6B 1", false, ""}, {'3', "", false, ""}, {'3', "NO DATA", false, ""},
		{'3', "BUS INIT: ...", false, ""}, {'3', "BUS INIT: ...ERROR", false, ""}, {'3', "BUS INIT: OK", false, ""},
	} {
		h, err := busOf(c.bus).parse(c.line, c.sums)
		if (c.data == "") != (err != nil) || typed(h.data) != c.data {
			t.Errorf("%c %q: %X, %v", c.bus, c.line, h.data, err)
		}
	}
	if _, err := busOf('3').parse("68 6A F1 01 00 C4", true); !errors.Is(err, errForeign) {
		t.Errorf("a request of another tester: %v", err)
	}
	if _, err := busOf('3').parse("48 6B 10 41 00 BE 3E B8 11 FA", true); !errors.Is(err, errNotMessage) {
		t.Errorf("a CRC where a sum is due: %v", err)
	}
}

// Answers of several lines. The lines of the number are the data sheet's (p. 42), those of the codes too (p. 34); 46 is a
// transcript of a real car.
func TestJoined(t *testing.T) {
	vin := []string{"49 02 01 00 00 00 31", "49 02 02 44 34 47 50", "49 02 03 30 30 52 35", "49 02 04 35 42 31 32", "49 02 05 33 34 35 36"}
	turned := []string{vin[3], vin[0], vin[4], vin[2], vin[1]}
	whole := "490201" + hex.EncodeToString([]byte("1D4GP00R55B123456"))
	for _, c := range []struct {
		name string
		in   []string
		want string // "" is an error
	}{
		{"number", vin, whole},
		{"number, out of order", turned, whole},
		{"number, a line missing", vin[:4], ""},
		{"number, a gap", []string{vin[0], vin[1], vin[3], vin[4]}, ""},
		{"number, a line twice", []string{vin[0], vin[1], vin[2], vin[3], vin[3]}, ""},
		{"number, another type between", []string{vin[0], "49 04 02 44 34 47 50"}, ""},
		{"codes", []string{"43 01 33 00 00 00 00"}, "43013300000000"},
		{"codes, two lines", []string{"43 01 33 01 02 01 13", "43 02 22 00 00 00 00"}, "43013301020113022200000000"},
		{"which types", []string{"49 00 01 FC 00 00 00"}, "4900FC000000"},
		{"how many lines there will be", []string{"49 01 05"}, "490105"},
		{"check values", []string{"49 06 01 17 91 BC 82", "49 06 02 16 E0 62 BE"}, "4906021791BC8216E062BE"},
		{"a type without a known length", []string{"49 F0 01 01 02 03 04"}, "49F00101020304"},
		{"test results", []string{"46 06 03 00 5A 9C 40", "46 06 85 00 5A 00 00"}, "460603005A9C4085005A0000"},
		{"test results of two tests", []string{"46 06 03 00 5A 9C 40", "46 07 85 00 5A 00 00"}, ""},
	} {
		var parts [][]byte
		for _, s := range c.in {
			parts = append(parts, unhex(t, s))
		}
		got, err := joined(parts)
		if (c.want == "") != (err != nil) || !strings.EqualFold(typed(got), c.want) {
			t.Errorf("%s: %X, %v", c.name, got, err)
		}
	}
}

func FuzzParseHeader(f *testing.F) {
	for _, s := range []string{"48 6B 10 41 00 BE 3E B8 11 FA", "86F1104100B87B30103B", "80 F1 11 03 41 0D 32 05", "BUS INIT: ...OK", "BUS INIT: OK48", "SEARCHING...", "<DATA ERROR"} {
		f.Add(s, true)
	}
	f.Fuzz(func(t *testing.T, line string, sums bool) {
		var parts [][]byte
		for n := range headerBuses {
			h, err := headerBuses[n].parse(line, sums)
			if err != nil {
				continue
			}
			if len(h.data) == 0 || 2*len(h.data) > len(line) {
				t.Errorf("%q: %X", line, h.data)
			}
			parts = append(parts, h.data)
			if out, err := joined(parts); err == nil && len(out) == 0 {
				t.Errorf("%X joined to nothing", parts)
			}
		}
	})
}

// older opens a scripted adapter on one of the older lines; answer is what 01 00 brings.
func older(t *testing.T, number byte, answer string, at map[string]string, script ...step) *Adapter {
	t.Helper()
	d := &device{at: defaults(map[string]string{"ATDPN": "A" + string(number) + "\r"}), script: append([]step{{harmless, says(answer + "\r" + prompt)}}, script...)}
	for k, v := range at {
		d.at[k] = v
	}
	a, err := Open(t.Context(), attach(t, d), Options{Place: "serial:test"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	return a
}

const (
	iso9141 = "BUS INIT: ...OK\r48 6B 10 41 00 B8 7B 30 10 77\r48 6B 17 41 00 80 00 80 03 0E"
	iso4    = "BUS INIT: OK\r86 F1 10 41 00 B8 7B 30 10 3B\r86 F1 17 41 00 80 00 80 03 D2"
)

// Requests to all modules; the lines are those of the sources above.
func TestHeaderTranscripts(t *testing.T) {
	vin := "48 6B 10 49 02 01 00 00 00 57 66\r48 6B 10 49 02 02 44 58 2D 53 2C\r48 6B 10 49 02 03 49 4D 30 30 07\r48 6B 10 49 02 04 31 39 32 31 DF\r48 6B 10 49 02 05 32 33 34 35 E1\r"
	lines := strings.SplitAfter(vin, "\r")
	two := "48 6B 10 43 01 33 00 00 00 00 3A\r48 6B 17 43 00 00 00 00 00 00 0D\r48 6B 10 43 01 02 01 13 00 00 1D\r"
	for _, c := range []struct {
		name, first string
		number      byte
		line, say   string
		want        []string
	}{
		{"number", iso9141, '3', "0902", vin, []string{"18DAF110 begun", "18DAF110 490201" + fmt.Sprintf("%X", "WDX-SIM0019212345")}},
		{"codes of two modules", iso9141, '3', "03", two, []string{"18DAF110 begun", "18DAF117 begun", "18DAF110 43013300000000010201130000", "18DAF117 43000000000000"}},
		{"a line missing", iso9141, '3', "0902", lines[0] + lines[2] + lines[3] + lines[4], []string{"18DAF110 begun", "torn 18DAF110 28/0"}},
		{"erased", iso9141, '3', "04", "48 6B 10 44 07\r48 6B 17 44 0E\r", []string{"18DAF110 44", "18DAF117 44"}},
		{"refused as on J1850", iso9141, '3', "04", "48 6B 10 7F 04 00 00 00 00 22 68\r", []string{"18DAF110 7F0422"}},
		{"refused", iso4, '5', "0104", "83 F1 10 7F 01 12 16\r83 F1 17 7F 01 12 1D\r", []string{"18DAF110 7F0112", "18DAF117 7F0112"}},
		{"damaged", iso9141, '3', "010D", "48 6B 10 41 0D 32 44\r48 6B 17 41 0D 32 <DATA ERROR\r", []string{"alert: 48 6B 10 41 0D 32 44"}},
		{"nothing", iso9141, '3', "0101", "NO DATA\r", []string{"silence 18DB33F1: NO DATA"}},
		{"the line is lost", iso9141, '3', "0101", "BUS INIT: ...ERROR\r", []string{"alert: BUS INIT: ...ERROR"}},
		{"opened anew", iso9141, '3', "0100", iso9141 + "\r", []string{"18DAF110 4100B87B3010", "18DAF117 410080008003"}},
		{"too much in the middle", iso9141, '3', "0902", lines[0] + lines[1] + "BUFFER FULL\r", []string{"18DAF110 begun", "torn 18DAF110 14/0", "alert: BUFFER FULL"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				a := older(t, c.number, c.first, nil, step{c.line, says(c.say + prompt)})
				send(t, a.Link(), link.Message{Address: link.AllAtHeader(), Data: unhex(t, c.line), Wait: 200 * time.Millisecond})
				messages, errs := collect(t, a.Link(), 2*time.Second)
				var got []string
				for _, m := range messages {
					switch {
					case m.Begun > 0:
						got = append(got, m.Address.Answer.String()+" begun")
					default:
						got = append(got, text(m.Address.Answer, m.Data))
					}
					if m.Address != link.AtHeader(m.Address.Target) {
						t.Errorf("%+v", m.Address)
					}
				}
				same(t, append(got, troubles(errs)...), c.want...)
			})
		})
	}
}

// What must not go out on these lines does not: nothing of it is written.
func TestHeaderRefuses(t *testing.T) {
	all, one := link.AllAtHeader(), link.AtHeader(0x10)
	for _, c := range []struct {
		number byte
		m      link.Message
		want   error
	}{
		{'3', link.Message{Address: all, Data: unhex(t, "14FF00")}, link.ErrNotSent},
		{'3', link.Message{Address: all, Data: unhex(t, "08010000")}, link.ErrNotSent},
		{'3', link.Message{Address: one, Data: unhex(t, "0100")}, link.ErrNotSent},
		{'3', link.Message{Address: link.Functional11(), Data: unhex(t, "0100")}, link.ErrNotSent},
		{'3', link.Message{Address: at(0x7E0, 0x7E8), Data: unhex(t, "0100")}, link.ErrNotSent},
		{'3', link.Message{Address: all}, link.ErrNotSent},
		{'3', link.Message{Address: all, Data: unhex(t, "04"), Exact: unhex(t, "0104555555555555")}, link.ErrNotExact},
		{'5', link.Message{Address: one, Data: unhex(t, "1085")}, link.ErrNotSent},
		{'5', link.Message{Address: one, Data: unhex(t, "1092")}, link.ErrNotSent},
		{'5', link.Message{Address: one, Data: unhex(t, "3B01FF")}, link.ErrNotSent},
		{'5', link.Message{Address: one, Data: unhex(t, "310102")}, link.ErrNotSent},
		{'5', link.Message{Address: one, Data: unhex(t, "2701")}, link.ErrNotSent},
		{'5', link.Message{Address: one, Data: make([]byte, 8)}, link.ErrTooLong},
	} {
		synctest.Test(t, func(t *testing.T) {
			first := iso9141
			if c.number == '5' {
				first = iso4
			}
			a := older(t, c.number, first, nil)
			if err := a.Link().Send(t.Context(), c.m); !errors.Is(err, c.want) {
				t.Errorf("%c %X to %s: %v", c.number, c.m.Data, c.m.Address, err)
			}
		})
	}
}

// "Working, wait" on a serial line is waited for by monitoring, and the erase goes out once (the script has one line).
func TestHeaderPending(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := older(t, '5', iso4, map[string]string{"ATFI": "BUS INIT: OK\r"},
			step{"14FF00", says("83 F1 10 7F 14 78 8F\r" + prompt)},
			step{"ATMA", []piece{{after: 3 * time.Second, text: "83 F1 10 54 FF 00 D7\r"}}})
		send(t, a.Link(), link.Message{Address: link.AtHeader(0x10), Data: unhex(t, "14FF00"), Wait: 150 * time.Millisecond})
		same(t, received(t, a.Link(), 12*time.Second), "18DAF110 7F1478", "18DAF110 54FF00")
	})
}

// A module that does not take part in the opening is silence, told before anything is sent.
func TestHeaderNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := older(t, '5', iso4, map[string]string{"ATFI": "BUS INIT: ERROR\r"})
		err := a.Link().Send(t.Context(), link.Message{Address: link.AtHeader(0x29), Data: unhex(t, "1A97")})
		var silence *link.SilenceError
		if !errors.Is(err, link.ErrNotSent) || !errors.As(err, &silence) || silence.Address != link.AtHeader(0x29) {
			t.Errorf("%v", err)
		}
	})
}

// An adapter that leaves the checksum out shows that in the answer to 01 00.
func TestHeaderWithoutSums(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := older(t, '3', "48 6B 10 41 00 B8 7B 30 10", nil, step{"010D", says("48 6B 10 41 0D 32\r" + prompt)})
		send(t, a.Link(), link.Message{Address: link.AllAtHeader(), Data: unhex(t, "010D"), Wait: 200 * time.Millisecond})
		same(t, received(t, a.Link(), 2*time.Second), "18DAF110 410D32")
	})
}

// Where the adapter's own search finds nothing, each protocol is tried and told; the whole ends in time.
func TestSearchIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		script := []step{{harmless, says("SEARCHING...\rUNABLE TO CONNECT\r" + prompt)}}
		for range 4 {
			script = append(script, step{harmless, says("CAN ERROR\r" + prompt)})
		}
		script = append(script, step{harmless, says("BUS INIT: ERROR\r" + prompt)}, step{harmless, says("BUS INIT: ...OK\rNO DATA\r" + prompt)})
		var told []string
		d := &device{at: defaults(nil), script: script}
		a, err := Open(t.Context(), attach(t, d), Options{Place: "serial:test", Tell: func(s string) { told = append(told, s) }})
		if err != nil {
			t.Fatal(err)
		}
		defer a.Close()
		want := "The adapter looks for the car's bus by itself.|Trying 11-bit, 500 kbit/s.|Trying 29-bit, 500 kbit/s.|Trying 11-bit, 250 kbit/s.|Trying 29-bit, 250 kbit/s.|" +
			"Trying ISO 14230-4 (fast start), 10.4 kbit/s.|Trying ISO 14230-4 (slow start), 10.4 kbit/s."
		if got := strings.Join(told, "|"); got != want {
			t.Errorf("told %q", got)
		}
		if got := a.Abilities(); got.Protocol != "ISO 14230-4 (slow start), 10.4 kbit/s" || got.Exact || got.Wide || a.Everyone() != link.AllAtHeader() {
			t.Errorf("%+v", got)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		d := &device{at: defaults(nil), script: []step{{harmless, []piece{{text: "SEARCHING..."}, {after: 35 * time.Second, text: "\rUNABLE TO CONNECT\r" + prompt}}}}}
		for range len(candidates) {
			d.script = append(d.script, step{harmless, []piece{{after: 11 * time.Second, text: "BUS BUSY\r" + prompt}}})
		}
		begun := time.Now()
		_, err := Open(t.Context(), attach(t, d), Options{Place: "serial:test"})
		var open *adapter.OpenError
		if !errors.As(err, &open) || open.Step != adapter.StepBus || !strings.Contains(err.Error(), "1m40s") || time.Since(begun) > 110*time.Second {
			t.Errorf("%v after %v", err, time.Since(begun))
		}
		d.script = nil
	})
}

// onLine opens the serial device of a practice car on an older line.
func onLine(t *testing.T, name string, so simcar.SerialOptions) *Adapter {
	t.Helper()
	a, tap, err := plugIn(t, courier(t, name), so, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if frames := tap.take(); len(frames) > 0 {
		t.Errorf("frames of CAN: %q", frames)
	}
	return a
}

func TestPracticePony(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := onLine(t, "pony", simcar.SerialOptions{BitRate: 38400})
		if got := a.Abilities(); got.Protocol != "ISO 9141-2, 10.4 kbit/s" || !got.Supply || got.Exact {
			t.Errorf("%+v", got)
		}
		ask := func(request string) string {
			send(t, a.Link(), link.Message{Address: a.Everyone(), Data: unhex(t, request), Wait: 200 * time.Millisecond})
			messages, errs := collect(t, a.Link(), 3*time.Second)
			var got []string
			for _, m := range messages {
				if m.Begun == 0 {
					got = append(got, text(m.Address.Answer, m.Data))
				}
			}
			return strings.Join(append(got, troubles(errs)...), "|")
		}
		for _, c := range []struct{ request, want string }{
			{"03", "18DAF110 43011301330171042000000000|18DAF118 43071500000000"},
			{"07", "18DAF110 47030004200000|18DAF118 47000000000000"},
			{"0902", "18DAF110 490201" + fmt.Sprintf("%X", "0TNPN99S4X0000622") + "|18DAF118 490201" + fmt.Sprintf("%X", "0TNPN99S4X0000622")},
			{"0904", "18DAF110 490401" + fmt.Sprintf("%X", "TN99EN0107") + "000000000000|18DAF118 490401" + fmt.Sprintf("%X", "TN99GB0102") + "000000000000"},
			{"0906", "18DAF110 4906011B60E29D|18DAF118 49060177084A31"},
			{"0105", "18DAF110 41055A|18DAF118 410541"},
			{"013C", "silence 18DB33F1: NO DATA"},
			{"04", "18DAF110 44|18DAF118 44"},
			{"03", "18DAF110 43042000000000|18DAF118 43000000000000"}, // a fault that is there comes back after 3 s
		} {
			if got := ask(c.request); got != c.want {
				t.Errorf("%s: %q\nwant %q", c.request, got, c.want)
			}
		}
	})
}

func troubles(errs []error) (out []string) {
	for _, err := range errs {
		var (
			silence *link.SilenceError
			alert   *link.AdapterError
			torn    *link.TornError
		)
		switch {
		case errors.As(err, &silence):
			out = append(out, "silence "+silence.Address.Request.String()+": "+silence.Text)
		case errors.As(err, &torn):
			out = append(out, fmt.Sprintf("torn %s %d/%d", torn.Address.Answer, torn.Got, torn.Want))
		case errors.As(err, &alert):
			out = append(out, "alert: "+alert.Text)
		case errors.Is(err, link.ErrGone):
			out = append(out, "gone")
		default:
			out = append(out, err.Error())
		}
	}
	return out
}

func TestPracticeDrover(t *testing.T) {
	for _, impatient := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			a := onLine(t, "drover", simcar.SerialOptions{BitRate: 38400, Impatient: impatient})
			for _, c := range []struct {
				to            link.Address
				request, want string
			}{
				{a.Everyone(), "03", "18DAF110 begun|18DAF118 begun|18DAF110 43011701900000|18DAF118 43071500000000"},
				{link.AtHeader(0x10), "1802FF00", "18DAF110 5803011722" + "0190E4" + "140228"},
				{link.AtHeader(0x28), "1802FF00", "18DAF128 5802509521" + "514564"},
				{link.AtHeader(0x28), "1A97", "18DAF128 5A97" + fmt.Sprintf("%X", "BRAKES")},
				{link.AtHeader(0x28), "2102", "18DAF128 7F2131"},
				{link.AtHeader(0x10), "1A90", "18DAF110 5A90" + fmt.Sprintf("%X", "0TNDR03DX30001944")},
				{link.Physical(link.ID29(0x18DA28F1), link.ID29(0x18DAF128)), "1A97", "18DAF128 5A97" + fmt.Sprintf("%X", "BRAKES")},
				{link.AtHeader(0x28), "82", "18DAF128 C2"},
				{link.AtHeader(0x28), "3E01", "18DAF128 7E"},
				{link.AtHeader(0x28), "14FF00", "18DAF128 54"},
				{link.AtHeader(0x10), "14FF00", "18DAF110 7F1478|18DAF110 54FF00"},
				{link.AtHeader(0x10), "1802FF00", "18DAF110 5800"},
				{a.Everyone(), "0100", "18DAF110 410098180000|18DAF118 410088000000"},
				{link.Functional29(), "0100", "18DAF110 410098180000|18DAF118 410088000000"},
			} {
				send(t, a.Link(), link.Message{Address: c.to, Data: unhex(t, c.request), Wait: 150 * time.Millisecond})
				messages, errs := collect(t, a.Link(), 2*time.Second)
				var got []string
				for _, m := range messages {
					if m.Begun > 0 {
						got = append(got, m.Address.Answer.String()+" begun")
						continue
					}
					got = append(got, text(m.Address.Answer, m.Data))
				}
				if s := strings.Join(append(got, troubles(errs)...), "|"); s != c.want {
					t.Errorf("impatient %v: %s to %s: %q\nwant %q", impatient, c.request, c.to, s, c.want)
				}
			}
		})
	}
}
