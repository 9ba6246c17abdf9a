package elm

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/link"
	"readback/diag/simcar"
)

// Whatever an adapter does, opening it and asking ends in time, and a change goes out at most once.
func FuzzFaultyAdapter(f *testing.F) {
	f.Add(uint16(0), uint8(0), uint8(0), uint8(3), "LV RESET", uint32(0), uint8(0))
	f.Add(uint16(97), uint8(3), uint8(5), uint8(1), "?", uint32(0xFFFF), uint8(1))
	f.Add(uint16(11), uint8(1), uint8(0), uint8(2), "7E8 \x00>\r>", uint32(0x5555), uint8(2))
	f.Add(uint16(0), uint8(0), uint8(0), uint8(1), ">>>>", uint32(1), uint8(3))
	commands := []string{"E0", "L0", "S0", "H1", "AT0", "I", "RV", "SP", "DPN", "CAF0", "V1", "CP", "SH", "FC", "CF", "CM", "CRA", "R1", "ST", "CSM", "BR", "AL", "M0", "FE"}
	f.Fuzz(func(t *testing.T, lose uint16, pieces, pause, after uint8, says string, unknown uint32, how uint8) {
		spec := map[string]any{"lose": int(lose), "pieces": int(pieces), "pause": int(pause % 20), "speed": 38400,
			"alert": map[string]any{"after": int(after), "says": strings.ToValidUTF8(says, "")}}
		var some []string
		for i, c := range commands {
			if unknown>>i&1 == 1 {
				some = append(some, c)
			}
		}
		spec[[]string{"unknown", "ignores", "hangs", "dies"}[how%4]] = some
		doc, err := json.Marshal(map[string]any{"version": 1, "base": "courier", "adapter": spec})
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "adapter.json")
		if err := os.WriteFile(path, doc, 0o600); err != nil {
			t.Fatal(err)
		}
		scenario, err := simcar.LoadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		synctest.Test(t, func(t *testing.T) {
			begun := time.Now()
			l := plugFaulty(t, simcar.New(scenario), simcar.SerialOptions{})
			a, err := Open(t.Context(), l, Options{Place: "serial:test", Speeds: speeds, SetSpeed: l.SetSpeed, Faster: faster})
			if took := time.Since(begun); took > 5*time.Minute {
				t.Errorf("opening took %v", took)
			}
			if err != nil {
				return
			}
			defer a.Close()
			asked(t, a.Link(), drive, numberOfIt...)
			erase := link.Message{Address: drive, Data: []byte{0x14, 0xFF, 0xFF, 0xFF}, Exact: []byte{4, 0x14, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55}}
			if err := a.Link().Send(t.Context(), erase); err == nil {
				collect(t, a.Link(), 15*time.Second)
			}
			asked(t, a.Link(), beyond, numberOfIt...)
			if n := l.times("14FFFFFF"); n > 1 {
				t.Errorf("the change went out %d times", n)
			}
		})
	})
}
