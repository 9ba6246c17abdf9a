package slcan

import (
	"context"
	"errors"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/adapter"
	"readback/diag/simcar"
)

// Listening tells the rate and what was heard, and nothing is sent meanwhile.
func TestListen(t *testing.T) {
	for name, c := range map[string]struct {
		device simcar.SLCANOptions
		talks  bool
		wide   bool
		rates  []int
		want   error
	}{
		"first rate":           {device: simcar.SLCANOptions{}, talks: true},
		"third rate":           {device: simcar.SLCANOptions{BusRate: 125_000}, talks: true, wide: true},
		"a rate of registers":  {device: simcar.SLCANOptions{BusRate: 83_333}, talks: true, rates: []int{500_000, 83_333}},
		"a rate it can't have": {device: simcar.SLCANOptions{}, talks: true, rates: []int{3_000_000, 500_000}},
		"silence":              {device: simcar.SLCANOptions{}, want: adapter.ErrSilent},
		"none of them":         {device: simcar.SLCANOptions{BusRate: 666_667}, talks: true, want: adapter.ErrNoRate},
		"none, told by lines":  {device: simcar.SLCANOptions{BusRate: 666_667, Reports: true, NoFlags: true}, talks: true, want: adapter.ErrNoRate},
		"no listening":         {device: simcar.SLCANOptions{NoListen: true}, talks: true, want: adapter.ErrNotSilent},
		"no rate at all":       {device: simcar.SLCANOptions{}, rates: []int{3_000_000}, want: adapter.ErrRate},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				line, peer, _ := device(t, c.device)
				if c.talks {
					talker(t, peer, c.wide)
				}
				s := &setup{b: newBus(line)}
				defer s.b.Close()
				rates := c.rates
				if rates == nil {
					rates = adapter.UsualRates()
				}
				h, _, err := s.listen(t.Context(), adapter.ListenOptions{Rates: rates, For: time.Second})
				if !errors.Is(err, c.want) || (err == nil) != (c.want == nil) {
					t.Fatalf("%+v, %v", h, err)
				}
				if err != nil {
					return
				}
				rate := c.device.BusRate
				if rate == 0 {
					rate = 500_000
				}
				n := h.Narrow
				if c.wide {
					n = h.Wide
				}
				// 50 frames a second of 111 or 131 bits and their stuff bits
				if h.BitRate != rate || n < 45 || n > 51 || h.Narrow*h.Wide != 0 || h.Load < 40*111/float64(rate) || h.Load > 60*160/float64(rate) || h.Lasted < time.Second {
					t.Errorf("%+v", h)
				}
				ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
				defer cancel()
				if r, err := peer.Receive(ctx); err == nil {
					t.Errorf("sent while listening: %v", r.Frame)
				}
			})
		})
	}
}

// served plays an adapter on the loopback network, for one connection after another, and returns where.
func served(t *testing.T, serve func(context.Context, net.Conn)) string {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var owned sync.WaitGroup
	owned.Go(func() {
		for {
			conn, err := ln.Accept()
			if err != nil {
				return
			}
			serve(ctx, conn)
		}
	})
	t.Cleanup(func() {
		cancel()
		ln.Close()
		owned.Wait()
	})
	return ln.Addr().String()
}

func car(t *testing.T) *simcar.Car {
	t.Helper()
	s, err := simcar.Load("")
	if err != nil {
		t.Fatal(err)
	}
	return simcar.New(s)
}

// Over the network, through the driver: probed, listened to, opened; one after the other finds the adapter as it was left.
func TestOverNetwork(t *testing.T) {
	c := car(t)
	where := served(t, func(ctx context.Context, conn net.Conn) {
		if err := c.ServeSLCAN(ctx, conn, simcar.SLCANOptions{}); err != nil {
			t.Error(err)
		}
	})
	place := adapter.Place("slcan:tcp:" + where)
	p, err := driver{}.Probe(t.Context(), place)
	if err != nil || p.Place != place || p.Version != "V1013 NRB01" || p.LineSpeed != 0 {
		t.Errorf("%+v, %v", p, err)
	}
	h, err := driver{}.Listen(t.Context(), place, adapter.ListenOptions{Rates: []int{250_000, 500_000}, For: 200 * time.Millisecond})
	if err != nil || h.BitRate != 500_000 || h.Narrow == 0 {
		t.Errorf("%+v, %v", h, err)
	}
	conn, err := driver{}.Open(t.Context(), place, adapter.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if a := conn.Abilities(); a.Name != "Network CAN adapter" || a.BitRate != 500_000 || len(a.Limits) != 1 {
		t.Errorf("%+v", a)
	}
	if r, err := conn.(adapter.Frames).Bus().Receive(t.Context()); err != nil || r.Frame.Length == 0 && r.Fault == 0 {
		t.Errorf("%+v, %v", r, err)
	}
}

// An adapter of the other kind is recognised, and its car hears nothing of it.
func TestOtherKind(t *testing.T) {
	c := car(t)
	where := served(t, func(ctx context.Context, conn net.Conn) {
		if err := c.ServeSerial(ctx, conn, simcar.SerialOptions{}); err != nil {
			t.Error(err)
		}
	})
	place := adapter.Place("slcan:tcp:" + where)
	p, err := driver{}.Probe(t.Context(), place)
	if err != nil || p.Place != adapter.Place("tcp:"+where) {
		t.Errorf("%+v, %v", p, err)
	}
	if _, err := (driver{}).Open(t.Context(), place, adapter.Options{}); !errors.Is(err, adapter.ErrOtherKind) {
		t.Errorf("%v", err)
	}
}

func TestPlaces(t *testing.T) {
	for p, want := range map[adapter.Place]target{
		"slcan:/dev/ttyACM0":                {"/dev/ttyACM0", false, 0},
		"slcan:COM4,250000":                 {"COM4", false, 250_000},
		"slcan:tcp:192.168.0.10:2000":       {"192.168.0.10:2000", true, 0},
		"slcan:tcp:192.168.0.10:2000,83333": {"192.168.0.10:2000", true, 83_333},
	} {
		if got, err := parsePlace(p); err != nil || got != want {
			t.Errorf("%s: %+v, %v", p, got, err)
		}
	}
	for p, want := range map[adapter.Place]string{
		"slcan:": "names no port", "slcan:tcp:": "names no port", "slcan:COM4,fast": "bit rate", "slcan:COM4,-1": "bit rate", "slcan:COM4,": "bit rate",
		"can:can0": "no driver", "nothing": "no driver",
	} {
		if _, err := parsePlace(p); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", p, err)
		}
	}
}
