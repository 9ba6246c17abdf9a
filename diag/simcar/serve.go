package simcar

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"readback/diag/bus"
	"readback/diag/link"

	"go.einride.tech/can"
)

// Serve lets the car take part in a bus: its modules answer there and send their ordinary messages. It returns nil
// once the context ends or the bus is closed, and an error when the bus fails. One car may serve several buses at a
// time. Serve does not close the bus, and all that it started has ended when it returns.
func (c *Car) Serve(ctx context.Context, b bus.Bus) error {
	ctx, cancel := context.WithCancel(ctx)
	var wg sync.WaitGroup
	defer wg.Wait()
	defer cancel()
	ports := make([]*port, 0, len(c.modules))
	for _, m := range c.modules {
		if c.spec.Line != OnCAN {
			break // nothing of this car is on CAN
		}
		p := newPort(c, m, b)
		ports = append(ports, p)
		wg.Go(func() { p.run(ctx) })
	}
	wg.Go(func() { c.talk(ctx, b) })
	for {
		r, err := b.Receive(ctx)
		switch {
		case ctx.Err() != nil, errors.Is(err, bus.ErrClosed):
			return nil
		case err != nil:
			return fmt.Errorf("simcar: serve: %w", err)
		case r.Fault != 0 || r.Frame.IsRemote:
			continue
		}
		for _, p := range ports {
			p.offer(r.Frame)
		}
	}
}

// talk sends the ordinary messages while the ignition is on.
func (c *Car) talk(ctx context.Context, b bus.Bus) {
	if len(c.spec.Traffic) == 0 {
		return
	}
	start := time.Now()
	due := make([]time.Time, len(c.spec.Traffic))
	sent := make([]int, len(c.spec.Traffic))
	for i := range due {
		due[i] = start.Add(millis(i + 1)) // not all at once
	}
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		next := due[0]
		for _, d := range due {
			if d.Before(next) {
				next = d
			}
		}
		timer.Reset(time.Until(next))
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
		}
		now := time.Now()
		for i, t := range c.spec.Traffic {
			if due[i].After(now) {
				continue
			}
			due[i] = due[i].Add(millis(t.Every))
			if due[i].Before(now) {
				due[i] = now.Add(millis(t.Every))
			}
			f, on := c.message(t, sent[i])
			if !on {
				continue
			}
			sent[i]++
			if err := b.Send(ctx, f); err != nil && ctx.Err() != nil {
				return
			}
		}
	}
}

// message is one ordinary message with the car's values of now; on is false while the ignition is off.
func (c *Car) message(t Traffic, count int) (f can.Frame, on bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f = can.Frame{ID: t.ID.Value, IsExtended: t.ID.Extended, Length: uint8(len(t.Data))}
	copy(f.Data[:], t.Data)
	if t.Counter != nil {
		f.Data[*t.Counter] = f.Data[*t.Counter]&0xF0 | byte(count&0x0F)
	}
	if t.Speed != nil {
		copy(f.Data[*t.Speed:], word(c.speed*100))
	}
	if t.Supply != nil {
		f.Data[*t.Supply] = note{supply: c.supply}.supplyByte()
	}
	return f, c.on
}

// port is one module's place on one bus: the server side of ISO 15765-2.
type port struct {
	car *Car
	m   *module
	bus bus.Bus
	all link.ID // identifier of requests to all modules
	in  chan can.Frame
	// waiting is a request that came while an answer was being sent and is still to be served.
	waiting []can.Frame
}

// backlog is how many frames a module keeps while it is at work.
const backlog = 64

func newPort(c *Car, m *module, b bus.Bus) *port {
	return &port{car: c, m: m, bus: b, all: functionalID(m.spec.Request), in: make(chan can.Frame, backlog)}
}

// offer hands over a frame if it is for this module. A module that is not keeping up loses it.
func (p *port) offer(f can.Frame) {
	id := link.IDOf(f)
	if id != p.m.spec.Request && !(p.m.spec.Functional && id == p.all) {
		return
	}
	select {
	case p.in <- f:
	default:
	}
}

func (p *port) run(ctx context.Context) {
	for ctx.Err() == nil {
		f, ok := p.next(ctx, nil)
		if !ok {
			return
		}
		req, functional := p.receive(ctx, f)
		if req == nil {
			continue
		}
		p.answer(ctx, p.car.handle(p.m, req, functional), req[0])
	}
}

// next is the next frame for this module. ok is false when the context or the timer ended first.
func (p *port) next(ctx context.Context, timer <-chan time.Time) (f can.Frame, ok bool) {
	if timer == nil && len(p.waiting) > 0 {
		f, p.waiting = p.waiting[0], p.waiting[1:]
		return f, true
	}
	select {
	case <-ctx.Done():
		return f, false
	case <-timer:
		return f, false
	case f = <-p.in:
		return f, true
	}
}

// answer sends the messages of an answer at their times. Once a module has said that it is still at work, it tells
// everybody else that it is busy.
func (p *port) answer(ctx context.Context, replies []reply, sid byte) {
	begun := time.Now()
	busy := false
	for _, r := range replies {
		if !p.until(ctx, begun.Add(r.after), busy) || !p.send(ctx, r.data) {
			return
		}
		busy = len(r.data) == 3 && r.data[0] == 0x7F && r.data[1] == sid && r.data[2] == nrcPending
	}
}

// until waits for a moment and, while the module is busy, refuses what comes. It returns false when the context
// ended first.
func (p *port) until(ctx context.Context, at time.Time, busy bool) bool {
	timer := time.NewTimer(time.Until(at))
	defer timer.Stop()
	in := p.in
	if !busy {
		in = nil
	}
	for {
		select {
		case <-ctx.Done():
			return false
		case <-timer.C:
			return true
		case f := <-in:
			p.sayBusy(ctx, f)
		}
	}
}

// sayBusy refuses a request to this module alone, except "tester present" without an answer.
func (p *port) sayBusy(ctx context.Context, f can.Frame) {
	if f.Data[0]>>4 != singleFrame || link.IDOf(f) != p.m.spec.Request {
		return
	}
	if req := single(f); len(req) > 0 && !(len(req) == 2 && req[0] == 0x3E && req[1] == suppress) {
		p.put(ctx, []byte{0x03, 0x7F, req[0], nrcBusy})
	}
}
