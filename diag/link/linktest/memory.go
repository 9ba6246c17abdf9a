package linktest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"readback/diag/link"
)

// memoryDepth is how many messages wait in either direction; then the sender waits.
const memoryDepth = 256

// Memory is a Link in memory and its far end, with two modules of 11-bit identifiers and one of 29-bit. It stands for
// the adapter under a wrapper that is to be tested: what it carries it carries whole and at once, and what would not
// fit into one frame it announces as begun. Exact must be a
// single frame with the payload Data, which is all that a Link in memory can check.
func Memory() (link.Link, Peer) {
	m := &memory{requests: make(chan link.Message, memoryDepth), answers: make(chan event, memoryDepth), closed: make(chan struct{})}
	m.shut = sync.OnceFunc(func() { close(m.closed) })
	return m, &memoryPeer{m}
}

type event struct {
	m   link.Message
	err error
}

type memory struct {
	requests chan link.Message
	answers  chan event
	closed   chan struct{}
	shut     func()
}

func (m *memory) Send(ctx context.Context, msg link.Message) error {
	if err := ready(ctx, m.closed); err != nil {
		return err
	}
	if len(msg.Data) == 0 || msg.Address.Request.IsZero() {
		return fmt.Errorf("linktest: a message needs data and a request identifier: %+v", msg)
	}
	if e := msg.Exact; e != nil && (len(e) != len(msg.Data)+1 && len(e) != 8 || int(e[0]) != len(msg.Data) || !bytes.HasPrefix(e[1:], msg.Data)) {
		return link.ErrNotExact
	}
	msg.Data, msg.Exact = slices.Clone(msg.Data), slices.Clone(msg.Exact)
	return hand(ctx, m.closed, m.requests, msg)
}

func (m *memory) Receive(ctx context.Context) (link.Message, error) {
	e, err := take(ctx, m.closed, m.answers)
	if err != nil {
		return link.Message{}, err
	}
	return e.m, e.err
}

func (m *memory) Close() error {
	m.shut()
	return nil
}

var errTorn = errors.New("linktest: torn on purpose")

type memoryPeer struct{ m *memory }

func (p *memoryPeer) Abilities() Abilities {
	return Abilities{
		Modules: []link.Address{
			link.Physical(link.ID11(0x7E0), link.ID11(0x7E8)),
			link.Physical(link.ID11(0x745), link.ID11(0x765)),
			link.Physical(link.ID29(0x18DA10F1), link.ID29(0x18DAF110)),
		},
		Functional: link.Functional11(), LongestRequest: 4095, LongestAnswer: 4095, Parallel: true, Tears: true, Begins: true,
	}
}

func (p *memoryPeer) Request(ctx context.Context) (link.Message, error) {
	return take(ctx, p.m.closed, p.m.requests)
}

func (p *memoryPeer) Answer(ctx context.Context, a link.Address, data []byte) error {
	if err := p.begin(ctx, a, len(data)); err != nil {
		return err
	}
	return hand(ctx, p.m.closed, p.m.answers, event{m: link.Message{Address: a, Data: slices.Clone(data), At: time.Now()}})
}

// begin announces an answer that is longer than a single frame.
func (p *memoryPeer) begin(ctx context.Context, a link.Address, n int) error {
	if n <= 7 {
		return nil
	}
	return hand(ctx, p.m.closed, p.m.answers, event{m: link.Message{Address: a, Begun: n, At: time.Now()}})
}

func (p *memoryPeer) Tear(ctx context.Context, a link.Address, data []byte) error {
	if err := p.begin(ctx, a, len(data)); err != nil {
		return err
	}
	torn := &link.TornError{Address: a, Got: len(data) / 2, Want: len(data), Cause: errTorn}
	return hand(ctx, p.m.closed, p.m.answers, event{err: torn})
}

func (p *memoryPeer) Done(context.Context) error { return nil }

func ready(ctx context.Context, closed <-chan struct{}) error {
	select {
	case <-closed:
		return link.ErrClosed
	default:
		return ctx.Err()
	}
}

func hand[T any](ctx context.Context, closed <-chan struct{}, to chan<- T, v T) error {
	select {
	case <-closed:
		return link.ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	case to <- v:
		return nil
	}
}

func take[T any](ctx context.Context, closed <-chan struct{}, from <-chan T) (v T, err error) {
	if err := ready(ctx, closed); err != nil {
		return v, err
	}
	select {
	case <-closed:
		return v, link.ErrClosed
	case <-ctx.Done():
		return v, ctx.Err()
	case v = <-from:
		return v, nil
	}
}
