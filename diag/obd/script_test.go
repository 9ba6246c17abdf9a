package obd_test

import (
	"context"
	"slices"
	"sync"
	"time"

	"readback/diag/link"
)

const ms = time.Millisecond

var (
	engine  = link.ID11(0x7E8)
	gearbox = link.ID11(0x7E9)
	wide    = link.ID29(0x18DAF158)
)

// event is one thing that arrives after a request.
type event struct {
	after time.Duration
	from  link.ID
	data  []byte
	err   error
	begun int // payload bytes that a first frame announces
}

// car is a Link to the scripted modules of a car: script tells what arrives after the nth request, counted from 1.
type car struct {
	script func(n int, request []byte) []event

	mu   sync.Mutex
	sent []link.Message
	in   chan event
}

func newCar(script func(n int, request []byte) []event) *car {
	return &car{script: script, in: make(chan event, 64)}
}

func (c *car) Send(ctx context.Context, m link.Message) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	c.mu.Lock()
	c.sent = append(c.sent, m)
	n := len(c.sent)
	c.mu.Unlock()
	for _, e := range c.script(n, slices.Clone(m.Data)) {
		if e.after == 0 {
			c.in <- e
			continue
		}
		time.AfterFunc(e.after, func() { c.in <- e })
	}
	return nil
}

func (c *car) Receive(ctx context.Context) (link.Message, error) {
	select {
	case e := <-c.in:
		return e.message()
	default:
	}
	select {
	case e := <-c.in:
		return e.message()
	case <-ctx.Done():
		return link.Message{}, ctx.Err()
	}
}

func (e event) message() (link.Message, error) {
	return link.Message{Address: link.Address{Answer: e.from}, Data: e.data, Begun: e.begun, At: time.Now()}, e.err
}

func (c *car) Close() error { return nil }

func (c *car) requests() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.sent)
}
