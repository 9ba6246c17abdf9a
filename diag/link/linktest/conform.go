package linktest

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/link"
)

// patience is how long the kit waits for what must come.
const patience = 10 * time.Second

// Conform checks that a Link keeps the contract of the seam. open returns the Link under test and its far end; it is
// called once a check. Requests of the kit only look (3E 00, 22 F1xx), so that a guarded Link lets them pass.
func Conform(t *testing.T, open func(t testing.TB) (link.Link, Peer)) {
	conform(t, open, func(t *testing.T, check func(t *testing.T)) { check(t) })
}

// ConformInBubble is Conform in the fake time of [synctest], for a Link and a far end that wait on channels and timers
// only.
func ConformInBubble(t *testing.T, open func(t testing.TB) (link.Link, Peer)) {
	conform(t, open, synctest.Test)
}

func conform(t *testing.T, open func(t testing.TB) (link.Link, Peer), in func(*testing.T, func(*testing.T))) {
	for _, c := range []struct {
		name string
		run  func(k *kit)
	}{
		{"every module is asked and answers", everyModule},
		{"messages of every length arrive whole, both ways", lengths},
		{"answers come in the order they were completed", order},
		{"several modules at once", parallel},
		{"one request reaches all modules", functional},
		{"a long request to all modules is refused", functionalLong},
		{"exactly the bytes shown, or ErrNotExact and nothing", exact},
		{"what is no single frame with this payload is not sent", notExact},
		{"what can't be sent is refused", unsendable},
		{"a torn message does not end the Link", tears},
		{"a long answer that has begun is told once, or not at all", begins},
		{"an ended context sends nothing and receives nothing", endedContext},
		{"a context that ends while waiting", waitingContext},
		{"a message belongs to its receiver", ownership},
		{"Close ends a waiting Receive and may be repeated", closeWaiting},
		{"after Close nothing works", closed},
	} {
		t.Run(c.name, func(t *testing.T) {
			in(t, func(t *testing.T) {
				l, p := open(t)
				ctx, cancel := context.WithTimeout(context.Background(), patience)
				defer cancel()
				defer l.Close()
				c.run(&kit{T: t, ctx: ctx, l: l, can: p.Abilities(), p: p})
			})
		})
	}
}

type kit struct {
	*testing.T
	ctx context.Context
	l   link.Link
	p   Peer
	can Abilities
}

// request is a question of n bytes: 3E 00, or service 22 with identifiers F180-F19F. n is 2 or odd.
func request(n int) []byte {
	if n == 2 {
		return []byte{0x3E, 0x00}
	}
	out := []byte{0x22}
	for i := 0; len(out) < n; i++ {
		out = append(out, 0xF1, 0x80+byte(i%0x20))
	}
	return out
}

// answer is n bytes of which every one is another than its neighbours.
func answer(n int) []byte {
	out := make([]byte, n)
	for i := range out {
		out[i] = byte(7*i + n)
	}
	out[0] = 0x62
	return out
}

func (k *kit) send(a link.Address, data []byte) {
	k.Helper()
	if err := k.l.Send(k.ctx, link.Message{Address: a, Data: data, Wait: time.Second}); err != nil {
		k.Fatalf("Send % X to %s: %v", head(data), a, err)
	}
}

// asked checks the next request at the far end.
func (k *kit) asked(a link.Address, data []byte) link.Message {
	k.Helper()
	m, err := k.p.Request(k.ctx)
	if err != nil {
		k.Fatalf("nothing reached the far end: %v", err)
	}
	if m.Address.Request != a.Request || !bytes.Equal(m.Data, data) {
		k.Fatalf("the far end got %d bytes % X on %s, want %d bytes % X on %s", len(m.Data), head(m.Data), m.Address.Request, len(data), head(data), a.Request)
	}
	return m
}

func (k *kit) answer(a link.Address, data []byte) {
	k.Helper()
	if err := k.p.Answer(k.ctx, a, data); err != nil {
		k.Fatalf("answering: %v", err)
	}
}

func (k *kit) done() {
	k.Helper()
	if err := k.p.Done(k.ctx); err != nil {
		k.Fatalf("ending the answers: %v", err)
	}
}

// receive is the next whole message, past what an adapter says about silence and past what has begun.
func (k *kit) receive() link.Message {
	k.Helper()
	for {
		m, err := k.l.Receive(k.ctx)
		var silence *link.SilenceError
		switch {
		case err == nil && m.Begun != 0:
		case err == nil:
			return m
		case !errors.As(err, &silence):
			k.Fatalf("Receive: %v", err)
		}
	}
}

// received checks the next message.
func (k *kit) received(a link.Address, data []byte) link.Message {
	k.Helper()
	m := k.receive()
	if m.Address.Answer != a.Answer || !bytes.Equal(m.Data, data) {
		k.Fatalf("received %d bytes % X from %s, want %d bytes % X from %s", len(m.Data), head(m.Data), m.Address, len(data), head(data), a)
	}
	if m.At.IsZero() {
		k.Fatalf("received % X without a time", head(m.Data))
	}
	return m
}

func head(b []byte) []byte { return b[:min(len(b), 12)] }

func everyModule(k *kit) {
	for range 2 {
		for _, a := range k.can.Modules {
			k.send(a, request(3))
			k.asked(a, request(3))
			k.answer(a, answer(6))
			k.done()
			if m := k.received(a, answer(6)); m.Address.Request != a.Request {
				k.Fatalf("the answer of %s comes as one of %s", a, m.Address)
			}
		}
	}
}

func lengths(k *kit) {
	a := k.can.Modules[0]
	for _, n := range []int{2, 3, 5, 7, 9, 11, 13, 15, 21, 63, 101, 117, 119, 255, 257, 1001, 4093, 4095} {
		req, ans := request(min(n, k.can.LongestRequest-1+k.can.LongestRequest%2)), answer(min(n, k.can.LongestAnswer))
		// Send may last until the far end has taken the message.
		sent := make(chan error, 1)
		go func() { sent <- k.l.Send(k.ctx, link.Message{Address: a, Data: req, Wait: time.Second}) }()
		k.asked(a, req)
		if err := <-sent; err != nil {
			k.Fatalf("Send %d bytes: %v", len(req), err)
		}
		for _, m := range []int{len(ans), max(len(ans)-1, 1)} {
			answered := make(chan error, 1)
			go func() { answered <- k.p.Answer(k.ctx, a, answer(m)) }()
			k.received(a, answer(m))
			if err := <-answered; err != nil {
				k.Fatalf("answering %d bytes: %v", m, err)
			}
		}
		k.done()
	}
}

func order(k *kit) {
	a := k.can.Modules[0]
	k.send(a, request(3))
	k.asked(a, request(3))
	for n := 3; n <= 7; n++ {
		k.answer(a, answer(n))
	}
	k.done()
	last := time.Time{}
	for n := 3; n <= 7; n++ {
		m := k.received(a, answer(n))
		if m.At.Before(last) {
			k.Fatalf("time %v after %v", m.At, last)
		}
		last = m.At
	}
}

func parallel(k *kit) {
	if !k.can.Parallel {
		k.Skip("one request in the air at a time")
	}
	long, answers := min(101, k.can.LongestRequest-1+k.can.LongestRequest%2), min(400, k.can.LongestAnswer)
	const rounds = 5
	var wg sync.WaitGroup
	for _, a := range k.can.Modules {
		wg.Go(func() {
			for range rounds {
				if err := k.l.Send(k.ctx, link.Message{Address: a, Data: request(long)}); err != nil {
					k.Errorf("Send to %s: %v", a, err)
				}
			}
		})
	}
	got := map[link.ID]int{}
	for range rounds * len(k.can.Modules) {
		m, err := k.p.Request(k.ctx)
		if err != nil {
			k.Fatalf("after %v: %v", got, err)
		}
		if !bytes.Equal(m.Data, request(long)) {
			k.Fatalf("the far end got % X", head(m.Data))
		}
		got[m.Address.Request]++
	}
	wg.Wait()
	for i, a := range k.can.Modules {
		if got[a.Request] != rounds {
			k.Errorf("%d requests on %s, want %d", got[a.Request], a.Request, rounds)
		}
		wg.Go(func() {
			for range rounds {
				if err := k.p.Answer(k.ctx, a, answer(answers-i)); err != nil {
					k.Errorf("answering as %s: %v", a, err)
				}
			}
		})
	}
	for range rounds * len(k.can.Modules) {
		m := k.receive()
		i := slices.IndexFunc(k.can.Modules, func(a link.Address) bool { return a.Answer == m.Address.Answer })
		if i < 0 || !bytes.Equal(m.Data, answer(answers-i)) {
			k.Fatalf("received %d bytes % X from %s", len(m.Data), head(m.Data), m.Address)
		}
		got[k.can.Modules[i].Request]--
	}
	wg.Wait()
	k.done()
	for id, n := range got {
		if n != 0 {
			k.Errorf("%d answers to %s are missing", n, id)
		}
	}
}

func functional(k *kit) {
	f := k.can.Functional
	if f == (link.Address{}) {
		k.Skip("no address reaches all modules")
	}
	k.send(f, request(2))
	k.asked(f, request(2))
	for _, a := range k.can.Modules {
		if a.Request.Extended == f.Request.Extended {
			k.answer(a, answer(2))
		}
	}
	k.done()
	for _, a := range k.can.Modules {
		if a.Request.Extended == f.Request.Extended {
			k.received(a, answer(2))
		}
	}
}

func functionalLong(k *kit) {
	f := k.can.Functional
	if f == (link.Address{}) {
		k.Skip("no address reaches all modules")
	}
	if k.can.LongestRequest < 9 {
		k.Skip("no long requests")
	}
	if err := k.l.Send(k.ctx, link.Message{Address: f, Data: request(9)}); !errors.Is(err, link.ErrTooLong) && !accepted(k, err) {
		k.Errorf("Send of 9 bytes to all modules: %v, want ErrTooLong", err)
	}
}

// accepted: a Link in memory has no frames and so no limit; then the request must have arrived whole.
func accepted(k *kit, err error) bool {
	if err != nil {
		return false
	}
	m, err := k.p.Request(k.ctx)
	return err == nil && m.Exact == nil && bytes.Equal(m.Data, request(9))
}

func exact(k *kit) {
	a := k.can.Modules[0]
	for _, pad := range [][]byte{{0x55, 0x55, 0x55, 0x55}, {0, 0, 0, 0}, {0xCC, 0xAA, 0x01, 0x02}, nil} {
		data := slices.Concat([]byte{0x03}, request(3), pad)
		if a.Headed() {
			data = slices.Insert(data[:min(len(data), 7)], 0, a.Target)
		}
		err := k.l.Send(k.ctx, link.Message{Address: a, Data: request(3), Exact: slices.Clone(data), Wait: time.Second})
		if errors.Is(err, link.ErrNotExact) {
			k.nothing()
			continue
		}
		if err != nil {
			k.Fatalf("Send exactly % X: %v", data, err)
		}
		if m := k.asked(a, request(3)); m.Exact != nil && !bytes.Equal(m.Exact, data) {
			k.Fatalf("the far end got % X, want exactly % X", m.Exact, data)
		}
		k.answer(a, answer(5))
		k.done()
		k.received(a, answer(5))
	}
}

// nothing checks that the far end has got nothing: the next request that reaches it is the next that is sent.
func (k *kit) nothing() {
	k.Helper()
	a := k.can.Modules[1]
	k.send(a, request(2))
	k.asked(a, request(2))
	k.answer(a, answer(2))
	k.done()
	k.received(a, answer(2))
}

func notExact(k *kit) {
	a := k.can.Modules[0]
	for _, data := range [][]byte{
		{},
		{0x03},
		{0x03, 0x22, 0xF1},                         // counts more than it has
		{0x02, 0x22, 0xF1, 0x80, 0, 0, 0, 0},       // another payload
		{0x03, 0x22, 0xF1, 0x81, 0, 0, 0, 0},       // another payload
		{0x10, 0x14, 0x22, 0xF1, 0x80, 0, 0, 0},    // a first frame
		{0x21, 0x22, 0xF1, 0x80, 0, 0, 0, 0},       // a consecutive frame
		{0x30, 0x00, 0x00},                         // flow control
		{0x03, 0x22, 0xF1, 0x80, 0, 0, 0, 0, 0x55}, // nine bytes
		{0x22, 0xF1, 0x80},                         // no length byte
	} {
		err := k.l.Send(k.ctx, link.Message{Address: a, Data: request(3), Exact: data})
		if !errors.Is(err, link.ErrNotExact) && (err == nil || !k.can.Guarded) {
			k.Errorf("Send exactly % X with the payload % X: %v, want ErrNotExact", data, request(3), err)
		}
	}
	k.nothing()
}

func unsendable(k *kit) {
	if err := k.l.Send(k.ctx, link.Message{Address: k.can.Modules[0]}); err == nil {
		k.Error("Send of an empty message: no error")
	}
	if err := k.l.Send(k.ctx, link.Message{Data: request(2)}); err == nil {
		k.Error("Send to no address: no error")
	}
	k.nothing()
}

func tears(k *kit) {
	if !k.can.Tears {
		k.Skip("the far end can't leave a message unfinished")
	}
	a, other := k.can.Modules[0], k.can.Modules[1]
	k.send(a, request(3))
	k.asked(a, request(3))
	if err := k.p.Tear(k.ctx, a, answer(min(50, k.can.LongestAnswer))); err != nil {
		k.Fatalf("tearing: %v", err)
	}
	k.done()
	m, err := k.l.Receive(k.ctx)
	if err == nil && m.Begun != 0 {
		_, err = k.l.Receive(k.ctx)
	}
	var torn *link.TornError
	if !errors.As(err, &torn) {
		k.Fatalf("Receive: %v, want a TornError", err)
	}
	if torn.Address.Answer != a.Answer || torn.Cause == nil {
		k.Errorf("torn: %+v, want one of %s with a cause", torn, a)
	}
	for _, a := range []link.Address{other, a} {
		k.send(a, request(3))
		k.asked(a, request(3))
		k.answer(a, answer(4))
		k.done()
		k.received(a, answer(4))
	}
}

// begins: answers of one frame come whole; before a longer one comes its announcement, without a byte of it.
func begins(k *kit) {
	a := k.can.Modules[0]
	for _, n := range []int{2, min(60, k.can.LongestAnswer), 3} {
		k.send(a, request(3))
		k.asked(a, request(3))
		answered := make(chan error, 1)
		go func() { answered <- k.p.Answer(k.ctx, a, answer(n)) }()
		if k.can.Begins && n > 7 {
			m, err := k.l.Receive(k.ctx)
			if err != nil || m.Begun != n || len(m.Data) > 0 || m.Address.Answer != a.Answer || m.At.IsZero() {
				k.Fatalf("received %+v, %v; want that %d bytes of %s have begun", m, err, n, a)
			}
		}
		m, err := k.l.Receive(k.ctx)
		if err != nil || m.Begun != 0 || !bytes.Equal(m.Data, answer(n)) {
			k.Fatalf("received %d bytes, begun %d, %v; want %d bytes", len(m.Data), m.Begun, err, n)
		}
		if err := <-answered; err != nil {
			k.Fatalf("answering %d bytes: %v", n, err)
		}
		k.done()
	}
}

func endedContext(k *kit) {
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	if err := k.l.Send(ended, link.Message{Address: k.can.Modules[0], Data: request(3)}); !errors.Is(err, context.Canceled) {
		k.Errorf("Send: %v, want context.Canceled", err)
	}
	if _, err := k.l.Receive(ended); !errors.Is(err, context.Canceled) {
		k.Errorf("Receive: %v, want context.Canceled", err)
	}
	k.nothing()
}

func waitingContext(k *kit) {
	short, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	if _, err := k.l.Receive(short); !errors.Is(err, context.DeadlineExceeded) {
		k.Errorf("Receive: %v, want context.DeadlineExceeded", err)
	}
	k.nothing()
}

func ownership(k *kit) {
	a := k.can.Modules[0]
	data := request(3)
	k.send(a, data)
	clear(data)
	k.asked(a, request(3))
	k.answer(a, answer(6))
	k.answer(a, answer(6))
	k.done()
	m := k.received(a, answer(6))
	clear(m.Data[:cap(m.Data)])
	clear(m.Frames)
	k.received(a, answer(6))
}

func closeWaiting(k *kit) {
	time.AfterFunc(20*time.Millisecond, func() { k.l.Close() })
	if _, err := k.l.Receive(k.ctx); !errors.Is(err, link.ErrClosed) {
		k.Errorf("Receive: %v, want ErrClosed", err)
	}
	if err := k.l.Close(); err != nil {
		k.Errorf("second Close: %v", err)
	}
}

func closed(k *kit) {
	if err := k.l.Close(); err != nil {
		k.Errorf("Close: %v", err)
	}
	if err := k.l.Send(k.ctx, link.Message{Address: k.can.Modules[0], Data: request(3)}); !errors.Is(err, link.ErrClosed) {
		k.Errorf("Send: %v, want ErrClosed", err)
	}
	if _, err := k.l.Receive(k.ctx); !errors.Is(err, link.ErrClosed) {
		k.Errorf("Receive: %v, want ErrClosed", err)
	}
}
