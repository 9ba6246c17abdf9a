package simcar

import (
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// The change of speed (ELM327 data sheet, AT BRD): OK at the old speed, the version at the new one after 75 ms, and OK
// again if a carriage return comes in time; otherwise the prompt at the old speed.
func TestChangeOfSpeed(t *testing.T) {
	for _, c := range []struct {
		name   string
		answer string // what is typed at the new speed
		want   string
		stays  bool
	}{
		{"taken", "\r", "OK\r\r>", true},
		{"too late", "", "\r>", false},
		{"something else", "x", "\r>", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var speed atomic.Int64
				speed.Store(38400)
				con := plug(t, load(t, ""), SerialOptions{BitRate: 38400, Host: func() int { return int(speed.Load()) }})
				con.write("ATE0\r")
				con.until(">")
				con.write("ATBRD23\r") // 4 MHz / 35
				con.until("OK\r")
				speed.Store(115200)
				con.until("ELM327 v2.2\r")
				if c.answer != "" {
					con.write(c.answer)
				}
				if !c.stays {
					pass(200 * time.Microsecond)
					speed.Store(38400)
				}
				if got := con.until(">"); got != c.want {
					t.Errorf("got %q", got)
				}
				con.write("ATI\r")
				con.until("ELM327 v2.2\r")
				con.until(">")
				con.write("ATWS\r") // keeps the speed
				con.until(">")
				con.write("ATZ\r") // does not
				pass(time.Millisecond)
				speed.Store(38400)
				con.until("ELM327 v2.2\r")
			})
		})
	}
}

// Speeds that there are not, and an adapter whose line has none.
func TestChangeOfSpeedRefused(t *testing.T) {
	for _, c := range []struct {
		o    SerialOptions
		line string
	}{
		{SerialOptions{}, "ATBRD23"}, {SerialOptions{}, "ATBRT28"},
		{SerialOptions{BitRate: 38400}, "ATBRD00"}, {SerialOptions{BitRate: 38400}, "ATBRD04"}, {SerialOptions{BitRate: 38400}, "ATBRDX"},
		{SerialOptions{BitRate: 38400, Unknown: []string{"BR"}}, "ATBRD23"},
	} {
		synctest.Test(t, func(t *testing.T) {
			con := plug(t, load(t, ""), c.o)
			con.write("ATE0\r")
			con.until(">")
			con.write(c.line + "\r")
			if got := con.until(">"); got != "?\r\r>" {
				t.Errorf("%s: %q", c.line, got)
			}
		})
	}
}

// At a wrong speed nothing that can be read arrives, either way.
func TestWrongSpeed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var speed atomic.Int64
		speed.Store(9600)
		con := plug(t, load(t, ""), SerialOptions{BitRate: 38400, Host: func() int { return int(speed.Load()) }})
		con.write("ATI\r")
		pass(time.Second)
		speed.Store(38400)
		con.write("\rATI\r")
		if got := con.until("ELM327 v2.2\r"); strings.Count(got, "ELM327") != 1 {
			t.Errorf("got %q", got)
		}
	})
}

// What makes no sense in a scenario's adapter is refused with its field.
func TestAdapterSpecWrong(t *testing.T) {
	for doc, field := range map[string]string{
		`{"speed": -1}`:           "adapter",
		`{"slow": 99999}`:         "adapter",
		`{"pieces": 3}`:           "adapter.pieces",
		`{"starts": ["Q1"]}`:      "adapter.starts",
		`{"starts": ["L"]}`:       "adapter.starts",
		`{"nonesuch": true}`:      "",
		`{"alert": {"after":-1}}`: "adapter",
	} {
		_, err := read("test", []byte(`{"version": 1, "base": "courier", "adapter": `+doc+`}`))
		var e *ScenarioError
		if !errors.As(err, &e) || e.Field != field {
			t.Errorf("%s: %v", doc, err)
		}
	}
}

// Commands of a list match from their beginning, # any one character.
func TestListed(t *testing.T) {
	for command, want := range map[string]bool{"SHDA10F1": true, "SH7E0": false, "SH18DA10F1": true, "CEA": true, "CE": false, "FCSM1": true, "FC": false} {
		if got := listed([]string{"SH######", "CEA", "FCSM"}, command); got != want {
			t.Errorf("%s: %v", command, got)
		}
	}
}
