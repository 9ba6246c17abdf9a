package diag_test

import (
	"strings"
	"testing"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/bus"
)

// The rows are symptoms with their causes in order and the next step, as a table of common practice has them:
//
//	bus off, error passive: wrong bit rate; high and low swapped or open; no end resistor; alone on the bus; the adapter's
//	own 120 ohm; CAN FD. Stop sending, listen only, measure, one retry after reopening
//	sends fine and nothing comes: success told without an acknowledge; some repeat for ever. Unplug the adapter
//	stays dead after bus off: it does not recover by itself. Close and open the channel
//
// and the limits of fault confinement are those of ISO 11898-1: 96 warning, 127 passive, 255 bus off.
func TestJudgeBus(t *testing.T) {
	for name, c := range map[string]struct {
		facts   diag.BusFacts
		verdict diag.HealthVerdict
		stop    bool
		first   string // the likeliest cause has these words
		next    string // so has the next step
	}{
		"bus off":              {diag.BusFacts{State: bus.StateOff, Sent: 3, Recover: "sudo ip link set can0 up"}, diag.HealthOff, true, "bit rate", "once"},
		"bus off by report":    {diag.BusFacts{State: bus.StateUnknown, Off: true}, diag.HealthOff, true, "bit rate", "Send nothing more"},
		"bus off beats all":    {diag.BusFacts{State: bus.StateOff, Heard: 5000, Load: 0.9, Lost: 3}, diag.HealthOff, true, "bit rate", "listen"},
		"down":                 {diag.BusFacts{State: bus.StateStopped}, diag.HealthDown, true, "taken it down", "Bring it up"},
		"taken down":           {diag.BusFacts{Down: true, Heard: 10}, diag.HealthDown, true, "taken it down", "Bring it up"},
		"CAN FD suspected":     {diag.BusFacts{Listened: adapter.ErrNoRate, Broken: 12}, diag.HealthUnreadable, true, "CAN FD", "pins 6 and 14"},
		"wrong rate":           {diag.BusFacts{BitRate: 250_000, Broken: 12}, diag.HealthWrongRate, true, "bit rate", "listen"},
		"wrong rate, passive":  {diag.BusFacts{State: bus.StatePassive, Broken: 12, Sent: 4}, diag.HealthWrongRate, true, "bit rate", "listen"},
		"nobody acknowledges":  {diag.BusFacts{Sent: 1, Unacknowledged: 5}, diag.HealthAlone, true, "asleep", "ignition"},
		"alone and passive":    {diag.BusFacts{State: bus.StatePassive, Sent: 1}, diag.HealthAlone, true, "asleep", "ignition"},
		"acknowledged, broken": {diag.BusFacts{Heard: 900, Broken: 10, Sent: 20}, diag.HealthDisturbed, false, "loose", "Push the plug"},
		"a few broken":         {diag.BusFacts{Heard: 5000, Broken: 10, Sent: 20}, diag.HealthAlive, false, "", "Nothing"},
		"warning":              {diag.BusFacts{State: bus.StateWarning, Heard: 5000}, diag.HealthDisturbed, false, "loose", "Push the plug"},
		"passive":              {diag.BusFacts{State: bus.StatePassive, Heard: 5000}, diag.HealthDisturbed, true, "loose", "Send nothing more"},
		"frames lost":          {diag.BusFacts{Heard: 5000, Lost: 2}, diag.HealthLosing, false, "computer", "read again"},
		"busy":                 {diag.BusFacts{Heard: 5000, Load: 0.93}, diag.HealthBusy, false, "somebody else", "Take other"},
		"alive":                {diag.BusFacts{State: bus.StateActive, Heard: 1, Sent: 1, Load: 0.3}, diag.HealthAlive, false, "", "Nothing"},
		"unanswered":           {diag.BusFacts{State: bus.StateActive, Sent: 500}, diag.HealthUnanswered, false, "acknowledges", "Unplug"},
		"asked a little":       {diag.BusFacts{State: bus.StateActive, Sent: 2}, diag.HealthQuiet, false, "waits", "ignition"},
		"quiet":                {diag.BusFacts{Listened: adapter.ErrSilent}, diag.HealthQuiet, false, "waits", "ignition"},
		"nothing known":        {diag.BusFacts{}, diag.HealthQuiet, false, "waits", "ignition"},
	} {
		t.Run(name, func(t *testing.T) {
			h := diag.JudgeBus(c.facts)
			if h.Verdict != c.verdict || h.StopSending != c.stop || h.Text == "" || h.Causes == nil {
				t.Errorf("%+v", h)
			}
			first := ""
			if len(h.Causes) > 0 {
				first = h.Causes[0]
			}
			if !strings.Contains(strings.ToLower(first), strings.ToLower(c.first)) || c.first == "" && first != "" || !strings.Contains(h.Next, c.next) {
				t.Errorf("first cause %q, next %q", first, h.Next)
			}
			if h.StopSending != (strings.Contains(h.Next, "Send nothing") || h.Verdict == diag.HealthDown) {
				t.Errorf("stop %v, but next is %q", h.StopSending, h.Next)
			}
			if want := c.facts.Recover; h.Command != want {
				t.Errorf("command %q, want %q", h.Command, want)
			}
		})
	}
}
