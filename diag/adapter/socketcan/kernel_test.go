//go:build linux

package socketcan

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/mdlayher/netlink"
	"go.einride.tech/can"
	"golang.org/x/sys/unix"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/bus/bustest"
	"readback/diag/link"
)

// The tests whose names end in Kernel need a Linux kernel with CAN and the right to make interfaces. They run where
// READBACK_KERNEL is 1, as in the virtual machine of the project's lab.
func needKernel(t testing.TB) {
	t.Helper()
	if os.Getenv("READBACK_KERNEL") != "1" {
		t.Skip("needs a kernel with CAN: READBACK_KERNEL=1")
	}
}

// change sends rtnetlink a request about an interface (rtnetlink(7)).
func change(t testing.TB, kind netlink.HeaderType, flags netlink.HeaderFlags, info [unix.SizeofIfInfomsg]byte, attrs []netlink.Attribute) error {
	t.Helper()
	c, err := netlink.Dial(unix.NETLINK_ROUTE, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	data, err := netlink.MarshalAttributes(attrs)
	if err != nil {
		t.Fatal(err)
	}
	_, err = c.Execute(netlink.Message{
		Header: netlink.Header{Type: kind, Flags: netlink.Request | netlink.Acknowledge | flags},
		Data:   append(info[:], data...),
	})
	return err
}

func nameAttr(name string) netlink.Attribute {
	return netlink.Attribute{Type: unix.IFLA_IFNAME, Data: append([]byte(name), 0)}
}

func infoUp(up bool) (info [unix.SizeofIfInfomsg]byte) {
	if up {
		binary.NativeEndian.PutUint32(info[8:12], unix.IFF_UP)
	}
	binary.NativeEndian.PutUint32(info[12:16], unix.IFF_UP) // the flags to be changed
	return info
}

// virtualCAN makes a virtual interface for one test.
func virtualCAN(t testing.TB, name string, up bool) {
	t.Helper()
	kind, err := netlink.MarshalAttributes([]netlink.Attribute{{Type: unix.IFLA_INFO_KIND, Data: []byte("vcan")}})
	if err != nil {
		t.Fatal(err)
	}
	if err := change(t, unix.RTM_NEWLINK, netlink.Create|netlink.Excl, infoUp(up), []netlink.Attribute{nameAttr(name), {Type: unix.IFLA_LINKINFO, Data: kind}}); err != nil {
		t.Fatalf("making %s: %v", name, err)
	}
	t.Cleanup(func() {
		if err := remove(t, name); err != nil && !errors.Is(err, unix.ENODEV) {
			t.Errorf("removing %s: %v", name, err)
		}
	})
}

func remove(t testing.TB, name string) error {
	return change(t, unix.RTM_DELLINK, 0, [unix.SizeofIfInfomsg]byte{}, []netlink.Attribute{nameAttr(name)})
}

func setUpDown(t *testing.T, name string, up bool) {
	t.Helper()
	if err := change(t, unix.RTM_NEWLINK, 0, infoUp(up), []netlink.Attribute{nameAttr(name)}); err != nil {
		t.Fatalf("%s up %t: %v", name, up, err)
	}
}

func openBus(t testing.TB, name string, o Options) *Bus {
	t.Helper()
	b, err := Open(context.Background(), name, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

const patience = 5 * time.Second

func next(t testing.TB, b bus.Bus) (bus.Received, error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	return b.Receive(ctx)
}

func TestConformKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	bustest.Conform(t, func(t testing.TB) (under, peer bus.Bus) {
		return openBus(t, "vcan0", Options{}), openBus(t, "vcan0", Options{})
	})
}

// A remote frame carries a length and no data; 7DF with 11 and with 29 bits stay apart; the kernel's time is its own.
func TestFramesKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	a, b := openBus(t, "vcan0", Options{}), openBus(t, "vcan0", Options{})
	for _, f := range []can.Frame{
		{ID: 0x7DF, Length: 8, Data: can.Data{2, 1, 0, 0x55, 0x55, 0x55, 0x55, 0x55}},
		{ID: 0x7DF, IsExtended: true, Length: 3, Data: can.Data{2, 1, 0}},
		{ID: 0x1FFFFFFF, IsExtended: true},
		{ID: 0x123, IsRemote: true, Length: 4},
	} {
		before := time.Now()
		if err := a.Send(t.Context(), f); err != nil {
			t.Fatal(err)
		}
		after := time.Now()
		r, err := next(t, b)
		if err != nil || r.Frame != f || r.Fault != 0 {
			t.Fatalf("got %+v, %v; want %v", r, err, f)
		}
		if r.At.Before(before.Add(-time.Millisecond)) || r.At.After(after.Add(time.Millisecond)) {
			t.Errorf("time %v, sent between %v and %v", r.At, before, after)
		}
	}
}

func TestFiltersKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	a := openBus(t, "vcan0", Options{})
	b := openBus(t, "vcan0", Options{Filters: []Filter{{link.ID11(0x7E8), 0x7F8}, {link.ID29(0x18DAF100), 0x1FFFFF00}}})
	for _, f := range []can.Frame{{ID: 0x7E7}, {ID: 0x7E8}, {ID: 0x7EF}, {ID: 0x7F0}, {ID: 0x7E8, IsExtended: true}, {ID: 0x18DAF158, IsExtended: true}, {ID: 0x18DBF158, IsExtended: true}, {ID: 0x7E9}} {
		if err := a.Send(t.Context(), f); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []can.Frame{{ID: 0x7E8}, {ID: 0x7EF}, {ID: 0x18DAF158, IsExtended: true}, {ID: 0x7E9}} {
		if r, err := next(t, b); err != nil || r.Frame != want {
			t.Fatalf("got %+v, %v; want %v", r, err, want)
		}
	}
}

// A receiver that does not keep up is told so, in its place among the frames.
func TestOverflowKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	const flood, after = 500, 0x7FF
	a, b := openBus(t, "vcan0", Options{}), openBus(t, "vcan0", Options{Buffer: 1})
	for i := range flood {
		if err := a.Send(t.Context(), can.Frame{ID: 0x100, Length: 2, Data: can.Data{byte(i >> 8), byte(i)}}); err != nil {
			t.Fatal(err)
		}
	}
	got, overruns := 0, 0
	take := func(r bus.Received) {
		if r.Fault == bus.FaultOverrun {
			overruns++
			return
		}
		if i := int(r.Frame.Data[0])<<8 | int(r.Frame.Data[1]); i != got || r.Fault != 0 {
			t.Fatalf("frame %+v, want number %d", r, got)
		}
		got++
	}
	r, err := next(t, b)
	for ; err == nil && got+1 < flood; r, err = next(t, b) {
		take(r)
		if ready(t, b) {
			continue
		}
		break
	}
	if err != nil || got == 0 || got >= flood || overruns != 0 {
		t.Fatalf("%d frames, %d overruns, %v", got, overruns, err)
	}
	if err := a.Send(t.Context(), can.Frame{ID: after}); err != nil { // there is room again
		t.Fatal(err)
	}
	if r, err := next(t, b); err != nil || r.Fault != bus.FaultOverrun {
		t.Fatalf("got %+v, %v; want the report of an overrun", r, err)
	}
	if r, err := next(t, b); err != nil || r.Frame.ID != after {
		t.Fatalf("got %+v, %v; want the frame behind it", r, err)
	}
	if got+int(b.dropped) != flood {
		t.Errorf("%d received and %d dropped of %d", got, b.dropped, flood)
	}
}

// ready tells whether the kernel holds a frame for b.
func ready(t *testing.T, b *Bus) (ok bool) {
	t.Helper()
	if err := b.raw.Control(func(fd uintptr) {
		_, _, err := unix.Recvfrom(int(fd), make([]byte, frameSize), unix.MSG_PEEK|unix.MSG_DONTWAIT)
		ok = err == nil
	}); err != nil {
		t.Fatal(err)
	}
	return ok
}

// An interface that is removed ends Receive, whether it waits at that moment or comes later.
func TestRemovedKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	b, late := openBus(t, "vcan0", Options{}), openBus(t, "vcan0", Options{})
	waiting := make(chan error, 1)
	go func() {
		for {
			r, err := next(t, b)
			if err != nil {
				waiting <- err
				return
			}
			if r.Fault != bus.FaultDown {
				waiting <- fmt.Errorf("event %+v", r)
				return
			}
		}
	}()
	if err := remove(t, "vcan0"); err != nil {
		t.Fatal(err)
	}
	if err := <-waiting; !errors.Is(err, bus.ErrGone) {
		t.Errorf("waiting: %v", err)
	}
	var err error
	for err == nil {
		_, err = next(t, late)
	}
	if !errors.Is(err, bus.ErrGone) {
		t.Errorf("late: %v", err)
	}
	for _, x := range []*Bus{b, late} {
		if err := x.Send(t.Context(), can.Frame{ID: 1}); !errors.Is(err, bus.ErrGone) {
			t.Errorf("Send: %v", err)
		}
		if _, err := next(t, x); !errors.Is(err, bus.ErrGone) {
			t.Errorf("Receive again: %v", err)
		}
		if _, err := x.State(t.Context()); !errors.Is(err, bus.ErrGone) {
			t.Errorf("State: %v", err)
		}
	}
}

// An interface that is taken down comes back.
func TestDownKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	a, b := openBus(t, "vcan0", Options{}), openBus(t, "vcan0", Options{})
	setUpDown(t, "vcan0", false)
	if r, err := next(t, b); err != nil || r.Fault != bus.FaultDown {
		t.Fatalf("got %+v, %v", r, err)
	}
	if err := a.Send(t.Context(), can.Frame{ID: 1}); !errors.Is(err, bus.ErrOff) {
		t.Errorf("Send while down: %v", err)
	}
	setUpDown(t, "vcan0", true)
	if err := a.Send(t.Context(), can.Frame{ID: 2}); err != nil {
		t.Fatal(err)
	}
	if r, err := next(t, b); err != nil || r.Frame.ID != 2 {
		t.Errorf("got %+v, %v", r, err)
	}
}

func TestOpenErrorsKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan1", false)
	for _, c := range []struct {
		place adapter.Place
		want  error
		says  string
	}{
		{"can:vcan9", ErrNoInterface, "vcan9"},
		{"can:", ErrNoInterface, "names none"},
		{"can:lo", ErrNotCAN, "lo"},
		{"can:vcan1", ErrDown, "sudo ip link set vcan1 up"},
		{"can:a-name-that-is-far-too-long", ErrNoInterface, "too-long"},
	} {
		_, err := Driver().Open(t.Context(), c.place, adapter.Options{})
		var open *adapter.OpenError
		if !errors.As(err, &open) || open.Step != adapter.StepPort || !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.place, err)
		}
	}
}

func TestFindKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	virtualCAN(t, "vcan1", false)
	found, err := Driver().Find(t.Context())
	if err != nil || len(found) != 4 {
		t.Fatalf("%+v, %v", found, err)
	}
	for i, name := range []string{"can0", "can1"} { // the machine's own controllers
		if f := found[i]; f.Place != adapter.Place("can:"+name) || f.Ready || !strings.HasSuffix(f.Note, "sudo ip link set "+name+" up type can bitrate 500000") {
			t.Errorf("%+v", f)
		}
	}
	if f := found[2]; f.Place != "can:vcan0" || !f.Ready || f.Name != "Virtual CAN interface vcan0" {
		t.Errorf("%+v", f)
	}
	if f := found[3]; f.Place != "can:vcan1" || f.Ready || !strings.HasSuffix(f.Note, "sudo ip link set vcan1 up") {
		t.Errorf("%+v", f)
	}
	c, err := Driver().Open(t.Context(), "can:vcan0", adapter.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	a := c.Abilities()
	if _, ok := c.(adapter.Frames); !ok || !a.Raw || !a.Exact || !a.Wide || a.Parallel != 8 || a.Version != "vcan" || a.BitRate != 0 {
		t.Errorf("%+v", a)
	}
}
