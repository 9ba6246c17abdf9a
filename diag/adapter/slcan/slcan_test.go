package slcan

import (
	"context"
	"errors"
	"net"
	"os"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/bus/bustest"
	"readback/diag/simcar"
)

// device plays an adapter on a bus in memory and returns its serial line and the bus's other end.
func device(t testing.TB, o simcar.SLCANOptions) (line net.Conn, peer bus.Bus, pull func()) {
	t.Helper()
	mine, theirs := net.Pipe()
	its, peer := bus.Pair()
	ctx, cancel := context.WithCancel(context.Background())
	var owned sync.WaitGroup
	owned.Go(func() { simcar.PlaySLCAN(ctx, theirs, its, o) })
	pull = func() {
		cancel()
		owned.Wait()
	}
	t.Cleanup(func() {
		pull()
		peer.Close()
	})
	return mine, peer, pull
}

func open(t testing.TB, o simcar.SLCANOptions, mine Options) (*connection, bus.Bus) {
	t.Helper()
	line, peer, _ := device(t, o)
	c, err := Open(context.Background(), line, mine)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c.(*connection), peer
}

func TestConform(t *testing.T) {
	for name, o := range map[string]simcar.SLCANOptions{
		"full": {}, "with time stamps": {Stamps: true}, "slow line": {LineRate: 1_000_000, Buffer: 1 << 16},
	} {
		t.Run(name, func(t *testing.T) {
			bustest.Conform(t, func(t testing.TB) (under, peer bus.Bus) {
				c, peer := open(t, o, Options{BitRate: 500_000})
				return c.Bus(), peer
			})
		})
	}
}

func TestConformGone(t *testing.T) {
	bustest.ConformGone(t, func(t testing.TB) (bus.Bus, func()) {
		line, _, pull := device(t, simcar.SLCANOptions{})
		c, err := Open(context.Background(), line, Options{BitRate: 500_000})
		if err != nil {
			t.Fatal(err)
		}
		return c.Bus(), pull
	})
}

// terminal opens an adapter over a pseudo terminal, which the driver takes for a serial port.
func terminal(t testing.TB) (under, peer bus.Bus, pull func()) {
	t.Helper()
	master, path, err := simcar.OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	its, peer := bus.Pair()
	ctx, cancel := context.WithCancel(context.Background())
	var owned sync.WaitGroup
	owned.Go(func() { simcar.PlaySLCAN(ctx, master, its, simcar.SLCANOptions{}) })
	pull = func() {
		cancel()
		owned.Wait()
	}
	t.Cleanup(pull)
	c, err := Driver().Open(ctx, adapter.Place("slcan:"+path+",500000"), adapter.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if a := c.Abilities(); a.LineSpeed != 115200 || a.Name != "USB CAN adapter" {
		t.Errorf("%+v", a)
	}
	return c.(adapter.Frames).Bus(), peer, pull
}

func TestConformTerminal(t *testing.T) {
	if runtime.GOOS != "linux" && runtime.GOOS != "darwin" {
		t.Skip("pseudo terminals are a thing of Unix")
	}
	bustest.Conform(t, func(t testing.TB) (under, peer bus.Bus) {
		under, peer, _ = terminal(t)
		return under, peer
	})
	bustest.ConformGone(t, func(t testing.TB) (bus.Bus, func()) {
		under, _, pull := terminal(t)
		return under, pull
	})
}

// What the adapter says of itself, and what is said of it when it leaves something out.
func TestAbilities(t *testing.T) {
	const (
		supply    = "It can't measure the 12 V supply."
		unheard   = "Nobody was heard on the bus, so 500 kbit/s was taken unchecked."
		unsilent  = "It can't listen without taking part."
		unconfirm = "It does not say whether it took a command or a frame."
		quiet     = "It is set to listen only: nothing can be sent."
	)
	for name, c := range map[string]struct {
		device  simcar.SLCANOptions
		mine    Options
		listens bool
		rate    int
		limits  []string
	}{
		"full":          {simcar.SLCANOptions{}, Options{BitRate: 250_000}, true, 250_000, []string{supply}},
		"silent bus":    {simcar.SLCANOptions{}, Options{}, true, 500_000, []string{supply, unheard}},
		"no L":          {simcar.SLCANOptions{NoListen: true}, Options{}, false, 500_000, []string{supply, unheard, unsilent}},
		"mute":          {simcar.SLCANOptions{Mute: true}, Options{BitRate: 125_000}, false, 125_000, []string{supply, unsilent, unconfirm}},
		"mute, no rate": {simcar.SLCANOptions{Mute: true}, Options{}, false, 500_000, []string{supply, unheard, unsilent, unconfirm}},
		"only listens":  {simcar.SLCANOptions{}, Options{BitRate: 500_000, ListenOnly: true}, true, 500_000, []string{supply, quiet}},
		"unusual speed": {simcar.SLCANOptions{}, Options{BitRate: 83_333}, true, 83_333, []string{supply}},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				conn, _ := open(t, c.device, c.mine)
				a := conn.Abilities()
				if !a.Raw || !a.Exact || !a.Wide || a.Supply || a.Listens != c.listens || a.BitRate != c.rate || a.Version != "V1013 NRB01" {
					t.Errorf("%+v", a)
				}
				if got, want := a.Limits, c.limits; len(got) != len(want) {
					t.Fatalf("limits %q, want %q", got, want)
				} else {
					for i := range got {
						if got[i] != want[i] {
							t.Errorf("limit %q, want %q", got[i], want[i])
						}
					}
				}
				if c.mine.ListenOnly {
					if err := conn.Bus().Send(t.Context(), can.Frame{ID: 1}); !errors.Is(err, bus.ErrOff) {
						t.Errorf("Send: %v, want ErrOff", err)
					}
				}
			})
		})
	}
}

// talker sends a frame every 20 ms until the test ends.
func talker(t *testing.T, peer bus.Bus, wide bool) {
	ctx, cancel := context.WithCancel(context.Background())
	var owned sync.WaitGroup
	owned.Go(func() {
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
			}
			if peer.Send(ctx, can.Frame{ID: 0x123, IsExtended: wide, Length: 8, Data: can.Data{1, 2, 3}}) != nil {
				return
			}
		}
	})
	t.Cleanup(func() {
		cancel()
		owned.Wait()
	})
}

// The rate is found by listening: nothing is sent, whatever the adapter can tell of broken frames.
func TestFindsBitRate(t *testing.T) {
	for _, rate := range []int{500_000, 250_000, 125_000, 1_000_000} {
		for name, o := range map[string]simcar.SLCANOptions{"flags": {}, "reports": {Reports: true, NoFlags: true}, "tells nothing": {NoFlags: true}} {
			synctest.Test(t, func(t *testing.T) {
				o.BusRate = rate
				line, peer, _ := device(t, o)
				talker(t, peer, false)
				c, err := Open(t.Context(), line, Options{})
				if err != nil {
					t.Fatalf("%d, %s: %v", rate, name, err)
				}
				defer c.Close()
				if a := c.Abilities(); a.BitRate != rate || len(a.Limits) != 1 {
					t.Errorf("%d, %s: %+v", rate, name, a)
				}
			})
		}
	}
}

// On a bus whose rate is none of those tried, the adapter does not take part.
func TestNoRate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		line, peer, _ := device(t, simcar.SLCANOptions{BusRate: 33_333})
		talker(t, peer, false)
		_, err := Open(t.Context(), line, Options{})
		var o *adapter.OpenError
		if !errors.Is(err, adapter.ErrNoRate) || !errors.As(err, &o) || o.Step != adapter.StepBus {
			t.Errorf("%v", err)
		}
	})
}

// speedy is a line on which only one speed carries anything; at the others both ends get noise, with a bell in it once.
type speedy struct {
	net.Conn
	now   atomic.Int64
	right int
	noise chan []byte
}

func (s *speedy) Write(p []byte) (int, error) {
	if int(s.now.Load()) == s.right {
		return s.Conn.Write(p)
	}
	select {
	case s.noise <- []byte{0xF0, '\a', 0x9C}:
	default:
	}
	return len(p), nil
}

func (s *speedy) Read(p []byte) (int, error) {
	select {
	case n := <-s.noise:
		return copy(p, n), nil
	default:
	}
	if err := s.SetReadDeadline(time.Now().Add(time.Millisecond)); err != nil {
		return 0, err
	}
	n, err := s.Conn.Read(p)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = nil
	}
	return n, err
}

// The line speed is found by the answer to V. A bell in the noise of a wrong speed is no answer.
func TestFindsLineSpeed(t *testing.T) {
	for _, right := range speeds {
		synctest.Test(t, func(t *testing.T) {
			line, _, _ := device(t, simcar.SLCANOptions{})
			s := &speedy{Conn: line, right: right, noise: make(chan []byte, 1)}
			s.noise <- []byte{'\a'}
			c, err := Open(t.Context(), s, Options{BitRate: 500_000, Speeds: speeds, SetSpeed: func(speed int) error {
				s.now.Store(int64(speed))
				return nil
			}})
			if err != nil {
				t.Fatalf("%d: %v", right, err)
			}
			defer c.Close()
			if a := c.Abilities(); a.LineSpeed != right || a.Version == "" {
				t.Errorf("%d: %+v", right, a)
			}
		})
	}
}
