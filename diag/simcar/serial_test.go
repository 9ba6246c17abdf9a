package simcar

import (
	"context"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// console is somebody at the serial line.
type console struct {
	t    *testing.T
	conn net.Conn
	seen string // read, but not yet taken
}

func plug(t *testing.T, c *Car, o SerialOptions) *console {
	t.Helper()
	mine, theirs := net.Pipe()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- c.ServeSerial(ctx, theirs, o) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Errorf("serve serial: %v", err)
		}
		mine.Close()
	})
	return &console{t: t, conn: mine}
}

func (c *console) write(s string) {
	c.t.Helper()
	if _, err := c.conn.Write([]byte(s)); err != nil {
		c.t.Fatal(err)
	}
}

// until reads up to and with some text, within 30 s.
func (c *console) until(end string) string {
	c.t.Helper()
	c.conn.SetReadDeadline(time.Now().Add(30 * time.Second))
	var buf [256]byte
	for {
		if i := strings.Index(c.seen, end); i >= 0 {
			out := c.seen[:i+len(end)]
			c.seen = c.seen[i+len(end):]
			return out
		}
		n, err := c.conn.Read(buf[:])
		c.seen += string(buf[:n])
		if err != nil {
			c.t.Fatalf("waiting for %q: %v after %q", end, err, c.seen)
		}
	}
}

// enter types a line and returns the lines between its echo and the prompt.
func (c *console) enter(line string) string {
	c.t.Helper()
	c.write(line + "\r")
	out := strings.TrimPrefix(c.until(">"), line+"\r")
	return strings.TrimSuffix(strings.TrimSuffix(out, "\r>"), "\r")
}

// expect types a line and checks the answer.
func (c *console) expect(line, want string) {
	c.t.Helper()
	if got := c.enter(line); got != want {
		c.t.Errorf("%s: %q, want %q", line, got, want)
	}
}

func (c *console) setUp(lines ...string) {
	c.t.Helper()
	for _, l := range lines {
		c.expect(l, "OK")
	}
}

// Published transcripts: the lines are those of the source, with the space after every byte that the device prints.
func TestSerialTranscripts(t *testing.T) {
	four := `{"modules":{"m":{"padding":"00","codes":{"P0102-00":{"status":"08","obd":true},"P0113-00":{"status":"08","obd":true},
		"P0123-00":{"status":"08","obd":true},"P0222-00":{"status":"08","obd":true}},"obd":` + obdWith("") + `}}}`
	offers := `{"modules":{"m":{"padding":"00","obd":` + obdWith(`"parameters":{"03":"00","04":"00","05":"46","06":"00","07":"00","0B":"00","0E":"00","0F":"00",
		"10":"00","11":"00","13":"00","14":"00","15":"00","1C":"00"},"live":["01","0C","0D","1F","21"]`) + `}}}`
	for _, c := range []struct {
		name, source, change string
		set                  []string
		request, want        string
	}{
		{"VIN", "ELM327 data sheet p. 42", `{"vin":"1D4GP00R55B123456","modules":{"m":{"obd":` + obdWith("") + `}}}`, nil, "0902",
			"014 \r0: 49 02 01 31 44 34 \r1: 47 50 30 30 52 35 35 \r2: 42 31 32 33 34 35 36 "},
		{"headers", "ELM327 data sheet p. 39", offers, []string{"ATH1"}, "01 00", "7E8 06 41 00 BE 3F B8 13 00 "},
		{"headers", "ELM327 data sheet p. 39", offers, []string{"ATH1"}, "01 05", "7E8 03 41 05 46 00 00 00 00 "},
		{"four codes without spaces", "transcript of a real car", four, []string{"AT S0"}, "03", "00A\r0:430401020113\r1:01230222000000"},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := plug(t, carOf(t, c.change), SerialOptions{})
				d.setUp("ATSP6")
				d.setUp(c.set...)
				d.expect(c.request, c.want)
			})
		})
	}
}

// ELM329 data sheet p. 38: two modules' calibration numbers with headers, interleaved; 31 behind the end is filler.
func TestSerialInterleaved(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := plug(t, carOf(t, `{"modules":{"m":{"padding":"31","obd":`+obdWith(`"calibration":"56028949AC"`)+`},
			"n":{"request":"7E1","answer":"7E9","functional":true,"delay":5,"room":64,"mask":"FF","padding":"31","obd":`+obdWith(`"calibration":"56028954AC"`)+`}}}`), SerialOptions{})
		d.setUp("ATSP6", "ATH1")
		lines := strings.Split(d.enter("09 04"), "\r")
		if len(lines) != 6 {
			t.Fatalf("lines %q", lines)
		}
		for id, want := range map[string]string{
			"7E8": "7E8 10 13 49 04 01 35 36 30 |7E8 21 32 38 39 34 39 41 43 |7E8 22 00 00 00 00 00 00 31 ",
			"7E9": "7E9 10 13 49 04 01 35 36 30 |7E9 21 32 38 39 35 34 41 43 |7E9 22 00 00 00 00 00 00 31 ",
		} {
			var own []string
			for _, l := range lines {
				if strings.HasPrefix(l, id) {
					own = append(own, l)
				}
			}
			if got := strings.Join(own, "|"); got != want {
				t.Errorf("%s: %q", id, got)
			}
		}
		if lines[0][:3] == lines[1][:3] {
			t.Errorf("not interleaved: %q", lines)
		}
	})
}

// Line discipline (ELM327 data sheet): echo, carriage returns, line feeds, the prompt, an empty line.
func TestSerialLines(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := plug(t, load(t, ""), SerialOptions{})
		d.write("at z\r")
		if got := d.until(">"); got != "at z\r\r\rELM327 v2.2\r\r>" {
			t.Errorf("reset: %q", got)
		}
		d.write("ATE0\r")
		if got := d.until(">"); got != "ATE0\rOK\r\r>" {
			t.Errorf("echo off: %q", got)
		}
		d.write("AT L1\r")
		if got := d.until(">"); got != "OK\r\n\r\n>" {
			t.Errorf("line feeds: %q", got)
		}
		d.write("\x00a\nt i\r")
		if got := d.until(">"); got != "ELM327 v2.2\r\n\r\n>" {
			t.Errorf("other characters: %q", got)
		}
		d.write("\r")
		if got := d.until(">"); got != "ELM327 v2.2\r\n\r\n>" {
			t.Errorf("an empty line repeats the last: %q", got)
		}
	})
}

func TestSerialCommands(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		car := load(t, "")
		d := plug(t, car, SerialOptions{Version: "ELM327 v1.4b", Unknown: []string{"CEA", "FCSM2"}})
		for _, s := range [][2]string{
			{"ATI", "ELM327 v1.4b"}, {"AT@1", "Readback practice adapter"}, {"ATRV", "12.6V"}, {"ATIGN", "ON"},
			{"ATDP", "AUTO"}, {"ATDPN", "A0"}, {"ATSP6", "OK"}, {"ATDP", "ISO 15765-4 (CAN 11/500)"}, {"ATDPN", "6"},
			{"ATSPA7", "OK"}, {"ATDP", "AUTO, ISO 15765-4 (CAN 29/500)"}, {"ATDPN", "A7"}, {"ATTP 9", "OK"}, {"ATDPN", "9"},
			{"ATTPB", "OK"}, {"ATPB E0 01", "OK"}, {"ATDP", "USER1 (CAN 11/500)"}, {"ATPB6002", "OK"}, {"ATDP", "USER1 (CAN 29/250)"},
			{"ATSPD", "?"}, {"ATSP", "?"}, {"ATSPX6", "?"}, {"ATSH7E", "?"}, {"ATSH7E0", "OK"}, {"ATSHDA10F1", "OK"}, {"ATSH18DA10F1", "OK"},
			{"ATSHFFFFFFFF", "?"}, {"ATCP18", "OK"}, {"ATCRA7E8", "OK"}, {"ATCRA7XX", "OK"}, {"ATCRA", "OK"}, {"ATCRA7E", "?"},
			{"ATCF7E8", "OK"}, {"ATCM7F8", "OK"}, {"ATCF800", "?"}, {"ATST32", "OK"}, {"ATST123", "?"}, {"ATAT2", "OK"}, {"ATAT3", "?"},
			{"ATFCSM1", "?"}, {"ATFCSH7E0", "OK"}, {"ATFCSM1", "?"}, {"ATFCSD300000", "OK"}, {"ATFCSM1", "OK"}, {"ATFCSM0", "OK"}, {"ATFCSM2", "?"},
			{"ATFCSD", "?"}, {"ATFCSD300", "?"}, {"ATCAF0", "OK"}, {"ATCFC1", "OK"}, {"ATCSM0", "OK"}, {"ATAL", "OK"}, {"ATNL", "OK"}, {"ATM0", "OK"},
			{"ATPPFFOFF", "OK"}, {"ATCEA", "?"}, {"ATCTM5", "OK"}, {"ATE2", "?"}, {"ATQQ", "?"}, {"AT", "?"}, {"XYZ", "?"}, {"ATD", "OK"}, {"ATDPN", "B"},
			{"112233445566778899", "?"}, {"1", "?"},
		} {
			d.expect(s[0], s[1])
		}
		car.SetSupply(11.84)
		d.expect("ATRV", "11.8V")
	})
}

// The first request of an automatic protocol searches (data sheet p. 88, 89).
func TestSerialSearch(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		car := load(t, "")
		d := plug(t, car, SerialOptions{})
		d.expect("01 0D", "SEARCHING...\r41 0D 00 ")
		d.expect("ATDPN", "A6")
		d.expect("01 0D", "41 0D 00 ")
		car.Switch(false)
		d.expect("01 0D", "CAN ERROR")
		d.setUp("ATPC")
		d.expect("01 0D", "SEARCHING...\rUNABLE TO CONNECT")
		car.Switch(true)
		for protocol, want := range map[string]string{"6": "41 0D 00 ", "7": "NO DATA", "8": "CAN ERROR", "9": "CAN ERROR", "A": "CAN ERROR",
			"1": "NO DATA", "3": "BUS INIT: ...ERROR", "5": "BUS INIT: ERROR"} {
			d.setUp("ATSP" + protocol)
			d.expect("01 0D", want)
		}
	})
}

// Receive filters: by themselves they follow the header; CRA, or CF with CM, open other identifiers.
func TestSerialFilters(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := plug(t, load(t, ""), SerialOptions{})
		d.setUp("ATSP6", "ATH1", "ATAT0", "ATSH7E4")
		d.expect("3E00", "7EC 02 7E 00 AA AA AA AA AA ")
		d.setUp("ATSH726")
		d.expect("3E00", "NO DATA")
		d.setUp("ATCRA72E")
		d.expect("3E00", "72E 02 7E 00 55 55 55 55 55 ")
		d.setUp("ATCRA", "ATCF700", "ATCM700")
		d.expect("3E00 1", "72E 02 7E 00 55 55 55 55 55 ")
		d.setUp("ATSH7DF")
		if got := strings.Count(d.enter("3E00"), "\r") + 1; got != 9 {
			t.Errorf("%d modules answer all, want 9", got)
		}
		d.setUp("ATAR", "ATSP7", "ATSHDA58F1")
		d.expect("3E00", "18 DA F1 58 02 7E 00 ")
		d.setUp("ATS0", "ATD1")
		d.expect("3E00", "18DAF1583027E00")
		d.setUp("ATCP10")
		d.expect("3E00", "NO DATA")
	})
}

// Flow control: by itself for 7E8 to 7EF and 18DAF1xx, by FC SH, SD and SM for the rest, not at all with CFC0.
func TestSerialFlowControl(t *testing.T) {
	vin := "014 \r0: 62 F1 90 30 54 4E \r1: 43 45 32 33 45 33 50 \r2: 30 30 30 34 32 31 37 "
	synctest.Test(t, func(t *testing.T) {
		d := plug(t, load(t, ""), SerialOptions{})
		d.setUp("ATSP6", "ATSH7E4", "ATAT0", "ATST19")
		d.expect("22F190", vin)
		d.setUp("ATCFC0")
		d.expect("22F190", "014 \r0: 62 F1 90 30 54 4E ")
		d.setUp("ATCFC1", "ATSH726", "ATCRA72E")
		d.expect("22F190", "014 \r0: 62 F1 90 30 54 4E ")
		d.setUp("ATFCSH726", "ATFCSD30000A", "ATFCSM1")
		d.expect("22F190", vin)
		d.setUp("ATSH7E4", "ATCRA7EC", "ATFCSM2")
		d.expect("22F190", vin)
		d.setUp("ATAR", "ATFCSM0", "ATSP7", "ATSHDA58F1")
		d.expect("22F190", vin)
	})
}

// Without formatting a line is the frame itself: filled up with 00, or with V1 as long as typed.
func TestSerialExactFrames(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		car := load(t, "")
		d := plug(t, car, SerialOptions{})
		d.setUp("ATSP6", "ATSH7E5", "ATCAF0", "ATH1", "ATSTFF")
		d.expect("0414FFFFFF555555", "7ED 03 7F 14 78 AA AA AA AA \r7ED 01 54 AA AA AA AA AA AA ")
		d.expect("7F01", "NO DATA")
		for line, want := range map[string]string{"023E00": "7E5 02 3E 00 00 00 00 00 00", "7F 14": "7E5 7F 14 00 00 00 00 00 00"} {
			if f, fits := (&settings{header: ptr(0x7E5), protocol: 6}).frame(unhex(line)); !fits || text(f) != want {
				t.Errorf("V0 %s: %s", line, text(f))
			}
		}
		f, _ := (&settings{header: ptr(0x7E5), protocol: 6, variable: true}).frame(unhex("7F 14"))
		if text(f) != "7E5 7F 14" {
			t.Errorf("V1: %s", text(f))
		}
	})
}

func ptr(v uint32) *uint32 { return &v }

// The wait is ST after each answer; a 7F xx 78 is waited on for longer, unless the device is an impatient one.
func TestSerialWaiting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		car := load(t, "")
		d := plug(t, car, SerialOptions{})
		d.setUp("ATSP6", "ATAT0", "ATSH7E5", "ATST19")
		begun := time.Now()
		d.expect("3E00", "7E 00 ")
		if took := time.Since(begun); took < 126*time.Millisecond || took > 127*time.Millisecond {
			t.Errorf("took %v, want 26 ms and ST of 100 ms", took)
		}
		begun = time.Now()
		d.expect("3E00 1", "7E 00 ")
		if took := time.Since(begun); took > 27*time.Millisecond {
			t.Errorf("took %v for the one answer asked for", took)
		}
		begun = time.Now()
		d.expect("14FFFFFF", "7F 14 78 \r54 ")
		if took := time.Since(begun); took > 1400*time.Millisecond {
			t.Errorf("took %v", took)
		}
		d.setUp("ATAT1", "ATSTFF")
		d.enter("3E00")
		begun = time.Now()
		d.expect("3E00", "7E 00 ")
		if took := time.Since(begun); took > 200*time.Millisecond {
			t.Errorf("adaptive timing took %v", took)
		}
		d.setUp("ATR0")
		begun = time.Now()
		d.expect("3E00", "")
		if took := time.Since(begun); took > time.Millisecond {
			t.Errorf("R0 took %v", took)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		d := plug(t, load(t, ""), SerialOptions{Impatient: true})
		d.setUp("ATSP6", "ATAT0", "ATSH7E5")
		d.expect("14FFFFFF", "7F 14 78 ")
		pass(2 * time.Second) // it is still at work
		d.setUp("ATSTFF", "ATCTM5")
		d.expect("14FFFFFF", "7F 14 78 \r54 ")
	})
}

// A character while it works stops it (data sheet p. 88).
func TestSerialStopped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := plug(t, load(t, ""), SerialOptions{})
		d.setUp("ATSP6", "ATSH7E5", "ATE0")
		d.write("3E00\r")
		pass(10 * time.Millisecond)
		d.write("x")
		if got := d.until(">"); got != "STOPPED\r\r>" {
			t.Errorf("%q", got)
		}
		pass(50 * time.Millisecond) // the module answers all the same
		d.expect("3E00", "7E 00 ")
	})
}

// BUFFER FULL: a slow line can't show all that is on the bus (data sheet p. 87).
func TestSerialBufferFull(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := plug(t, load(t, ""), SerialOptions{BitRate: 9600})
		d.setUp("ATSP6", "ATH1", "ATCAF0", "ATE0")
		begun := time.Now()
		d.write("ATMA\r")
		got := d.until(">")
		if !strings.HasSuffix(got, "BUFFER FULL\r\r>") {
			t.Errorf("ends in %q", got[max(0, len(got)-40):])
		}
		// 512 bytes and more at 960 bytes/s
		if took := time.Since(begun); took < 512*time.Second/960 || took > 2*time.Second {
			t.Errorf("took %v", took)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		d := plug(t, load(t, ""), SerialOptions{BitRate: 115200})
		d.setUp("ATSP6", "ATH1", "ATCAF0", "ATE0", "ATCRA3F1")
		d.write("ATMA\r")
		for range 20 {
			if got := d.until("\r"); got != "3F1 00 A0 F6 2F \r" {
				t.Fatalf("%q", got)
			}
		}
		d.write(" ")
		if got := d.until(">"); !strings.HasSuffix(got, "STOPPED\r\r>") {
			t.Errorf("%q", got)
		}
	})
}

// What the Linux kernel's can327 driver sends when its interface goes up and when it sends a frame, line by line as
// observed; it waits for the prompt after each, wants a space after every byte, and no line feed at all.
func TestSerialKernelDriver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := plug(t, load(t, ""), SerialOptions{})
		wake := func() {
			d.write("y")
			for d.until1() != 'y' { // it was monitoring: the prompt comes, and it tries again
				d.write("y")
			}
			d.write("\r")
			d.until(">")
		}
		wake()
		for _, line := range []string{"AT WS", "AT PP FF OFF", "AT M0", "AT AL", "AT BI", "AT CAF0", "AT CFC0", "AT CF 000", "AT CM 000", "AT E1", "AT H1",
			"AT L0", "AT SH 7DF", "AT ST FF", "AT AT0", "AT D1", "AT S1", "AT TP B", "ATCSM0", "ATR1", "ATPC", "ATPBE001"} {
			want := "OK"
			if line == "AT WS" {
				want = "\r\rELM327 v2.2"
			}
			d.expect(line, want)
		}
		d.write("ATMA\r")
		d.until("ATMA\r")
		for range 50 {
			line := d.until("\r")
			switch line[:6] {
			case "120 8 ", "1A4 8 ", "2C0 6 ", "3F1 4 ":
			default:
				t.Fatalf("monitoring shows %q", line)
			}
			if !strings.HasSuffix(line, " \r") || strings.Contains(line, "\n") {
				t.Fatalf("line %q", line)
			}
		}
		wake()
		d.expect("ATSH7E0", "OK")
		d.write("023E000000000000\r")
		d.until("7E8 8 02 7E 00 AA AA AA AA AA \r")
		wake()
		for _, line := range []string{"ATPC", "ATPB6001", "ATCP18", "ATSHDA58F1"} {
			d.expect(line, "OK")
		}
		d.write("023E00\r")
		d.until("18 DA F1 58 3 02 7E 00 \r")
	})
}

// until1 reads one 'y' or prompt.
func (c *console) until1() byte {
	for {
		i := strings.IndexAny(c.seen, "y>")
		if i >= 0 {
			b := c.seen[i]
			c.seen = c.seen[i+1:]
			return b
		}
		var buf [256]byte
		n, err := c.conn.Read(buf[:])
		if err != nil {
			c.t.Fatal(err)
		}
		c.seen += string(buf[:n])
	}
}
