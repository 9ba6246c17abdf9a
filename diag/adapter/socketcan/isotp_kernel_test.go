//go:build linux

package socketcan

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"testing"
	"time"
	"unsafe"

	"go.einride.tech/can"
	"golang.org/x/sys/unix"

	"readback/diag/bus"
	"readback/diag/isotp"
	"readback/diag/link"
)

// The kernel's own transport (include/uapi/linux/can/isotp.h).
const (
	solISOTP      = 106 // SOL_CAN_BASE + CAN_ISOTP
	optOptions    = 1
	optFlow       = 2
	flagTxAddress = 0x002
	flagTxPad     = 0x004
	flagRxPad     = 0x008
	flagCheckLen  = 0x010
	flagCheckData = 0x020
	flagRxAddress = 0x200
	flagWaitDone  = 0x400
	noFrameTime   = 0xFFFFFFFF
	filler        = 0x55
	otherFiller   = 0xCC
	kernelTimeout = 4 // s
)

type kernelOptions struct {
	flags, frameTime            uint32
	extAddr, txPad, rxPad, rxEA byte
}

type kernelFlow struct{ blockSize, separation, _ byte }

func setStruct[T any](t testing.TB, fd, opt int, v T) {
	t.Helper()
	b := unsafe.Slice((*byte)(unsafe.Pointer(&v)), unsafe.Sizeof(v))
	if err := unix.SetsockoptString(fd, solISOTP, opt, string(b)); err != nil {
		t.Fatalf("option %d of the kernel's transport: %v", opt, err)
	}
}

// kernelPeer is a module that the kernel plays.
type kernelPeer struct {
	t  testing.TB
	fd int
}

func newKernelPeer(t testing.TB, a link.Address, o kernelOptions, f kernelFlow) *kernelPeer {
	t.Helper()
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, unix.CAN_ISOTP)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { unix.Close(fd) })
	if a.Mode == link.Extended || a.Mode == link.Mixed {
		o.flags |= flagTxAddress | flagRxAddress
		o.extAddr, o.rxEA = a.Source, a.Target
	}
	setStruct(t, fd, optOptions, o)
	setStruct(t, fd, optFlow, f)
	if err := unix.SetsockoptTimeval(fd, unix.SOL_SOCKET, unix.SO_RCVTIMEO, &unix.Timeval{Sec: kernelTimeout}); err != nil {
		t.Fatal(err)
	}
	l := openBus(t, "vcan0", Options{})
	kernelID := func(id link.ID) uint32 {
		if id.Extended {
			return id.Value | unix.CAN_EFF_FLAG
		}
		return id.Value
	}
	if err := unix.Bind(fd, &unix.SockaddrCAN{Ifindex: l.index, RxID: kernelID(a.Request), TxID: kernelID(a.Answer)}); err != nil {
		t.Fatal(err)
	}
	return &kernelPeer{t, fd}
}

func (p *kernelPeer) read() ([]byte, error) {
	buf := make([]byte, 9000)
	n, err := unix.Read(p.fd, buf)
	if err != nil {
		return nil, err
	}
	return buf[:n], nil
}

func (p *kernelPeer) write(b []byte) error {
	_, err := unix.Write(p.fd, b)
	return err
}

func payload(n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(7*i + n)
	}
	return b
}

func lengths() []int {
	var out []int
	for n := 1; n <= 30; n++ {
		out = append(out, n)
	}
	return append(out, 61, 62, 63, 64, 111, 112, 255, 256, 1000, 2047, 4094, 4095)
}

func shortLengths() []int { return []int{1, 6, 7, 8, 13, 14, 62, 63, 64, 255, 600} }

// Our transport against the kernel's, in both directions at once: what one sends, the other must take, with each block
// size and separation time asked for by the receiver, padded and not, with both identifier widths. The kernel checks
// our padding where there is any.
func TestTransportKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	for _, a := range []link.Address{
		link.Physical(link.ID11(0x7E5), link.ID11(0x7ED)),
		link.Physical(link.ID29(0x18DA58F1), link.ID29(0x18DAF158)),
		{Mode: link.Extended, Request: link.ID11(0x6F1), Answer: link.ID11(0x612), Target: 0x12, Source: 0xF1},
		{Mode: link.Mixed, Request: link.ID29(0x18CE58F1), Answer: link.ID29(0x18CEF158), Target: 0x5A, Source: 0x5A},
	} {
		for _, padded := range []bool{false, true} {
			for _, block := range []byte{0, 1, 8} {
				for _, separation := range []byte{0, 2, 0xF3} {
					t.Run(fmt.Sprintf("%s padded %t block %d separation %02X", a.Request, padded, block, separation), func(t *testing.T) {
						o := kernelOptions{frameTime: noFrameTime}
						if padded {
							o = kernelOptions{flags: flagTxPad | flagRxPad | flagCheckLen | flagCheckData, frameTime: noFrameTime, txPad: filler, rxPad: filler}
						}
						peer := newKernelPeer(t, a, o, kernelFlow{blockSize: block, separation: separation})
						l := isotp.New(openBus(t, "vcan0", Options{}), isotp.Options{Pad: filler, Short: !padded, BlockSize: block, Separation: separation})
						defer l.Close()
						sample := lengths()
						if separation > 0 || block == 1 {
							sample = shortLengths()
						}
						l.Pair(a)
						for _, n := range sample {
							there(t, l, peer, a, n)
							back(t, l, peer, a, n)
						}
					})
				}
			}
		}
	}
}

func there(t *testing.T, l *isotp.Link, peer *kernelPeer, a link.Address, n int) {
	t.Helper()
	if err := l.Send(t.Context(), link.Message{Address: a, Data: payload(n)}); err != nil {
		t.Fatalf("sending %d bytes: %v", n, err)
	}
	got, err := peer.read()
	if err != nil || !bytes.Equal(got, payload(n)) {
		t.Fatalf("the kernel got %d of %d bytes: %v", len(got), n, err)
	}
}

func back(t *testing.T, l *isotp.Link, peer *kernelPeer, a link.Address, n int) {
	t.Helper()
	if err := peer.write(payload(n)); err != nil {
		t.Fatalf("the kernel sending %d bytes: %v", n, err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	m, err := l.Receive(ctx)
	if err != nil || !bytes.Equal(m.Data, payload(n)) || m.Address != a {
		t.Fatalf("got %d of %d bytes from %s: %v", len(m.Data), n, m.Address, err)
	}
}

// lossy is a Bus that loses or spoils the frames it is told to.
type lossy struct {
	bus.Bus
	spoil func(f *can.Frame) (lose bool)
}

func (l lossy) Send(ctx context.Context, f can.Frame) error {
	if l.spoil(&f) {
		return nil
	}
	return l.Bus.Send(ctx, f)
}

// The kernel names what is wrong with frames that we make wrong on purpose, by an errno (net/can/isotp.c): so when it
// finds nothing wrong in the test above, that means something.
func TestFaultsNamedKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	a := link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
	for _, c := range []struct {
		name  string
		spoil func(*can.Frame) bool
		pad   isotp.Padding
		short bool
		want  error
	}{
		{"a consecutive frame in the middle is lost", func(f *can.Frame) bool { return f.Data[0] == 0x22 }, filler, false, unix.EILSEQ},
		{"the last consecutive frame is lost", func(f *can.Frame) bool { return f.Data[0] == 0x24 }, filler, false, unix.ETIMEDOUT},
		{"a consecutive frame comes with another number", func(f *can.Frame) bool {
			if f.Data[0] == 0x23 {
				f.Data[0] = 0x25
			}
			return false
		}, filler, false, unix.EILSEQ},
		{"a frame is padded otherwise than agreed", func(*can.Frame) bool { return false }, otherFiller, false, unix.EBADMSG},
		{"a frame is not padded", func(*can.Frame) bool { return false }, filler, true, unix.EBADMSG},
	} {
		t.Run(c.name, func(t *testing.T) {
			peer := newKernelPeer(t, a, kernelOptions{flags: flagTxPad | flagRxPad | flagCheckLen | flagCheckData, frameTime: noFrameTime, txPad: filler, rxPad: filler}, kernelFlow{})
			l := isotp.New(lossy{openBus(t, "vcan0", Options{}), c.spoil}, isotp.Options{Pad: c.pad, Short: c.short})
			defer l.Close()
			data := payload(30) // first frame, 21, 22, 23, 24 with padding
			if c.pad == otherFiller || c.short {
				data = payload(3)
			}
			if err := l.Send(t.Context(), link.Message{Address: a, Data: data}); err != nil {
				t.Fatal(err)
			}
			if got, err := peer.read(); !errors.Is(err, c.want) {
				t.Errorf("the kernel: %d bytes, %v; want %v", len(got), err, c.want)
			}
		})
	}
}

// What the kernel's sender is told by our receiver: overflow when the message is too long for us; nothing at all when we
// know no request identifier for the answer.
func TestFlowNamedKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	for _, c := range []struct {
		name         string
		answer       uint32
		most         int
		want, report error
	}{
		{"too long for us", 0x7ED, 100, unix.EMSGSIZE, isotp.ErrOverflow},
		{"no pair known", 0x72E, 0, unix.ECOMM, isotp.ErrNoPair},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := link.Physical(link.ID11(c.answer-8), link.ID11(c.answer))
			peer := newKernelPeer(t, a, kernelOptions{flags: flagWaitDone, frameTime: noFrameTime}, kernelFlow{})
			l := isotp.New(openBus(t, "vcan0", Options{}), isotp.Options{MaxLength: c.most})
			defer l.Close()
			if err := peer.write(payload(101)); !errors.Is(err, c.want) {
				t.Errorf("the kernel's sender: %v, want %v", err, c.want)
			}
			ctx, cancel := context.WithTimeout(t.Context(), patience)
			defer cancel()
			_, err := l.Receive(ctx)
			var torn *link.TornError
			if !errors.As(err, &torn) || !errors.Is(err, c.report) || torn.Want != 101 {
				t.Errorf("our report: %v, want %v", err, c.report)
			}
		})
	}
}

// Nobody there: the request is torn after N_Bs.
func TestNobodyKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	l := isotp.New(openBus(t, "vcan0", Options{}), isotp.Options{})
	defer l.Close()
	a := link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
	begun := time.Now()
	err := l.Send(t.Context(), link.Message{Address: a, Data: payload(20)})
	if took := time.Since(begun); !errors.Is(err, isotp.ErrTimeoutBs) || took < time.Second || took > time.Second+200*time.Millisecond {
		t.Errorf("%v after %v", err, took)
	}
}

// The interface goes while the transport waits: the Link ends.
func TestTransportRemovedKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	l := isotp.New(openBus(t, "vcan0", Options{}), isotp.Options{})
	defer l.Close()
	ended := make(chan error, 1)
	go func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		_, err := l.Receive(ctx)
		ended <- err
	}()
	if err := remove(t, "vcan0"); err != nil {
		t.Fatal(err)
	}
	if err := <-ended; !errors.Is(err, link.ErrGone) {
		t.Errorf("%v", err)
	}
}
