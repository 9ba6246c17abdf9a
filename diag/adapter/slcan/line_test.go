package slcan

import (
	"math/bits"
	"strings"
	"testing"
	"time"

	"readback/diag/bus"
)

// The first four are the examples in the comments of the Linux kernel's slcan driver; the last ones with time stamps have
// the longest line that the driver allows for.
func TestDecode(t *testing.T) {
	for _, c := range []struct {
		line, want string // as identifier#data
		remote     bool
		stamp      int
	}{
		{"t1230", "123#", false, noStamp},
		{"t4563112233", "456#112233", false, noStamp},
		{"T12ABCDEF2AA55", "12ABCDEF#AA55", false, noStamp},
		{"r1230", "123#R", true, noStamp},
		{"T1111222281122334455667788EA5F", "11112222#1122334455667788", false, 59999},
		{"t7e82cafe", "7E8#CAFE", false, noStamp}, // either case
		{"t7E800001", "7E8#", false, 1},
		{"R18DA10F14EA5F", "18DA10F1#R4", true, 59999},
	} {
		f, stamp, rest, ok := decode(c.line)
		if !ok || rest != "" || stamp != c.stamp || f.IsRemote != c.remote || f.String() != c.want {
			t.Errorf("%s: %v, stamp %d, rest %q, %v", c.line, f, stamp, rest, ok)
		}
		if c.stamp == noStamp {
			if got := encode(f); !strings.EqualFold(got, c.line+"\r") {
				t.Errorf("%s: written as %q", c.line, got)
			}
		}
	}
	for _, line := range []string{
		"", "t", "t12", "t123", "t1239", "t12x0", "t8000", "t12320", "t1232AA", "t1232AAxx", "t-120", "T123456781", "TFFFFFFFF0",
		"x1230", "123", "t123:", "t1232A A0", "t+12100",
	} {
		if f, _, _, ok := decode(line); ok {
			t.Errorf("%q is read as %v", line, f)
		}
	}
}

// The examples are those in the comments of the Linux kernel's slcan driver.
func TestReports(t *testing.T) {
	for line, want := range map[string]bus.Fault{
		"e1a": bus.FaultNoAck, "e3bcO": bus.FaultProtocol | bus.FaultOverrun, "e2fs": bus.FaultProtocol, "e1o": bus.FaultOverrun,
	} {
		if got, ok := errorReport(line); !ok || got != want {
			t.Errorf("%s: %b, %v", line, got, ok)
		}
	}
	for _, line := range []string{"e", "e0", "e1", "e2a", "e1ab", "e1x", "e9aaaaaaaaa", "s1a"} {
		if f, ok := errorReport(line); ok {
			t.Errorf("%q is read as %b", line, f)
		}
	}
	for line, want := range map[string]bus.State{
		"sb256256": bus.StateOff, "sa057033": bus.StateActive, "sw100000": bus.StateWarning, "sp000130": bus.StatePassive,
	} {
		if got, ok := stateReport(line); !ok || got != want {
			t.Errorf("%s: %v, %v", line, got, ok)
		}
	}
	for _, line := range []string{"s", "sa", "sa05703", "sa0570333", "sx057033", "sa05x033", "s6", "ea057033"} {
		if s, ok := stateReport(line); ok {
			t.Errorf("%q is read as %v", line, s)
		}
	}
}

// Bits of the answer to F: the public descriptions of the command set, from memory.
func TestFlags(t *testing.T) {
	for f, want := range map[flags]struct {
		state bus.State
		fault bus.Fault
	}{
		0x00: {bus.StateActive, 0},
		0x01: {bus.StateActive, bus.FaultOverrun},
		0x02: {bus.StateActive, 0}, // the queue for sending is full
		0x04: {bus.StateWarning, 0},
		0x08: {bus.StateActive, bus.FaultOverrun},
		0x24: {bus.StatePassive, 0},
		0x40: {bus.StateActive, 0}, // arbitration lost: another frame was more urgent
		0xA4: {bus.StatePassive, bus.FaultProtocol},
	} {
		if f.state() != want.state || f.events() != want.fault {
			t.Errorf("%02X: %v, %b", byte(f), f.state(), f.events())
		}
	}
}

// S0 to S8 are the rates of the Linux kernel's slcan driver. The register values for 100 to 500 kbit/s at 16 time quanta
// are common practice for a clock of 16 MHz: 00 1C, 01 1C, 03 1C, 04 1C; other rates get the same layout.
func TestRateCommand(t *testing.T) {
	for rate, want := range map[int]string{
		10_000: "S0", 20_000: "S1", 50_000: "S2", 100_000: "S3", 125_000: "S4", 250_000: "S5", 500_000: "S6", 800_000: "S7", 1_000_000: "S8",
		83_333: "s051C", 33_333: "s0E1C", 0: "", -1: "", 1: "", 1_000_001: "", 2_000_000: "", 1 << (bits.UintSize - 4): "", 615_384: "s0019", 470_588: "s001D",
	} {
		got, err := rateCommand(rate)
		if got != want || (err == nil) != (want != "") {
			t.Errorf("%d bit/s: %q, %v; want %q", rate, got, err, want)
		}
	}
}

// Stamps count milliseconds to 59999 and begin again; the adapter's crystal is not this computer's.
func TestClock(t *testing.T) {
	start := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	type event struct {
		stamp         int
		arrived, want time.Duration // after start
	}
	for name, events := range map[string][]event{
		"in step":          {{1000, 0, 0}, {1010, 12 * time.Millisecond, 10 * time.Millisecond}, {1030, 30 * time.Millisecond, 30 * time.Millisecond}},
		"wraps":            {{59990, 0, 0}, {5, 20 * time.Millisecond, 15 * time.Millisecond}, {25, 40 * time.Millisecond, 35 * time.Millisecond}},
		"minutes of quiet": {{59990, 0, 0}, {10, 3*time.Minute + 25*time.Millisecond, 3*time.Minute + 20*time.Millisecond}},
		"a whole minute":   {{500, 0, 0}, {500, time.Minute + 3*time.Millisecond, time.Minute}},
		"two in one":       {{500, 0, 0}, {500, time.Millisecond, 0}},
		"fast crystal":     {{0, 0, 0}, {1000, 990 * time.Millisecond, 990 * time.Millisecond}, {1010, 1010 * time.Millisecond, 1000 * time.Millisecond}},
		"far behind":       {{0, 0, 0}, {100, 5 * time.Second, 5 * time.Second}, {110, 5*time.Second + 11*time.Millisecond, 5*time.Second + 10*time.Millisecond}},
		"no stamps":        {{noStamp, 0, 0}, {noStamp, 7 * time.Millisecond, 7 * time.Millisecond}},
		"no such stamp":    {{100, 0, 0}, {65535, 9 * time.Millisecond, 9 * time.Millisecond}},
		"never backwards":  {{100, 50 * time.Millisecond, 50 * time.Millisecond}, {noStamp, 40 * time.Millisecond, 50 * time.Millisecond}},
	} {
		var c clock
		for i, e := range events {
			if got := c.time(e.stamp, start.Add(e.arrived)).Sub(start); got != e.want {
				t.Errorf("%s, event %d: %v, want %v", name, i, got, e.want)
			}
		}
	}
}

// Whatever comes on the line, every event is a valid frame or a fault, and nothing is read twice.
func FuzzLine(f *testing.F) {
	for _, s := range []string{"t1230\r", "t7E8803\rT18DA10F13023E00EA5F\r\a", "e1a\rsb256256\rF24\rz\r", "08t7E82CAFEt7E82CAFE\r", "\xFF\x00t1\n230\r"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		port := &played{data: data, end: make(chan struct{})}
		b := newBus(port)
		<-b.w.gone
		characters := 0
		for {
			r, ok := b.take()
			if !ok {
				break
			}
			if r.Fault == 0 {
				if r.Frame.Validate() != nil || r.At.IsZero() {
					t.Errorf("%q: %+v", data, r)
				}
				characters += len(encode(r.Frame)) - 1
			}
		}
		if characters > len(data) {
			t.Errorf("%q: frames of %d characters", data, characters)
		}
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
}
