package obd

import (
	"context"
	"fmt"
	"strings"
)

// Monitor is one self-test of the car.
type Monitor struct {
	Key      string // stable: "misfire", "catalyst", "evap"
	Name     string // in plain words
	Complete bool
}

// Monitors is what parameter 01 (since the codes were erased) or 41 (on this trip) tells.
type Monitors struct {
	Lamp        bool // the lamp is commanded on; always false for 41
	Codes       int  // stored codes of this module; always 0 for 41
	Compression bool // compression ignition (diesel)
	Fitted      []Monitor
}

// Incomplete are the keys of the monitors that have no result yet.
func (m Monitors) Incomplete() []string {
	out := []string{}
	for _, x := range m.Fitted {
		if !x.Complete {
			out = append(out, x.Key)
		}
	}
	return out
}

type monitorName struct{ key, name string }

// Continuous monitors are in byte B: bits 0-2 fitted, bits 4-6 not complete. The others are in bytes C (fitted) and D
// (not complete), bit for bit. SAE J1979 annex B as copied in public tables; one open library has C and D in reverse
// order and calls the incomplete ones ready.
var (
	continuous = [3]monitorName{{"misfire", "misfire"}, {"fuel", "fuel system"}, {"components", "components"}}
	spark      = [8]monitorName{
		{"catalyst", "catalyst"}, {"heatedcatalyst", "heated catalyst"}, {"evap", "tank venting"}, {"secondaryair", "secondary air"},
		{"aircon", "air conditioning or particle filter"}, {"o2", "oxygen sensors"}, {"o2heater", "oxygen sensor heating"}, {"egr", "exhaust gas recirculation"},
	}
	compression = [8]monitorName{
		{"nmhc", "hydrocarbon catalyst"}, {"nox", "nitrogen oxide treatment"}, {}, {"boost", "boost pressure"},
		{}, {"exhaustsensor", "exhaust gas sensor"}, {"filter", "particle filter"}, {"egr", "exhaust gas recirculation or valve timing"},
	}
)

// DecodeMonitors reads the four data bytes of parameter 01 or 41.
func DecodeMonitors(b []byte) (Monitors, error) {
	if len(b) < 4 {
		return Monitors{}, &ShapeError{"monitors", b, "four bytes are needed"}
	}
	m := Monitors{Lamp: b[0]&0x80 != 0, Codes: int(b[0] & 0x7F), Compression: b[1]&0x08 != 0, Fitted: []Monitor{}}
	for i, n := range continuous {
		if b[1]>>i&1 != 0 {
			m.Fitted = append(m.Fitted, Monitor{n.key, n.name, b[1]>>(i+4)&1 == 0})
		}
	}
	names := spark
	if m.Compression {
		names = compression
	}
	for i, n := range names {
		if n.key != "" && b[2]>>i&1 != 0 {
			m.Fitted = append(m.Fitted, Monitor{n.key, n.name, b[3]>>i&1 == 0})
		}
	}
	return m, nil
}

// Readiness reads the monitors of each module since the codes were erased (01 01).
func (c *Client) Readiness(ctx context.Context) (Answers[Monitors], error) {
	return ask(ctx, c, func(a []byte) (Monitors, error) {
		if len(a) < 6 {
			return Monitors{}, &ShapeError{"monitors", a, "the four bytes of the state are missing"}
		}
		return DecodeMonitors(a[2:6])
	}, sidCurrent, 0x01)
}

func readMonitors(_ byte, b []byte) []Reading {
	m, err := DecodeMonitors(b)
	if err != nil {
		return nil
	}
	lamp, left := "off", "none"
	if m.Lamp {
		lamp = "on"
	}
	var open []string
	for _, x := range m.Fitted {
		if !x.Complete {
			open = append(open, x.Name)
		}
	}
	if len(open) > 0 {
		left = strings.Join(open, ", ")
	}
	return []Reading{
		{Label: "lamp", Text: lamp},
		{Label: "stored codes", Text: fmt.Sprint(m.Codes)},
		{Label: "without a result yet", Text: left},
	}
}
