//go:build linux || darwin

package diag_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"runtime"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/slcan"
	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/simcar"
)

// TestWholeVisitLine reads, sends the erase and reads back through serial-line CAN adapters of several kinds and speeds,
// in fake time.
func TestWholeVisitLine(t *testing.T) {
	for name, o := range map[string]simcar.SLCANOptions{
		"full": {}, "time stamps": {Stamps: true}, "reports": {Reports: true, NoFlags: true}, "confirms nothing": {Mute: true},
		"1 Mbit/s": {LineRate: 1_000_000}, "115200 bit/s": {LineRate: 115_200},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				v := openVisit(t, s, "slcan:pipe", lineDriver{t: t, device: o})
				defer v.Close()
				begun := time.Now()
				lookSerial(t, v, 11, 12, 3)
				t.Logf("%d reads in %v", v.Tally().Reads, time.Since(begun).Round(time.Millisecond))
				sentOnce(t, v)
				h, ok, err := v.Health(t.Context())
				if err != nil || !ok || h.Verdict != diag.HealthAlive || h.StopSending {
					t.Errorf("%+v, %v, %v", h, ok, err)
				}
			})
		})
	}
}

// TestLookLineTerminal goes through a pseudo terminal at a speed of a real line, in real time.
func TestLookLineTerminal(t *testing.T) {
	if runtime.GOOS != "linux" && runtime.GOOS != "darwin" {
		t.Skip("pseudo terminals are a thing of Unix")
	}
	t.Parallel()
	master, path, err := simcar.OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	lineDevice(t, master, simcar.SLCANOptions{})
	s := openStore(t)
	defer s.Close()
	v := openVisit(t, s, adapter.Place("slcan:"+path), slcan.Driver())
	defer v.Close()
	lookSerial(t, v, 11, 12, 3)
	if a := v.Adapter(); a.BitRate != 500_000 || a.LineSpeed != 115200 {
		t.Errorf("%+v", a)
	}
}

// TestLinePulled pulls the adapter in the middle of a look: it is told as gone, and nothing hangs.
func TestLinePulled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		var pull func()
		v := openVisit(t, s, "slcan:pipe", lineDriver{t: t, pull: &pull})
		defer v.Close()
		time.AfterFunc(time.Second, func() { pull() })
		var failed error
		for _, err := range v.Look(t.Context(), "") {
			failed = errors.Join(failed, err)
		}
		if !errors.Is(failed, link.ErrGone) && !errors.Is(failed, bus.ErrGone) {
			t.Errorf("%v", failed)
		}
	})
}

// TestHealthOfAVisit judges what a whole visit has met, down to the device.
func TestHealthOfAVisit(t *testing.T) {
	for name, c := range map[string]struct {
		device  simcar.SLCANOptions
		verdict diag.HealthVerdict
	}{
		"alone": {simcar.SLCANOptions{Alone: true, Reports: true, NoListen: true, BusRate: 500_000}, diag.HealthAlone},
		// It stops before the controller has to leave the bus.
		"wrong rate":       {simcar.SLCANOptions{Reports: true, NoListen: true, BusRate: 250_000}, diag.HealthWrongRate},
		"wrong rate, mute": {simcar.SLCANOptions{NoListen: true, BusRate: 250_000}, diag.HealthWrongRate},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := openStore(t)
				defer s.Close()
				v := openVisit(t, s, "slcan:pipe", lineDriver{t: t, device: c.device})
				defer v.Close()
				for _, err := range v.Look(t.Context(), "") {
					if err != nil {
						break
					}
				}
				h, ok, err := v.Health(t.Context())
				if err != nil || !ok || h.Verdict != c.verdict || !h.StopSending {
					t.Errorf("%+v, %v, %v", h, ok, err)
				}
			})
		})
	}
}

// Over an adapter of messages nothing is known of the bus.
func TestHealthHidden(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "hidden:", hidden{})
		defer v.Close()
		if h, ok, err := v.Health(t.Context()); ok || err != nil {
			t.Errorf("%+v, %v", h, err)
		}
	})
}

// hidden is an adapter of messages that says nothing.
type hidden struct{ adapter.Driver }

type hiddenLink struct{ done chan struct{} }

func (hidden) Schemes() []string { return []string{"hidden"} }

func (hidden) Open(context.Context, adapter.Place, adapter.Options) (adapter.Connection, error) {
	return hiddenLink{make(chan struct{})}, nil
}

func (hiddenLink) Abilities() adapter.Abilities             { return adapter.Abilities{Name: "Hidden"} }
func (h hiddenLink) Link() link.Link                        { return h }
func (hiddenLink) Send(context.Context, link.Message) error { return nil }
func (h hiddenLink) Receive(ctx context.Context) (link.Message, error) {
	select {
	case <-h.done:
		return link.Message{}, link.ErrClosed
	case <-ctx.Done():
		return link.Message{}, ctx.Err()
	}
}

func (h hiddenLink) Close() error {
	select {
	case <-h.done:
	default:
		close(h.done)
	}
	return nil
}

// Each error of finding and opening an adapter has a sentence of its own, with the next thing to do; the sentences don't
// depend on how deep the error lies.
func TestSentencesOfAdapters(t *testing.T) {
	rights := &adapter.RightsError{Command: "sudo ip link set can0 up type can bitrate 500000", Cause: fs.ErrPermission}
	for _, c := range []struct {
		err  error
		want string
	}{
		{adapter.ErrSilent, "ignition on"}, {adapter.ErrNoRate, "pins 6 and 14"}, {adapter.ErrNoBitRate, "no wire behind it"},
		{adapter.ErrNotSilent, "500 kbit/s"}, {adapter.ErrOtherKind, "other place"}, {adapter.ErrRate, "500000"}, {rights, rights.Command},
	} {
		for _, err := range []error{c.err, fmt.Errorf("deep: %w", c.err), &adapter.OpenError{Place: "can:can0", Step: adapter.StepPort, Cause: c.err}} {
			if got := diag.Sentence(err); !strings.Contains(got, c.want) || strings.Contains(got, "went wrong") {
				t.Errorf("%v: %s", err, got)
			}
		}
	}
	for cause, want := range map[error]string{
		fmt.Errorf("%w: no headers", adapter.ErrUnfit): "can't be used",
		adapter.ErrNoSupply:                            "nothing answers there",
	} {
		err := &adapter.OpenError{Place: "serial:COM3", Step: adapter.StepAdapter, Cause: cause}
		if got := diag.Sentence(err); !strings.Contains(got, want) || !strings.Contains(got, "serial:COM3") {
			t.Error(got)
		}
	}
	rights.Then = "Then log out and in again."
	if got := diag.Sentence(rights); !strings.HasSuffix(got, rights.Command+"  "+rights.Then) {
		t.Error(got)
	}
}
