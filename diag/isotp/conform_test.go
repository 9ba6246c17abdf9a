package isotp_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/link/linktest"
)

func TestLinkConforms(t *testing.T) {
	for _, c := range []struct {
		name string
		o    isotp.Options
		far  isotp.FlowControl // what the modules ask for
	}{
		{"in one go", isotp.Options{}, isotp.FlowControl{}},
		{"in blocks with pauses", isotp.Options{BlockSize: 4, Separation: isotp.Separation(2 * time.Millisecond)}, isotp.FlowControl{BlockSize: 3, Separation: isotp.Separation(time.Millisecond)}},
		{"telling what begins", isotp.Options{TellBegun: true, Pad: isotp.PadLearnt}, isotp.FlowControl{}},
		{"unpadded", isotp.Options{Short: true}, isotp.FlowControl{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			linktest.ConformInBubble(t, func(t testing.TB) (link.Link, linktest.Peer) { return open(t, c.o, c.far) })
		})
	}
	t.Run("in real time", func(t *testing.T) {
		linktest.Conform(t, func(t testing.TB) (link.Link, linktest.Peer) {
			return open(t, isotp.Options{Timeout: 300 * time.Millisecond}, isotp.FlowControl{})
		})
	})
}

func open(t testing.TB, o isotp.Options, flow isotp.FlowControl) (link.Link, linktest.Peer) {
	w := bus.NewWire()
	l := isotp.New(w.Attach(), o)
	c := newCar(w.Attach(), flow, o.Short)
	c.begins = o.TellBegun
	for _, a := range c.modules {
		l.Pair(a.address)
	}
	t.Cleanup(func() {
		l.Close()
		c.bus.Close()
		<-c.done
	})
	return l, c
}

// car is the far end: modules with the server side of ISO 15765-2, one of each addressing format.
type car struct {
	bus      bus.Bus
	flow     isotp.FlowControl
	short    bool
	begins   bool
	modules  []*module
	all      link.Address
	requests chan link.Message
	done     chan struct{}
}

type module struct {
	address link.Address
	r       *isotp.Reassembler
	block   int
	talking sync.Mutex
	flow    chan isotp.FlowControl
}

func newCar(b bus.Bus, flow isotp.FlowControl, short bool) *car {
	c := &car{bus: b, flow: flow, short: short, all: link.Functional11(), requests: make(chan link.Message, 64), done: make(chan struct{})}
	for _, a := range []link.Address{
		link.Physical(link.ID11(0x7E0), link.ID11(0x7E8)),
		link.Physical(link.ID11(0x745), link.ID11(0x765)),
		link.Physical(link.ID29(0x18DA10F1), link.ID29(0x18DAF110)),
		{Mode: link.Extended, Request: link.ID11(0x6F1), Answer: link.ID11(0x612), Target: 0x12, Source: 0xF1},
		{Mode: link.Mixed, Request: link.ID11(0x7A0), Answer: link.ID11(0x7A8), Target: 0x33, Source: 0x33},
	} {
		c.modules = append(c.modules, &module{address: a, r: isotp.NewReassembler(c.layout(a).Extended, 5000), flow: make(chan isotp.FlowControl, 1)})
	}
	go c.run()
	return c
}

// layout is that of the module's own frames.
func (c *car) layout(a link.Address) isotp.Layout {
	return isotp.Layout{Extended: a.Mode == link.Extended || a.Mode == link.Mixed, Address: a.Source, Pad: 0xAA, Short: c.short}
}

func (c *car) run() {
	defer close(c.done)
	for {
		got, err := c.bus.Receive(context.Background())
		if err != nil {
			return
		}
		f := got.Frame
		if p, ok := isotp.SinglePayload(f.Data[:f.Length], false); ok && link.IDOf(f) == c.all.Request {
			c.requests <- link.Message{Address: c.all, Data: p, Exact: f.Data[:f.Length]}
			continue
		}
		for _, m := range c.modules {
			if link.IDOf(f) == m.address.Request && (!c.layout(m.address).Extended || f.Data[0] == m.address.Target) {
				c.frame(m, f)
			}
		}
	}
}

func (c *car) frame(m *module, f can.Frame) {
	switch s := m.r.Frame(f.Data[:f.Length]); s.Event {
	case isotp.Flow:
		m.flow <- s.Control
	case isotp.Began:
		c.proceed(m)
	case isotp.Continued:
		if m.block--; m.block == 0 {
			c.proceed(m)
		}
	case isotp.Completed:
		msg := link.Message{Address: m.address, Data: s.Message}
		if _, ok := isotp.SinglePayload(f.Data[:f.Length], c.layout(m.address).Extended); ok {
			msg.Exact = f.Data[:f.Length]
		}
		c.requests <- msg
	}
}

func (c *car) proceed(m *module) {
	m.block = int(c.flow.BlockSize)
	c.say(context.Background(), m, c.flow.Encode(c.layout(m.address)))
}

func (c *car) say(ctx context.Context, m *module, data []byte) error {
	f := can.Frame{ID: m.address.Answer.Value, IsExtended: m.address.Answer.Extended, Length: uint8(len(data))}
	copy(f.Data[:], data)
	return c.bus.Send(ctx, f)
}

func (c *car) Abilities() linktest.Abilities {
	a := linktest.Abilities{Functional: c.all, LongestRequest: 5000, LongestAnswer: 5000, Parallel: true, Tears: true, Begins: c.begins}
	for _, m := range c.modules {
		a.Modules = append(a.Modules, m.address)
	}
	return a
}

func (c *car) Request(ctx context.Context) (link.Message, error) {
	select {
	case m := <-c.requests:
		return m, nil
	case <-ctx.Done():
		return link.Message{}, ctx.Err()
	}
}

func (c *car) Answer(ctx context.Context, a link.Address, data []byte) error {
	return c.answer(ctx, a, data, len(data))
}

func (c *car) Tear(ctx context.Context, a link.Address, data []byte) error {
	return c.answer(ctx, a, data, len(data)/14)
}

// answer sends no more than so many frames.
func (c *car) answer(ctx context.Context, a link.Address, data []byte, most int) error {
	var m *module
	for _, x := range c.modules {
		if x.address == a {
			m = x
		}
	}
	m.talking.Lock()
	defer m.talking.Unlock()
	frames, err := isotp.Segment(data, c.layout(a))
	if err != nil {
		return err
	}
	var flow isotp.FlowControl
	for i, f := range frames[:min(len(frames), most)] {
		if i == 1 || i > 1 && flow.BlockSize > 0 && (i-1)%int(flow.BlockSize) == 0 {
			select {
			case flow = <-m.flow:
			case <-ctx.Done():
				return ctx.Err()
			}
		} else if gap := isotp.SeparationTime(flow.Separation); i > 1 && gap > 0 {
			<-time.After(gap)
		}
		if err := c.say(ctx, m, f); err != nil {
			return err
		}
	}
	return nil
}

func (c *car) Done(context.Context) error { return nil }
