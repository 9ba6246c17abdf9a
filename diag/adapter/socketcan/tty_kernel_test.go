//go:build linux

package socketcan

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"os"
	"strings"
	"sync"
	"testing"
	"time"
	"unsafe"

	"github.com/creack/pty"
	"github.com/mdlayher/netlink"
	"go.einride.tech/can"
	"golang.org/x/sys/unix"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/simcar"
)

// Line disciplines of the kernel that make a CAN interface of a serial line (include/uapi/linux/tty.h).
const (
	disciplineSLCAN  = 17
	disciplineCAN327 = 30
)

// attach makes a CAN interface of a serial line and returns its name.
func attach(t *testing.T, line *os.File, discipline int) string {
	t.Helper()
	termios, err := unix.IoctlGetTermios(int(line.Fd()), unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	termios.Iflag, termios.Oflag, termios.Lflag = 0, 0, 0
	termios.Cflag = termios.Cflag&^unix.CSIZE | unix.CS8
	if err := unix.IoctlSetTermios(int(line.Fd()), unix.TCSETS, termios); err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetPointerInt(int(line.Fd()), unix.TIOCSETD, discipline); err != nil {
		t.Fatalf("line discipline %d: %v", discipline, err)
	}
	var name [unix.IFNAMSIZ]byte
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, line.Fd(), unix.SIOCGIFNAME, uintptr(unsafe.Pointer(&name))); errno != 0 {
		t.Fatalf("name of the interface: %v", errno)
	}
	return string(name[:bytes.IndexByte(name[:], 0)])
}

// configure sets the bit rate, and whether the interface only listens, and brings it up.
func configure(t *testing.T, name string, listenOnly bool) {
	t.Helper()
	timing := make([]byte, 32) // struct can_bittiming
	binary.NativeEndian.PutUint32(timing, 500000)
	attrs := []netlink.Attribute{{Type: attrBitTiming, Data: timing}}
	if listenOnly {
		mode := binary.NativeEndian.AppendUint32(binary.NativeEndian.AppendUint32(nil, flagListenOnly), flagListenOnly)
		attrs = append(attrs, netlink.Attribute{Type: attrCtrlMode, Data: mode})
	}
	data, err := netlink.MarshalAttributes(attrs)
	if err != nil {
		t.Fatal(err)
	}
	kind, err := netlink.MarshalAttributes([]netlink.Attribute{{Type: unix.IFLA_INFO_KIND, Data: []byte("can")}, {Type: unix.IFLA_INFO_DATA, Data: data}})
	if err != nil {
		t.Fatal(err)
	}
	if err := change(t, unix.RTM_NEWLINK, 0, [unix.SizeofIfInfomsg]byte{}, []netlink.Attribute{nameAttr(name), {Type: unix.IFLA_LINKINFO, Data: kind}}); err != nil {
		t.Fatalf("configuring %s: %v", name, err)
	}
	setUpDown(t, name, true)
}

// slcanDevice collects what the kernel writes to a serial-line CAN adapter.
type slcanDevice struct {
	mu  sync.Mutex
	got strings.Builder
}

func (d *slcanDevice) run(f *os.File) {
	buf := make([]byte, 256)
	for {
		n, err := f.Read(buf)
		if err != nil {
			return
		}
		d.mu.Lock()
		d.got.Write(buf[:n])
		d.mu.Unlock()
	}
}

func (d *slcanDevice) text() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.got.String()
}

// The states of a controller, as the kernel's slcan driver takes them from the adapter: the reports arrive, State tells
// them, and a frame for a controller that has left the bus is refused instead of vanishing.
func TestStatesKernel(t *testing.T) {
	needKernel(t)
	master, line, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	var owned sync.WaitGroup
	device := &slcanDevice{}
	owned.Go(func() { device.run(master) })
	defer owned.Wait()
	defer master.Close()
	defer line.Close()
	name := attach(t, line, disciplineSLCAN)
	configure(t, name, false)

	c, err := Driver().Open(t.Context(), adapter.Place("can:"+name), adapter.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if a := c.Abilities(); a.BitRate != 500000 || a.Protocol != "CAN, 500 kbit/s" {
		t.Errorf("%+v", a)
	}
	b := c.(adapter.Frames).Bus().(*Bus)
	for _, step := range []struct {
		says  string
		state bus.State
		fault bus.Fault
		sends error
	}{
		{"sw100000\r", bus.StateWarning, bus.FaultWarning, nil},
		{"sp130000\r", bus.StatePassive, bus.FaultPassive, nil},
		{"sb255000\r", bus.StateOff, bus.FaultBusOff, bus.ErrOff},
	} {
		if _, err := master.WriteString(step.says); err != nil {
			t.Fatal(err)
		}
		r, err := next(t, b)
		if err != nil || r.Fault != step.fault {
			t.Errorf("%q: %+v, %v", step.says, r, err)
		}
		if s, err := b.State(t.Context()); err != nil || s != step.state {
			t.Errorf("%q: state %v, %v", step.says, s, err)
		}
		if err := b.Send(t.Context(), can.Frame{ID: 0x7E5, Length: 1, Data: can.Data{byte(step.state)}}); !errors.Is(err, step.sends) {
			t.Errorf("%q: Send: %v, want %v", step.says, err, step.sends)
		}
	}
	if _, err := master.WriteString("t7ED3017E00\r"); err != nil { // 7ED, three bytes
		t.Fatal(err)
	}
	if r, err := next(t, b); err != nil || r.Frame != (can.Frame{ID: 0x7ED, Length: 3, Data: can.Data{1, 0x7E, 0}}) {
		t.Errorf("%+v, %v", r, err)
	}
	if got := device.text(); !strings.Contains(got, "S6\r") || !strings.Contains(got, "t7E5102\r") || strings.Contains(got, "t7E5104") {
		t.Errorf("the adapter got %q", got)
	}
}

// A practice car behind the kernel's own driver for ELM-style adapters: the car's serial adapter at one end, our socket
// and transport at the other, and none of our code between them.
func TestSerialAdapterKernel(t *testing.T) {
	needKernel(t)
	for _, listenOnly := range []bool{false, true} {
		t.Run(map[bool]string{false: "takes part", true: "listens only"}[listenOnly], func(t *testing.T) {
			s, err := simcar.Load("")
			if err != nil {
				t.Fatal(err)
			}
			master, line, err := pty.Open()
			if err != nil {
				t.Fatal(err)
			}
			ctx, stop := context.WithCancel(t.Context())
			done := make(chan error, 1)
			go func() { done <- simcar.New(s).ServeSerial(ctx, master, simcar.SerialOptions{}) }()
			defer func() {
				stop()
				line.Close()
				if err := <-done; err != nil {
					t.Error(err)
				}
			}()
			name := attach(t, line, disciplineCAN327)
			configure(t, name, listenOnly)
			c, err := Driver().Open(t.Context(), adapter.Place("can:"+name), adapter.Options{})
			if err != nil {
				t.Fatal(err)
			}
			defer c.Close()
			b := c.(adapter.Frames).Bus()
			if listenOnly {
				err := b.Send(t.Context(), can.Frame{ID: 0x7E5})
				if !errors.Is(err, bus.ErrOff) || !strings.Contains(err.Error(), "listens only") || len(c.Abilities().Limits) != 2 {
					t.Errorf("%v; limits %q", err, c.Abilities().Limits)
				}
				return
			}
			l := isotp.New(b, isotp.Options{})
			defer l.Close()
			askFor(t, l, []byte{0x22, 0xF1, 0x90}, "\x62\xF1\x900TNCE23E3P0004217")
			askFor(t, l, []byte{0x3E, 0x00}, "\x7E\x00")
		})
	}
}

// askFor asks one module on either identifier width.
func askFor(t *testing.T, l link.Link, request []byte, want string) {
	t.Helper()
	for _, a := range []link.Address{
		link.Physical(link.ID11(0x7E4), link.ID11(0x7EC)),
		link.Physical(link.ID29(0x18DA58F1), link.ID29(0x18DAF158)),
	} {
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		err := l.Send(ctx, link.Message{Address: a, Data: request})
		if err != nil {
			t.Fatal(err)
		}
		m, err := l.Receive(ctx)
		cancel()
		if err != nil || string(m.Data) != want || m.Address != a {
			t.Errorf("%s: % X, %v", a, m.Data, err)
		}
	}
}
