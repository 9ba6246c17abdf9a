//go:build linux

package socketcan

import (
	"bytes"
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"go.einride.tech/can"
	"golang.org/x/sys/unix"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/pause"
)

// The lab's machine has two PCI CAN controllers on one wire, with the kernel's own drivers (kvaser_pci, sja1000). The
// wire has no bit timing, so the first rate that is tried is heard.
const (
	controller = "can0"
	neighbour  = "can1"
)

// down takes an interface down at the end of a test, and sets it to take part.
func down(t *testing.T, names ...string) {
	t.Helper()
	t.Cleanup(func() {
		r, err := dialRoute()
		if err != nil {
			t.Error(err)
			return
		}
		defer r.close()
		for _, name := range names {
			l := infoOf(t, name)
			if err := errors.Join(r.bring(l, false), r.configure(l, timing{rate: 500_000}, flagListenOnly, 0)); err != nil {
				t.Error(err)
			}
		}
	})
}

// A controller that has never been set up is found to be silent or talking, and is left down.
func TestListenToAControllerKernel(t *testing.T) {
	needKernel(t)
	down(t, controller, neighbour)
	configure(t, neighbour, false)
	if _, err := listenTo(t, controller, adapter.ListenOptions{For: 100 * time.Millisecond}); !errors.Is(err, adapter.ErrSilent) {
		t.Errorf("a silent wire: %v", err)
	}
	b := openBus(t, neighbour, Options{})
	ctx, cancel := context.WithCancel(t.Context())
	var owned sync.WaitGroup
	owned.Go(func() {
		for i := 0; ctx.Err() == nil; i++ {
			_ = b.Send(ctx, talked[i%len(talked)])
			_ = pause.For(ctx, 5*time.Millisecond)
		}
	})
	defer owned.Wait()
	defer cancel()
	h, err := listenTo(t, controller, adapter.ListenOptions{Rates: []int{250_000}, For: 500 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	if h.BitRate != 250_000 || h.Narrow == 0 || h.Wide == 0 || h.Load <= 0 || h.Load > 0.2 {
		t.Errorf("heard %+v", h)
	}
	if l := infoOf(t, controller); l.up || l.listenOnly || l.busErrors {
		t.Errorf("left as %+v", l)
	}
}

// The driver refuses to be changed while it is up; so an interface in use keeps its rate unless it is taken.
func TestControllerInUseKernel(t *testing.T) {
	needKernel(t)
	down(t, controller, neighbour)
	configure(t, controller, false)
	r, err := dialRoute()
	if err != nil {
		t.Fatal(err)
	}
	defer r.close()
	if err := r.silence(infoOf(t, controller), 250_000); !errors.Is(err, unix.EBUSY) {
		t.Errorf("changing one that is up: %v, want %v", err, unix.EBUSY)
	}
	for _, take := range []bool{false, true} {
		if _, err := listenTo(t, controller, adapter.ListenOptions{Rates: []int{125_000}, For: 50 * time.Millisecond, Take: take}); !errors.Is(err, adapter.ErrSilent) {
			t.Errorf("taken %t: %v", take, err)
		}
		if l := infoOf(t, controller); !l.up || l.listenOnly || l.busErrors || l.bitRate != 500_000 || l.sample != 875 {
			t.Errorf("taken %t, left as %+v", take, l)
		}
	}
}

// A controller that listens only drops what it is given without a word; Send says so instead.
func TestControllerListensOnlyKernel(t *testing.T) {
	needKernel(t)
	down(t, controller, neighbour)
	configure(t, controller, true)
	configure(t, neighbour, false)
	a, b := openBus(t, controller, Options{}), openBus(t, neighbour, Options{})
	if err := a.Send(t.Context(), can.Frame{ID: 1}); !errors.Is(err, bus.ErrOff) {
		t.Errorf("%v, want ErrOff", err)
	}
	if err := b.Send(t.Context(), can.Frame{ID: 2}); err != nil {
		t.Fatal(err)
	}
	if r, err := next(t, a); err != nil || r.Frame.ID != 2 {
		t.Errorf("got %+v, %v", r, err)
	}
}

// A look at the interface serves a burst of frames, but not beyond what has happened to it since: here it is told to listen
// only, which takes it down, between two frames.
func TestChangedBetweenFramesKernel(t *testing.T) {
	needKernel(t)
	for name, told := range map[string]bool{"before anybody receives": false, "after Receive has told": true} {
		t.Run(name, func(t *testing.T) {
			down(t, controller, neighbour)
			configure(t, controller, false)
			configure(t, neighbour, false)
			a, b := openBus(t, controller, Options{}), openBus(t, neighbour, Options{})
			for id := range uint32(3) {
				if err := a.Send(t.Context(), can.Frame{ID: id}); err != nil {
					t.Fatal(err)
				}
				if r, err := next(t, b); err != nil || r.Frame.ID != id {
					t.Fatalf("got %+v, %v", r, err)
				}
			}
			setUpDown(t, controller, false)
			configure(t, controller, true)
			if told {
				if r, err := next(t, a); err != nil || r.Fault != bus.FaultDown {
					t.Errorf("got %+v, %v", r, err)
				}
			}
			if err := a.Send(t.Context(), can.Frame{ID: 9}); !errors.Is(err, bus.ErrOff) {
				t.Errorf("%v, want ErrOff", err)
			}
		})
	}
}

// The transport over two real drivers instead of a virtual interface.
func TestTransportOverControllersKernel(t *testing.T) {
	needKernel(t)
	down(t, controller, neighbour)
	configure(t, controller, false)
	configure(t, neighbour, false)
	mine, car := isotp.New(openBus(t, controller, Options{}), isotp.Options{}), openBus(t, neighbour, Options{})
	defer mine.Close()
	a := link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
	sent := make(chan error, 1)
	go func() { sent <- mine.Send(t.Context(), link.Message{Address: a, Data: payload(200)}) }()
	r := isotp.NewReassembler(false, 4095)
	for {
		got, err := next(t, car)
		if err != nil {
			t.Fatal(err)
		}
		s := r.Frame(got.Frame.Data[:got.Frame.Length])
		if s.Event == isotp.Began {
			if err := car.Send(t.Context(), can.Frame{ID: 0x7ED, Length: 3, Data: can.Data{0x30}}); err != nil {
				t.Fatal(err)
			}
		}
		if s.Event == isotp.Completed {
			if !bytes.Equal(s.Message, payload(200)) {
				t.Errorf("got % X", s.Message)
			}
			break
		}
	}
	if err := <-sent; err != nil {
		t.Error(err)
	}
}
