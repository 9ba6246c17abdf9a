//go:build linux

package socketcan

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"go.einride.tech/can"
	"golang.org/x/sys/unix"

	"readback/diag/bus"
	"readback/diag/isotp"
	"readback/diag/link"
)

var module = link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))

// kernelMost is the longest message that the kernel's transport takes (max_pdu_size of net/can/isotp.c).
const kernelMost = 8300

// Lengths around the 32-bit escape, both ways, each told when it begins; what the kernel has no room for, it refuses
// with overflow.
func TestEscapedLengthsKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	for _, a := range []link.Address{module, {Mode: link.Extended, Request: link.ID11(0x6F1), Answer: link.ID11(0x612), Target: 0x12, Source: 0xF1}} {
		peer := newKernelPeer(t, a, kernelOptions{flags: flagWaitDone, frameTime: noFrameTime}, kernelFlow{blockSize: 16})
		l := isotp.New(openBus(t, "vcan0", Options{}), isotp.Options{TellBegun: true})
		defer l.Close()
		l.Pair(a)
		for _, n := range []int{4095, 4096, 4097, 4101, 5000, 8191, kernelMost} {
			there(t, l, peer, a, n)
			written := make(chan error, 1)
			go func() { written <- peer.write(payload(n)) }()
			ctx, cancel := context.WithTimeout(t.Context(), patience)
			m, err := l.Receive(ctx)
			if err != nil || m.Begun != n || len(m.Data) > 0 {
				t.Errorf("got %+v, %v; want that %d bytes have begun", m, err, n)
			}
			m, err = l.Receive(ctx)
			cancel()
			if err != nil || !bytes.Equal(m.Data, payload(n)) {
				t.Errorf("got %d of %d bytes: %v", len(m.Data), n, err)
			}
			if err := <-written; err != nil {
				t.Errorf("the kernel sending %d bytes: %v", n, err)
			}
		}
		if err := l.Send(t.Context(), link.Message{Address: a, Data: payload(kernelMost + 1)}); !errors.Is(err, isotp.ErrOverflow) {
			t.Errorf("%d bytes: %v, want overflow", kernelMost+1, err)
		}
	}
}

// Both sides keep the pauses that the other asks for, as a third socket sees them by the kernel's clock; reserved
// values count as 127 ms with the kernel too.
func TestSeparationKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	for _, c := range []struct {
		asked byte
		least time.Duration
	}{
		{0x00, 0}, {0x01, time.Millisecond}, {0x14, 20 * time.Millisecond}, {0x7F, 127 * time.Millisecond},
		{0xF1, 100 * time.Microsecond}, {0xF9, 900 * time.Microsecond},
		{0x80, 127 * time.Millisecond}, {0xF0, 127 * time.Millisecond}, {0xFA, 127 * time.Millisecond}, {0xFF, 127 * time.Millisecond},
	} {
		t.Run(fmt.Sprintf("%02X", c.asked), func(t *testing.T) {
			watch := openBus(t, "vcan0", Options{})
			peer := newKernelPeer(t, module, kernelOptions{frameTime: noFrameTime}, kernelFlow{separation: c.asked})
			l := isotp.New(openBus(t, "vcan0", Options{}), isotp.Options{Separation: c.asked})
			defer l.Close()
			there(t, l, peer, module, 40)
			back(t, l, peer, module, 40)
			for _, id := range []link.ID{module.Request, module.Answer} {
				checkGaps(t, watch, id, 5, c.least)
			}
		})
	}
}

// checkGaps looks at the next n consecutive frames on id.
func checkGaps(t *testing.T, watch *Bus, id link.ID, n int, least time.Duration) {
	t.Helper()
	var last time.Time
	for range n {
		for {
			r, err := next(t, watch)
			if err != nil {
				t.Fatal(err)
			}
			if link.IDOf(r.Frame) != id || r.Frame.Data[0]>>4 != 2 {
				continue
			}
			if gap := r.At.Sub(last); !last.IsZero() && (gap < least || gap > least+50*time.Millisecond) {
				t.Errorf("%s: %v between two frames, want %v or a little more", id, gap, least)
			}
			last = r.At
			break
		}
	}
}

// The kernel checks every byte of padding against its own: it takes nothing until we have learnt its byte, and all
// of it afterwards.
func TestLearntPaddingKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	for _, pad := range []byte{0x00, 0xAA, 0xCC, 0xFF} {
		t.Run(fmt.Sprintf("%02X", pad), func(t *testing.T) {
			o := kernelOptions{flags: flagTxPad | flagRxPad | flagCheckLen | flagCheckData, frameTime: noFrameTime, txPad: pad, rxPad: pad}
			peer := newKernelPeer(t, module, o, kernelFlow{})
			l := isotp.New(openBus(t, "vcan0", Options{}), isotp.Options{Pad: isotp.PadLearnt})
			defer l.Close()
			if err := l.Send(t.Context(), link.Message{Address: module, Data: payload(3)}); err != nil {
				t.Fatal(err)
			}
			if got, err := peer.read(); !errors.Is(err, unix.EBADMSG) {
				t.Errorf("before: the kernel got % X, %v; want %v", got, err, unix.EBADMSG)
			}
			back(t, l, peer, module, 3)
			for _, n := range []int{1, 3, 8, 30, 300} {
				there(t, l, peer, module, n)
				back(t, l, peer, module, n)
			}
			if f := l.Fillings(); len(f) != 1 || f[0].Byte != pad || f[0].Address != module {
				t.Errorf("learnt %+v", f)
			}
		})
	}
}

// deaf is a Bus that does not hear, or says nothing of, the frames it is told to lose.
type deaf struct {
	bus.Bus
	hears, says func(f can.Frame) bool
}

func (d deaf) Receive(ctx context.Context) (bus.Received, error) {
	for {
		r, err := d.Bus.Receive(ctx)
		if err != nil || r.Fault != 0 || d.hears(r.Frame) {
			return r, err
		}
	}
}

func (d deaf) Send(ctx context.Context, f can.Frame) error {
	if !d.says(f) {
		return nil
	}
	return d.Bus.Send(ctx, f)
}

// What we report of an answer that the kernel sends and that reaches us with a fault, and what the kernel says of a
// flow control that does not come.
func TestTornAnswersKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	all := func(can.Frame) bool { return true }
	without := func(b byte) func(can.Frame) bool { return func(f can.Frame) bool { return f.Data[0] != b } }
	for _, c := range []struct {
		name        string
		hears, says func(can.Frame) bool
		got         int
		want        error
		written     error // what the kernel's sender says
		after       time.Duration
	}{
		{"a frame in the middle is lost", without(0x22), all, 13, isotp.ErrWrongSequence, nil, 0},
		{"the last frame is lost", without(0x25), all, 34, isotp.ErrTimeoutCr, nil, time.Second},
		{"our flow control is lost", all, without(0x30), 6, isotp.ErrTimeoutCr, unix.ECOMM, time.Second},
	} {
		t.Run(c.name, func(t *testing.T) {
			peer := newKernelPeer(t, module, kernelOptions{flags: flagWaitDone, frameTime: noFrameTime}, kernelFlow{})
			l := isotp.New(deaf{openBus(t, "vcan0", Options{}), c.hears, c.says}, isotp.Options{})
			defer l.Close()
			begun := time.Now()
			written := make(chan error, 1)
			go func() { written <- peer.write(payload(40)) }()
			ctx, cancel := context.WithTimeout(t.Context(), patience)
			defer cancel()
			_, err := l.Receive(ctx)
			var torn *link.TornError
			if !errors.As(err, &torn) || !errors.Is(err, c.want) || torn.Got != c.got || torn.Want != 40 {
				t.Errorf("our report: %v, want %d of 40 bytes, %v", err, c.got, c.want)
			}
			if took := time.Since(begun); took < c.after || took > c.after+200*time.Millisecond {
				t.Errorf("after %v, want %v", took, c.after)
			}
			if err := <-written; !errors.Is(err, c.written) {
				t.Errorf("the kernel's sender: %v, want %v", err, c.written)
			}
		})
	}
}

// A request and an answer of the same module cross each other (full duplex), in blocks and with pauses.
func TestBothWaysKernel(t *testing.T) {
	needKernel(t)
	virtualCAN(t, "vcan0", true)
	peer := newKernelPeer(t, module, kernelOptions{flags: flagWaitDone, frameTime: noFrameTime}, kernelFlow{blockSize: 3, separation: 1})
	l := isotp.New(openBus(t, "vcan0", Options{}), isotp.Options{BlockSize: 5, Separation: 0xF5})
	defer l.Close()
	for _, n := range []int{8, 63, 400} {
		sent, written := make(chan error, 1), make(chan error, 1)
		go func() { sent <- l.Send(t.Context(), link.Message{Address: module, Data: payload(n + 1)}) }()
		go func() { written <- peer.write(payload(n)) }()
		ctx, cancel := context.WithTimeout(t.Context(), patience)
		m, err := l.Receive(ctx)
		cancel()
		if err != nil || !bytes.Equal(m.Data, payload(n)) {
			t.Errorf("got %d of %d bytes: %v", len(m.Data), n, err)
		}
		if got, err := peer.read(); err != nil || !bytes.Equal(got, payload(n+1)) {
			t.Errorf("the kernel got %d of %d bytes: %v", len(got), n+1, err)
		}
		if err := errors.Join(<-sent, <-written); err != nil {
			t.Error(err)
		}
	}
}
