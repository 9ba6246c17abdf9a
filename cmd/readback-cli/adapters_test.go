package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/adapter"
)

// plugged is a driver whose adapters come and go, and can tell what they are.
type plugged struct {
	adapter.Driver
	lists [][]adapter.Found // one after the other; the last one stays
	calls int
}

func (p *plugged) Schemes() []string { return []string{"slcan"} }

func (p *plugged) Find(context.Context) ([]adapter.Found, error) {
	n := min(p.calls, len(p.lists)-1)
	p.calls++
	return p.lists[n], nil
}

func (p *plugged) Probe(_ context.Context, place adapter.Place) (adapter.Probed, error) {
	switch place {
	case "slcan:A":
		return adapter.Probed{Place: place, Version: "V1013"}, nil
	case "slcan:B":
		return adapter.Probed{Place: "serial:B"}, nil
	}
	return adapter.Probed{}, &adapter.RightsError{Command: "sudo usermod -a -G dialout", Cause: io.ErrClosedPipe}
}

var (
	portA = adapter.Found{Place: "slcan:A", Also: []adapter.Place{"serial:A"}, Name: "USB adapter", Note: "A", Ready: true}
	portB = adapter.Found{Place: "slcan:B", Also: []adapter.Place{"serial:B"}, Name: "USB adapter", Note: "B", Ready: true}
	portC = adapter.Found{Place: "slcan:C", Also: []adapter.Place{"serial:C"}, Name: "USB adapter", Note: "C", Ready: true}
	down  = adapter.Found{Place: "can:can0", Name: "CAN interface can0", Note: "down", Fix: "sudo ip link set can0 up type can bitrate 500000"}
)

// adapters runs the command on a driver until it ends, or until a time has passed.
func adapters(t *testing.T, c adaptersCmd, p *plugged, asJSON bool, ends time.Duration) (out, errs string) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	if ends > 0 {
		time.AfterFunc(ends, cancel)
	}
	var o, e bytes.Buffer
	if err := c.Run(&env{ctx: ctx, out: &o, err: &e, json: asJSON, drivers: []adapter.Driver{p}}); err != nil {
		t.Errorf("%v", err)
	}
	return o.String(), e.String()
}

func TestAdapters(t *testing.T) {
	all := [][]adapter.Found{{portA, portB, portC, down}}
	out, _ := adapters(t, adaptersCmd{}, &plugged{lists: all}, false, 0)
	for _, want := range []string{"slcan:A", "or serial:A, if it is an adapter of that kind", "to make it ready: sudo ip link set can0 up type can bitrate 500000"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	out, _ = adapters(t, adaptersCmd{Ask: true}, &plugged{lists: all}, false, 0)
	for _, want := range []string{"answers: V1013", "answers as another kind; use serial:B", "sudo usermod -a -G dialout"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	out, _ = adapters(t, adaptersCmd{Ask: true}, &plugged{lists: all}, true, 0)
	rows := document(t, out)["adapters"].([]any)
	second := rows[1].(map[string]any)
	if len(rows) != 4 || second["place"] != "slcan:B" || second["probed"].(map[string]any)["place"] != "serial:B" || rows[3].(map[string]any)["fix"] != down.Fix {
		t.Errorf("%s", out)
	}
}

// What is plugged in and pulled out while --watch goes on: marked in text, one line of JSON for every change.
func TestAdaptersWatch(t *testing.T) {
	up := down
	up.Ready, up.Note, up.Fix = true, "up", ""
	lists := [][]adapter.Found{{portA, down}, {portA, down}, {portA, portB, down}, {portB, up}}
	synctest.Test(t, func(t *testing.T) {
		out, errs := adapters(t, adaptersCmd{Watch: true}, &plugged{lists: lists}, false, time.Minute)
		var marks []string
		for line := range strings.Lines(out) {
			if f := strings.Fields(line); strings.Contains(line, ":") && strings.ContainsAny(line[:1], "+-~ ") && !strings.HasPrefix(line, "    ") {
				marks = append(marks, strings.TrimSpace(line[:1])+f[min(1, len(f)-1)])
			}
		}
		if got := strings.Join(marks, " "); !strings.HasSuffix(got, "+slcan:B -slcan:A ~can:can0") || errs != "" {
			t.Errorf("%s, from\n%s%s", got, out, errs)
		}
		out, _ = adapters(t, adaptersCmd{Watch: true}, &plugged{lists: lists}, true, time.Minute)
		d := json.NewDecoder(strings.NewReader(out))
		var n, appeared, vanished, changed int
		for ; ; n++ {
			var s struct{ Adapters, Appeared, Vanished, Changed []adapter.Found }
			if err := d.Decode(&s); err == io.EOF {
				break
			} else if err != nil {
				t.Fatal(err)
			}
			appeared += len(s.Appeared)
			vanished += len(s.Vanished)
			changed += len(s.Changed)
		}
		if n != 3 || appeared != 1 || vanished != 1 || changed != 1 {
			t.Errorf("%d documents, %d, %d, %d\n%s", n, appeared, vanished, changed, out)
		}
	})
}

func (p *plugged) Listen(_ context.Context, place adapter.Place, o adapter.ListenOptions) (adapter.Heard, error) {
	switch {
	case place == "slcan:A":
		return adapter.Heard{BitRate: 250_000, Narrow: 40, Wide: 2, Load: 0.25}, nil
	case place == "slcan:B" && o.Take:
		return adapter.Heard{}, &adapter.OpenError{Place: place, Step: adapter.StepBus, Cause: adapter.ErrNoRate}
	}
	return adapter.Heard{}, adapter.ErrNotSilent
}

// What is heard at a place, and the answer "no" where nothing should be sent.
func TestAdaptersListen(t *testing.T) {
	p := &plugged{lists: [][]adapter.Found{nil}}
	out, _ := adapters(t, adaptersCmd{Listen: "slcan:A"}, p, false, 0)
	if !strings.HasPrefix(out, "250 kbit/s, 40 frames with 11-bit and 2 with 29-bit identifiers, busy for 25 % of the time\n") || !strings.Contains(out, "\nNext: ") {
		t.Errorf("%s", out)
	}
	out, _ = adapters(t, adaptersCmd{Listen: "slcan:A"}, p, true, 0)
	if d := document(t, out); d["health"].(map[string]any)["verdict"] != "alive" || d["heard"].(map[string]any)["bitRate"] != 250_000.0 {
		t.Errorf("%s", out)
	}
	for place, want := range map[string]int{"slcan:A": exitDone, "slcan:B": exitNo, "slcan:C": exitFailed, "radio:1": exitUse} {
		var o, e bytes.Buffer
		environment := &env{ctx: t.Context(), out: &o, err: &e, drivers: []adapter.Driver{p}}
		c := adaptersCmd{Listen: place, Take: true}
		if got := environment.exit(c.Run(environment)); got != want {
			t.Errorf("%s: exit code %d, want %d; %s%s", place, got, want, o.String(), e.String())
		}
	}
}
