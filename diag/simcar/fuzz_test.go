package simcar

import (
	"io"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"
)

// Whatever is asked, a module answers with its own service or a refusal of it, or not at all.
func FuzzRequest(f *testing.F) {
	for _, s := range []string{"", "00", "10 03", "14 FF FF FF", "19 02 FF", "19 04 1D 5A 13 FF", "19", "22 F1 90 F1", "3E 80", "01 00 20 40 60 80 A0", "02 02 00 42", "09 02", "7F 14 78", "06 00 20", "06 01", "22 F4 05 F6 01 F8 08", "19 05 FF", "19 08 FF FF", "19 0B", "19 10 1D 5A 13 FF", "19 18 C2 93 00 FF 15", "14 FF FF FF 15", "24 DD 01"} {
		f.Add(unhex(s), false)
	}
	f.Fuzz(func(t *testing.T, req []byte, functional bool) {
		for _, name := range []string{Default, "runner", "runner-uds"} {
			askEverybody(t, load(t, name), req, functional)
		}
	})
}

func askEverybody(t *testing.T, c *Car, req []byte, functional bool) {
	for _, m := range c.modules {
		for _, r := range c.handle(m, req, functional) {
			switch {
			case len(r.data) == 0:
				t.Fatalf("%s: % X: an empty answer", m.name, req)
			case r.data[0] == 0x7F && (len(r.data) != 3 || r.data[1] != req[0]):
				t.Fatalf("%s: % X: refusal % X", m.name, req, r.data)
			case r.data[0] != 0x7F && r.data[0] != req[0]|0x40:
				t.Fatalf("%s: % X: answer % X", m.name, req, r.data)
			}
		}
	}
}

// Whatever frames come, a module goes on and answers the next request. The input is cut into frames: a byte with the
// length, and the data.
func FuzzFrames(f *testing.F) {
	f.Add(unhex("08 10 0B 22 F1 87 F1 89 F1 03 30 00 00 06 21 8C F1 91 F1 97"))
	f.Add(unhex("03 02 09 02 03 31 00 00 03 35 FF FF 01 10 00"))
	f.Fuzz(func(t *testing.T, input []byte) {
		synctest.Test(t, func(t *testing.T) {
			w := serve(t, carOf(t, fiveTexts))
			for len(input) > 0 {
				fr := can.Frame{ID: 0x7E0 - uint32(input[0]>>7)} // 7E0 or 7DF
				fr.Length = min(input[0]&0x7F, 8)
				n := copy(fr.Data[:fr.Length], input[1:])
				input = input[1+n:]
				if err := w.Send(t.Context(), fr); err != nil {
					t.Fatal(err)
				}
				w.hear(time.Millisecond)
			}
			w.hear(30 * time.Second)
			w.say("7E0 02 3E 00")
			w.expect(time.Second, "7E8 02 7E 00")
		})
	})
}

// Whatever is typed, the device comes back to its prompt.
func FuzzSerial(f *testing.F) {
	for _, s := range []string{"ATZ", "ATSP6\r0100", "ATPB00FF\rATSPB\r01", "ATCRAXXXXXXXX\rATMA\rx", "AT FC SD 30\rATFCSM2\r22F190", "\r\r\r", "ATSHFFFFFF\rATSP7\r00", "0100F", "ATPB0100",
		"ATSP5\rATSH8228F1\rATFI\r1802FF00", "ATSP0\r0902\rATMA\rx", "ATSP5\r0100\r82\rATPC\rATIIA10\rATSI", "ATSH1\rATSP5\r01"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, typed string) {
		synctest.Test(t, func(t *testing.T) {
			name := ""
			if len(typed)%2 == 1 {
				name = "drover"
			}
			d := plug(t, load(t, name), SerialOptions{})
			go io.WriteString(d.conn, typed+"\r\rx\rATE0\rATL0\rATI\r")
			d.conn.SetReadDeadline(time.Now().Add(5 * time.Second))
			all, _ := io.ReadAll(d.conn)
			if len(all) == 0 {
				t.Error("silent")
			}
			d.seen = ""
			d.write("x\r")
			d.until(">")
		})
	})
}

// Whatever a scenario's document says, it is refused in words or makes a car that answers.
func FuzzScenario(f *testing.F) {
	for _, name := range []string{"courier", "runner", "drover", "adapter-slow"} {
		raw, err := embedded(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(raw)
	}
	for _, s := range []string{"", "{", "null", "[]", `{"version": 1}`, `{"version": 1, "base": "courier", "modules": {"drive": null}}`,
		`{"version": 1, "base": "courier", "modules": {"charging": {"codes": {"P1D5A-13": {"every": 1, "step": 1}}}}}`,
		`{"version": 1, "base": "runner", "speed": 255, "engine": {"idle": 1, "coolant": -40, "warm": 215}}`,
		`{"version": 1, "base": "courier", "traffic": [{"id": "123", "every": 1, "data": "00"}]}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		s, err := read("fuzz", raw)
		if err != nil {
			if err.Error() == "" {
				t.Error("refused without a word")
			}
			return
		}
		synctest.Test(t, func(t *testing.T) {
			c := New(s)
			for range 3 {
				for _, req := range []string{"3E 00", "19 02 FF", "14 FF FF FF", "22 F1 90", "01 00", "01 0C", "09 02"} {
					for _, m := range c.modules {
						c.handle(m, unhex(req), true)
					}
				}
				<-time.After(time.Hour)
				c.Switch(!c.On())
			}
		})
	})
}
