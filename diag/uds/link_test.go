package uds_test

import (
	"context"
	"slices"
	"sync"
	"time"

	"readback/diag/link"
)

var charging = link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))

// event is one thing that the scripted module does after a request.
type event struct {
	after time.Duration
	data  []byte
	begun int
	err   error
}

// module is a Link to one scripted module: script tells what it does on the nth request, counted from 1.
type module struct {
	script func(n int, request []byte) []event

	mu   sync.Mutex
	sent []link.Message
	in   chan event
	gone chan struct{}
	once sync.Once
}

func newModule(script func(n int, request []byte) []event) *module {
	return &module{script: script, in: make(chan event, 64), gone: make(chan struct{})}
}

// answers makes a module that answers every request with the same data at once.
func answers(data ...byte) *module {
	return newModule(func(int, []byte) []event { return []event{{data: data}} })
}

func (m *module) Send(ctx context.Context, x link.Message) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case <-m.gone:
		return link.ErrClosed
	default:
	}
	m.mu.Lock()
	m.sent = append(m.sent, x)
	n := len(m.sent)
	m.mu.Unlock()
	for _, e := range m.script(n, slices.Clone(x.Data)) {
		if e.after == 0 {
			m.in <- e
			continue
		}
		time.AfterFunc(e.after, func() { m.in <- e })
	}
	return nil
}

func (m *module) Receive(ctx context.Context) (link.Message, error) {
	select {
	case e := <-m.in:
		return e.message()
	default:
	}
	select {
	case e := <-m.in:
		return e.message()
	case <-ctx.Done():
		return link.Message{}, ctx.Err()
	case <-m.gone:
		return link.Message{}, link.ErrClosed
	}
}

func (e event) message() (link.Message, error) {
	return link.Message{Address: charging, Data: e.data, Begun: e.begun, At: time.Now()}, e.err
}

func (m *module) Close() error {
	m.once.Do(func() { close(m.gone) })
	return nil
}

func (m *module) requests() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return len(m.sent)
}
