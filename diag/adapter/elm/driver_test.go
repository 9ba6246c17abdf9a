package elm

import (
	"context"
	"errors"
	"io/fs"
	"net"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"readback/diag/adapter"
	"readback/diag/link"
	"readback/diag/simcar"
)

// conversation with a practice car through a real connection: opened by the driver, asked for its number, closed.
func converse(t *testing.T, place adapter.Place) adapter.Abilities {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	tap := &taps{}
	c, err := adapter.Open(ctx, []adapter.Driver{Driver()}, place, adapter.Options{Tap: tap})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	l := c.(adapter.Messages).Link()
	for _, to := range []link.Address{at(0x7E4, 0x7EC), at(0x726, 0x72E), link.Physical(link.ID29(0x18DA58F1), link.ID29(0x18DAF158))} {
		if err := l.Send(ctx, link.Message{Address: to, Data: []byte{0x22, 0xF1, 0x90}}); err != nil {
			t.Fatal(err)
		}
		m, err := l.Receive(ctx)
		if err != nil || string(m.Data) != "\x62\xF1\x90"+vin {
			t.Fatalf("%s: % X, %v", to, m.Data, err)
		}
	}
	if v, err := c.(adapter.Supply).SupplyVolts(ctx); err != nil || v != 12.6 {
		t.Errorf("supply %v, %v", v, err)
	}
	if s := tap.take(); len(s) < 12 {
		t.Errorf("frames %q", s)
	}
	if err := c.Close(); err != nil {
		t.Errorf("Close: %v", err)
	}
	if _, err := l.Receive(ctx); !errors.Is(err, link.ErrClosed) {
		t.Errorf("Receive after Close: %v", err)
	}
	return c.Abilities()
}

func TestOverTerminal(t *testing.T) {
	if runtime.GOOS != "linux" && runtime.GOOS != "darwin" {
		t.Skip("pseudo terminals are a thing of Unix")
	}
	master, path, err := simcar.OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- courier(t, "").ServeSerial(ctx, master, simcar.SerialOptions{}) }()
	for range 2 { // a second program finds the adapter as the first has left it
		a := converse(t, adapter.Place("serial:"+path))
		if a.Name != "USB serial adapter" || a.LineSpeed != 38400 {
			t.Errorf("%+v", a)
		}
	}
	stop()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// A port whose speed counts: the adapter is found at its own, its line is made faster where the check holds, and the
// next program finds it as this one did.
func TestOverTerminalSpeeds(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("other systems do not tell the speed of a pseudo terminal")
	}
	master, path, err := simcar.OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- courier(t, "").ServeSerial(ctx, master, simcar.SerialOptions{BitRate: 115200}) }()
	for range 2 {
		if a := converse(t, adapter.Place("serial:"+path)); !slices.Contains([]int{115200, 230400, 500000}, a.LineSpeed) {
			t.Errorf("%d bit/s", a.LineSpeed)
		}
	}
	stop()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

func TestOverNetwork(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	done := make(chan error)
	go func() {
		conn, err := listener.Accept()
		if err == nil {
			err = courier(t, "").ServeSerial(t.Context(), conn, simcar.SerialOptions{})
		}
		done <- err
	}()
	a := converse(t, adapter.Place("tcp:"+listener.Addr().String()))
	if a.Name != "Network adapter" || a.LineSpeed != 0 {
		t.Errorf("%+v", a)
	}
	if err := <-done; err != nil {
		t.Error(err)
	}
}

func TestOpenNothingThere(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	closed := listener.Addr().String()
	listener.Close()
	for place, want := range map[adapter.Place]error{
		adapter.Place("serial:" + filepath.Join(t.TempDir(), "none")): fs.ErrNotExist,
		adapter.Place("tcp:" + closed):                                nil,
		"serial:":                                                     nil,
		"tcp:":                                                        nil,
	} {
		var told []adapter.Rung
		_, err := Driver().Open(t.Context(), place, adapter.Options{Tell: func(r adapter.Rung) { told = append(told, r) }})
		if place != "serial:" && place != "tcp:" && (len(told) != 1 || told[0].State != adapter.RungFailed || told[0].Step != adapter.StepPort || told[0].Err == nil) {
			t.Errorf("%s: told %v", place, told)
		}
		var open *adapter.OpenError
		if !errors.As(err, &open) || open.Step != adapter.StepPort || want != nil && !errors.Is(err, want) {
			t.Errorf("%s: %v", place, err)
		}
	}
	if _, err := Driver().Open(t.Context(), "can:can0", adapter.Options{}); !errors.Is(err, adapter.ErrUnknownPlace) {
		t.Errorf("%v", err)
	}
}
