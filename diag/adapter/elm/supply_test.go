package elm

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/link"
	"readback/diag/simcar"
)

// The supply is measured while nothing else is said, every 5 s, and the owner's meter corrects it.
func TestSupplyWatched(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, _ := plugInCar(t, simcar.SerialOptions{})
		begun := time.Now()
		collect(t, a.Link(), time.Minute)
		got := a.SupplyReadings()
		if len(got) != 13 { // the first when it was opened
			t.Fatalf("%d readings in %v", len(got), time.Since(begun))
		}
		for i, r := range got {
			if r.Volts != 12.6 || i > 0 && r.At.Sub(got[i-1].At) < supplyEvery {
				t.Errorf("reading %d: %v", i, r)
			}
		}
		a.SetSupplyOffset(-0.25)
		if v, err := a.SupplyVolts(t.Context()); err != nil || v != 12.35 {
			t.Errorf("%v, %v", v, err)
		}
		if got := a.SupplyReadings(); len(got) != 14 || got[0].Volts != 12.35 {
			t.Errorf("%d readings, the first %v", len(got), got[0])
		}
	})
}

// Only the newest readings are kept.
func TestSupplyRing(t *testing.T) {
	var l supplyLog
	begun := time.Unix(0, 0)
	for i := range supplyKept + 10 {
		l.take(float64(i), begun.Add(time.Duration(i)*supplyEvery))
	}
	got := l.readings()
	if len(got) != supplyKept || got[0].Volts != 10 || got[len(got)-1].Volts != supplyKept+9 {
		t.Errorf("%d readings from %v to %v", len(got), got[0], got[len(got)-1])
	}
}

// Between a request and its answer nothing is measured, however long the module works.
func TestSupplyNotWhileAsking(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const working = "7EC 03 7F 22 78\r"
		d := &device{script: []step{{"0322F19055555555", []piece{
			{text: working}, {after: 4 * time.Second, text: working}, {after: 4 * time.Second, text: "7EC 04 62 F1 90 01\r" + prompt}}}}}
		a, _ := openDevice(t, d)
		send(t, a.Link(), link.Message{Address: drive, Data: numberOfIt})
		collect(t, a.Link(), 8*time.Second)
		if lines := d.heard(); slices.Contains(lines, "ATRV") {
			t.Errorf("lines %q", lines)
		}
		collect(t, a.Link(), 9*time.Second)
		if lines := d.heard(); !slices.Contains(lines, "ATRV") {
			t.Errorf("lines %q", lines)
		}
	})
}

// The port vanishes in the middle of a change and comes back: the change is told as gone, a new Open works, and nothing of
// the change is sent by it.
func TestFaultyPortComesBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		erase := link.Message{Address: drive, Data: []byte{0x14, 0xFF, 0xFF, 0xFF}, Exact: []byte{4, 0x14, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55}}
		d := &device{script: []step{{"0414FFFFFF555555", []piece{{text: "7EC 03 7F 14 78\r"}, {after: time.Second, hang: true}}}}}
		a, _ := openDevice(t, d)
		send(t, a.Link(), erase)
		got, errs := collect(t, a.Link(), 10*time.Second)
		if len(got) != 1 || len(errs) != 1 || !errors.Is(errs[0], link.ErrGone) {
			t.Fatalf("%v, %v", got, errs)
		}
		if err := a.Link().Send(t.Context(), erase); !errors.Is(err, link.ErrGone) {
			t.Errorf("send afterwards: %v", err)
		}
		again := &device{}
		b, _ := openDevice(t, again)
		collect(t, b.Link(), time.Minute)
		for _, line := range again.heard() {
			if !strings.HasPrefix(line, "AT") {
				t.Errorf("line %q", line)
			}
		}
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
}

// Whatever interrupts a change, its line is written once, and the next request finds the adapter set up.
func TestFaultyChangeOnce(t *testing.T) {
	for _, say := range []string{"LV RESET\r", "ERR94\r", "BUFFER FULL\r", "STOPPED\r", "!ACT ALERT\r", "CAN ERROR\r", "\r\rELM327 v1.5\r", "7EC 01 5", "?\r"} {
		t.Run(strings.TrimSpace(say), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := &device{script: []step{
					{"0414FFFFFF555555", says(say + prompt)},
				}}
				a, _ := openDevice(t, d)
				erase := link.Message{Address: drive, Data: []byte{0x14, 0xFF, 0xFF, 0xFF}, Exact: []byte{4, 0x14, 0xFF, 0xFF, 0xFF, 0x55, 0x55, 0x55}}
				send(t, a.Link(), erase)
				got, errs := collect(t, a.Link(), time.Minute)
				var alert *link.AdapterError
				if len(got) > 0 || len(errs) == 0 || !errors.As(errs[0], &alert) {
					t.Errorf("%v, %v", got, errs)
				}
				if n := len(slices.DeleteFunc(d.heard(), func(l string) bool { return strings.HasPrefix(l, "AT") })); n != 1 {
					t.Errorf("%d lines that are no settings", n)
				}
			})
		})
	}
}
