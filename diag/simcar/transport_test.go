package simcar

import (
	"testing"
	"testing/synctest"
	"time"
)

// All frames below are written by hand from ISO 15765-2; where a published example exists, it is named.

// The drive module answers as the VIN example of the ELM327 data sheet (p. 42) is cut into frames: 014, 6 + 7 + 7.
const sheetVIN = `{"vin":"1D4GP00R55B123456","modules":{"m":{"obd":{"check":"00000000","readiness":"040000"}}}}`

func TestLongAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, carOf(t, sheetVIN))
		w.say("7DF 02 09 02 00 00 00 00 00")
		w.expect(50*time.Millisecond, "7E8 10 14 49 02 01 31 44 34")
		w.say("7E0 30 00 00 00 00 00 00 00")
		w.expect(10*time.Millisecond, "7E8 21 47 50 30 30 52 35 35", "7E8 22 42 31 32 33 34 35 36")
	})
}

// Flow control on the identifier of all modules reaches nobody (common practice; ISO 15765-4 has it go to the own one).
func TestFlowControlToAllIsNone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, carOf(t, sheetVIN))
		w.say("7DF 02 09 02 00 00 00 00 00")
		w.expect(50*time.Millisecond, "7E8 10 14 49 02 01 31 44 34")
		w.say("7DF 30 00 00 00 00 00 00 00")
		w.expect(2 * time.Second)
	})
}

// N_Bs: 1000 ms without flow control end the answer; the next request is served as usual.
func TestNoFlowControl(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, carOf(t, sheetVIN))
		w.say("7E0 02 09 02")
		w.expect(999*time.Millisecond, "7E8 10 14 49 02 01 31 44 34")
		pass(10 * time.Millisecond)
		w.say("7E0 30 00 00")
		w.expect(time.Second)
		w.say("7E0 02 3E 00")
		w.expect(time.Second, "7E8 02 7E 00")
	})
}

func TestBlocksAndSeparation(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, carOf(t, `{"modules":{"m":{"padding":"AA","texts":{"F187":"ABCDEFGHIJKLMNOPQRSTUVWXYZ"}}}}`))
		w.say("7E0 03 22 F1 87 55 55 55 55")
		w.expect(10*time.Millisecond, "7E8 10 1D 62 F1 87 41 42 43")
		begun := time.Now()
		w.say("7E0 30 02 14") // two frames, 20 ms apart
		w.expect(21*time.Millisecond, "7E8 21 44 45 46 47 48 49 4A")
		w.expect(20*time.Millisecond, "7E8 22 4B 4C 4D 4E 4F 50 51")
		w.expect(500 * time.Millisecond)
		w.say("7E0 31 00 00")            // wait: another N_Bs
		w.expect(900 * time.Millisecond) // nothing yet
		w.say("7E0 31 00 00")
		w.expect(900 * time.Millisecond)
		w.say("7E0 30 00 F9") // the rest, 900 µs apart
		w.expect(time.Millisecond, "7E8 23 52 53 54 55 56 57 58")
		w.expect(time.Millisecond, "7E8 24 59 5A AA AA AA AA AA")
		if d := time.Since(begun); d > 3*time.Second {
			t.Errorf("took %v", d)
		}
	})
}

func TestSeparationTime(t *testing.T) {
	for b, want := range map[byte]time.Duration{
		0x00: 0, 0x14: 20 * time.Millisecond, 0x7F: 127 * time.Millisecond,
		0xF1: 100 * time.Microsecond, 0xF9: 900 * time.Microsecond,
		0x80: 127 * time.Millisecond, 0xF0: 127 * time.Millisecond, 0xFA: 127 * time.Millisecond,
	} {
		if got := separationTime(b); got != want {
			t.Errorf("%02X: %v, want %v", b, got, want)
		}
	}
}

// Overflow, a flow state that there isn't, and too many waits end the answer.
func TestAnswerGivenUp(t *testing.T) {
	for name, fc := range map[string][]string{
		"overflow":       {"7E0 32 00 00"},
		"unknown state":  {"7E0 35 00 00"},
		"too many waits": repeat("7E0 31 00 00", mostWaits+1),
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				w := serve(t, carOf(t, sheetVIN))
				w.say("7E0 02 09 02")
				w.expect(20*time.Millisecond, "7E8 10 14 49 02 01 31 44 34")
				w.say(fc...)
				synctest.Wait()
				w.say("7E0 30 00 00")
				w.expect(time.Second)
			})
		})
	}
}

func repeat(s string, n int) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = s
	}
	return out
}

// A new request ends the answer that still waits for flow control.
func TestNewRequestInsteadOfFlowControl(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, carOf(t, sheetVIN))
		w.say("7E0 02 09 02")
		w.expect(20*time.Millisecond, "7E8 10 14 49 02 01 31 44 34")
		w.say("7E0 02 3E 00")
		w.expect(20*time.Millisecond, "7E8 02 7E 00")
		w.say("7E0 30 00 00")
		w.expect(time.Second)
	})
}

// A request of 11 bytes: 22 with five identifiers, with flow control of block size 1 and STmin 0A.
const fiveTexts = `{"modules":{"m":{"block":1,"separation":"0A","room":16,"texts":{"F187":"A","F189":"B","F18C":"C","F191":"D","F197":"E"}}}}`

func TestLongRequest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, carOf(t, fiveTexts))
		w.say("7E0 10 0F 22 F1 87 F1 89 F1")
		w.expect(20*time.Millisecond, "7E8 30 01 0A")
		w.say("7E0 21 8C F1 91 F1 97 F1 98")
		w.expect(20*time.Millisecond, "7E8 30 01 0A")
		w.say("7E0 22 F1 99")
		w.expect(20*time.Millisecond, "7E8 10 10 62 F1 87 41 F1 89")
		w.say("7E0 30 00 00")
		w.expect(20*time.Millisecond, "7E8 21 42 F1 8C 43 F1 91 44", "7E8 22 F1 97 45")
	})
}

// What is out of order is dropped without a word; the module goes on with the next request.
func TestBrokenRequests(t *testing.T) {
	for name, frames := range map[string][]string{
		"wrong sequence number":         {"7E0 10 0B 22 F1 87 F1 89 F1", "7E0 22 8C F1 91 F1 97"},
		"consecutive frame too short":   {"7E0 10 0B 22 F1 87 F1 89 F1", "7E0 21 8C F1 91"},
		"single frame of length 0":      {"7E0 00 3E 00"},
		"single frame of length 8":      {"7E0 08 3E 00 00 00 00 00 00"},
		"single frame longer than sent": {"7E0 05 3E 00"},
		"first frame of 7 bytes":        {"7E0 10 07 22 F1 87 F1 89 F1"},
		"first frame too short":         {"7E0 10 0B 22 F1"},
		"consecutive frame alone":       {"7E0 21 8C F1 91 F1 97"},
		"flow control alone":            {"7E0 30 00 00"},
		"unknown kind of frame":         {"7E0 43 22 F1 87"},
		"empty frame":                   {"7E0 "},
		"long request to all":           {"7DF 10 0B 22 F1 87 F1 89 F1"},
		"long form of a short length":   {"7E0 10 00 00 00 00 0B 22 F1"},
		"somebody else":                 {"7E1 02 3E 00", "000007E0 02 3E 00"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				w := serve(t, carOf(t, fiveTexts))
				w.say(frames...)
				for _, f := range w.hear(time.Second) {
					if f != "7E8 30 01 0A" {
						t.Errorf("answered %s", f)
					}
				}
				w.say("7E0 02 3E 00")
				w.expect(time.Second, "7E8 02 7E 00")
			})
		})
	}
}

// N_Cr: 1000 ms without a consecutive frame end a request. A request to all modules meanwhile is served after it.
func TestRequestGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, carOf(t, fiveTexts))
		w.say("7E0 10 0B 22 F1 87 F1 89 F1", "7DF 02 3E 00")
		w.expect(999*time.Millisecond, "7E8 30 01 0A")
		w.expect(20*time.Millisecond, "7E8 02 7E 00")
		w.say("7E0 21 8C F1 91 F1 97")
		w.expect(time.Second)
		w.say("7E0 10 0B 22 F1 87 F1 89 F1", "7E0 02 3E 00")
		w.expect(time.Second, "7E8 30 01 0A", "7E8 02 7E 00")
	})
}

// A request longer than the module's room: flow status 2, overflow.
func TestRequestTooLong(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, carOf(t, fiveTexts))
		w.say("7E0 10 11 22 F1 87 F1 89 F1", "7E0 10 00 00 01 00 00 22 F1")
		w.expect(time.Second, "7E8 32 00 00", "7E8 32 00 00")
	})
}

// Two modules' long answers interleave; each is let go by its own request identifier, as in ELM329 data sheet p. 38.
func TestTwoAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, carOf(t, `{"modules":{"m":{"texts":{"F187":"ABCDEFGHIJK"}},"n":{"request":"18DA58F1","answer":"18DAF158","delay":6,
			"room":64,"mask":"FF","padding":"00","texts":{"F187":"LMNOPQRSTUV"}}}}`))
		w.say("7E0 03 22 F1 87", "18DA58F1 03 22 F1 87")
		w.expect(20*time.Millisecond, "7E8 10 0E 62 F1 87 41 42 43", "18DAF158 10 0E 62 F1 87 4C 4D 4E")
		w.say("18DA58F1 30 00 05", "7E0 30 00 04")
		w.expect(20*time.Millisecond, "7E8 21 44 45 46 47 48 49 4A", "18DAF158 21 4F 50 51 52 53 54 55", "7E8 22 4B", "18DAF158 22 56 00 00 00 00 00 00")
	})
}

// The charging module's clear: 7F 14 78 after 26 ms, 54 after 1.2 s; in between it is busy (7F xx 21), but 3E 80 is no
// trouble.
func TestPendingClear(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, load(t, ""))
		w.say("7E5 04 14 FF FF FF 55 55 55")
		w.expect(25 * time.Millisecond)
		w.expect(2*time.Millisecond, "7ED 03 7F 14 78 AA AA AA AA")
		w.say("7E5 02 3E 80 00 00 00 00 00", "7E5 03 22 F1 90")
		w.expect(100*time.Millisecond, "7ED 03 7F 22 21 AA AA AA AA")
		w.expect(1072 * time.Millisecond)
		w.expect(2*time.Millisecond, "7ED 01 54 AA AA AA AA AA AA")
	})
}

// Who answers a request to all modules: everybody on 11 bits but the brakes, and the 29-bit module on its own.
func TestAllModules(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, load(t, ""))
		w.say("7DF 02 3E 00 00 00 00 00 00")
		w.expect(60*time.Millisecond,
			"781 02 7E 00 00 00 00 00 00", "7E8 02 7E 00 AA AA AA AA AA", "738 02 7E 00 AA AA AA AA AA", "7EC 02 7E 00 AA AA AA AA AA",
			"72E 02 7E 00 55 55 55 55 55", "740 02 7E 00 AA AA AA AA AA", "7ED 02 7E 00 AA AA AA AA AA", "73F 02 7E 00 CC CC CC CC CC", "7A4 02 7E 00 FF FF FF FF FF")
		w.say("18DB33F1 02 3E 00 00 00 00 00 00")
		w.expect(60*time.Millisecond, "18DAF158 02 7E 00")
		w.say("7DF 01 04 00 00 00 00 00 00", "760 02 3E 00 00 00 00 00 00")
		w.expect(60*time.Millisecond, "7E8 01 44 AA AA AA AA AA AA", "768 02 7E 00 00 00 00 00 00")
	})
}

// Ordinary messages: each at its own interval, none while the ignition is off.
func TestOrdinaryMessages(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := load(t, "moving")
		w := serve(t, c)
		count := map[uint32]int{}
		var last string
		for begun := time.Now(); time.Since(begun) < time.Second; {
			r, err := w.Receive(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			count[r.Frame.ID]++
			if r.Frame.ID == 0x120 {
				last = text(r.Frame)
			}
		}
		for id, want := range map[uint32]int{0x120: 100, 0x1A4: 50, 0x2C0: 20, 0x3F1: 10} {
			if n := count[id]; n < want-1 || n > want+1 {
				t.Errorf("%03X: %d messages in a second, want %d", id, n, want)
			}
		}
		if last[:9] != "120 08 FC" { // 23.00 km/h = 2300 = 08FC hex
			t.Errorf("speed message %s", last)
		}
		c.Switch(false)
		pass(time.Millisecond)
		w.hear(time.Millisecond)
		w.say("7E0 02 3E 00")
		if r, err := w.Receive(timeout(t, time.Second)); err == nil {
			t.Errorf("heard %s with the ignition off", text(r.Frame))
		}
	})
}
