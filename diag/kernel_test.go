//go:build linux

package diag_test

import (
	"context"
	"encoding/binary"
	"os"
	"testing"

	"github.com/mdlayher/netlink"
	"golang.org/x/sys/unix"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/socketcan"
	"readback/diag/simcar"
)

// makeVirtualCAN makes an interface of the kernel's vcan driver and takes it up (rtnetlink(7)).
func makeVirtualCAN(t *testing.T, name string) {
	t.Helper()
	c, err := netlink.Dial(unix.NETLINK_ROUTE, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	kind, err := netlink.MarshalAttributes([]netlink.Attribute{{Type: unix.IFLA_INFO_KIND, Data: []byte("vcan")}})
	if err != nil {
		t.Fatal(err)
	}
	attrs, err := netlink.MarshalAttributes([]netlink.Attribute{
		{Type: unix.IFLA_IFNAME, Data: append([]byte(name), 0)},
		{Type: unix.IFLA_LINKINFO | unix.NLA_F_NESTED, Data: kind},
	})
	if err != nil {
		t.Fatal(err)
	}
	info := make([]byte, unix.SizeofIfInfomsg)
	binary.NativeEndian.PutUint32(info[8:], unix.IFF_UP)  // ifi_flags
	binary.NativeEndian.PutUint32(info[12:], unix.IFF_UP) // ifi_change
	if _, err := c.Execute(netlink.Message{
		Header: netlink.Header{Type: unix.RTM_NEWLINK, Flags: netlink.Request | netlink.Acknowledge | netlink.Create | netlink.Excl},
		Data:   append(info, attrs...),
	}); err != nil {
		t.Fatalf("making %s: %v", name, err)
	}
}

// TestWholeVisitKernel goes through a real CAN kernel: the practice car on one socket, the visit on another, and a
// third that only watches. What the third one saw is what left this computer.
func TestWholeVisitKernel(t *testing.T) {
	if os.Getenv("READBACK_KERNEL") != "1" {
		t.Skip("needs a kernel with CAN: READBACK_KERNEL=1")
	}
	makeVirtualCAN(t, "vcan7")
	scenario, err := simcar.Load("")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	drivers := []adapter.Driver{socketcan.Driver()}
	serving, served := make(chan struct{}), make(chan error, 1)
	go func() {
		served <- diag.ServePractice(ctx, drivers, "can:vcan7", simcar.New(scenario), func() error { close(serving); return nil })
	}()
	select {
	case <-serving:
	case err := <-served:
		t.Fatalf("the practice car: %v", err)
	}
	watcher, err := socketcan.Open(ctx, "vcan7", socketcan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	seen, watched := 0, make(chan struct{})
	go func() {
		defer close(watched)
		for {
			r, err := watcher.Receive(ctx)
			if err != nil {
				return
			}
			if r.Fault == 0 && r.Frame.ID == 0x7E5 && r.Frame.Data[1] == 0x14 {
				seen++
			}
		}
	}()

	s := openStore(t)
	defer s.Close()
	v := openVisit(t, s, "can:vcan7", drivers...)
	look(t, v)
	if r, _ := v.Record(); len(r.Modules) != 11 || !r.Complete {
		t.Errorf("%d modules, complete %v", len(r.Modules), r.Complete)
	}
	sentOnce(t, v)
	v.Close()
	cancel()
	<-served
	watcher.Close()
	<-watched
	if seen != 1 {
		t.Errorf("a watcher on the bus saw the erase %d times", seen)
	}
}
