//go:build linux

package socketcan

import (
	"testing"

	"readback/diag/isotp"
	"readback/diag/link"
)

// end is one end of a conversation over the transport.
type end interface {
	read() ([]byte, error)
	write([]byte) error
}

// ownEnd is an end that our transport plays.
type ownEnd struct {
	b *testing.B
	l *isotp.Link
	a link.Address
}

func newOwnEnd(b *testing.B, a link.Address) *ownEnd {
	l := isotp.New(openBus(b, "vcan0", Options{}), isotp.Options{Pad: filler})
	b.Cleanup(func() { l.Close() })
	l.Pair(a)
	return &ownEnd{b, l, a}
}

func (e *ownEnd) read() ([]byte, error) {
	m, err := e.l.Receive(e.b.Context())
	return m.Data, err
}

func (e *ownEnd) write(data []byte) error {
	return e.l.Send(e.b.Context(), link.Message{Address: e.a, Data: data})
}

// BenchmarkRoundTripKernel asks three bytes and is answered twenty, over a virtual interface: a single frame there; a first
// frame, a flow control and two consecutive frames back. Either end is ours or the kernel's.
func BenchmarkRoundTripKernel(b *testing.B) {
	needKernel(b)
	virtualCAN(b, "vcan0", true)
	asks := link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
	answers := link.Physical(asks.Answer, asks.Request)
	own := func(b *testing.B, a link.Address) end { return newOwnEnd(b, a) }
	kernel := func(b *testing.B, a link.Address) end { // its addresses are those of a module
		o := kernelOptions{flags: flagTxPad, frameTime: noFrameTime, txPad: filler}
		return newKernelPeer(b, link.Physical(a.Answer, a.Request), o, kernelFlow{})
	}
	for _, c := range []struct {
		name           string
		tester, module func(*testing.B, link.Address) end
	}{{"ours-ours", own, own}, {"ours-kernel", own, kernel}, {"kernel-kernel", kernel, kernel}} {
		b.Run(c.name, func(b *testing.B) {
			tester, module := c.tester(b, asks), c.module(b, answers)
			rounds, ended := make(chan bool), make(chan error, 1)
			go func() {
				for range rounds {
					_, err := module.read()
					if err == nil {
						err = module.write(payload(20))
					}
					if err != nil {
						ended <- err
						return
					}
				}
			}()
			defer close(rounds)
			for b.Loop() {
				select {
				case rounds <- true:
				case err := <-ended:
					b.Fatal(err)
				}
				if err := tester.write(payload(3)); err != nil {
					b.Fatal(err)
				}
				if got, err := tester.read(); err != nil || len(got) != 20 {
					b.Fatalf("%d bytes, %v", len(got), err)
				}
			}
		})
	}
}
