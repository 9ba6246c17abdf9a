package link_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/link"
	"readback/diag/link/linktest"
)

var (
	van  = link.Physical(link.ID11(0x7E0), link.ID11(0x7E8))
	door = link.Physical(link.ID11(0x745), link.ID11(0x765))
	wide = link.Physical(link.ID29(0x18DA10F1), link.ID29(0x18DAF110))
)

// TestPeersConform: a peer that takes all keeps the contract of a Link; closing the Router ends it.
func TestPeersConform(t *testing.T) {
	linktest.ConformInBubble(t, func(t testing.TB) (link.Link, linktest.Peer) {
		l, p := linktest.Memory()
		r := link.NewRouter(l)
		t.Cleanup(func() { r.Close() })
		return r.Listen(), p
	})
}

// inject is a Link on which a test puts what comes.
type inject struct {
	in     chan any // a link.Message or an error
	closed chan struct{}
	closes int
	sent   []link.Message
}

func newInject() *inject { return &inject{in: make(chan any), closed: make(chan struct{})} }

func (l *inject) Send(_ context.Context, m link.Message) error {
	l.sent = append(l.sent, m)
	return nil
}

func (l *inject) Receive(ctx context.Context) (link.Message, error) {
	select {
	case x := <-l.in:
		if err, ok := x.(error); ok {
			return link.Message{}, err
		}
		return x.(link.Message), nil
	case <-ctx.Done():
		return link.Message{}, ctx.Err()
	case <-l.closed:
		return link.Message{}, link.ErrClosed
	}
}

func (l *inject) Close() error {
	if l.closes++; l.closes == 1 {
		close(l.closed)
	}
	return nil
}

// waiting fetches what a peer has, as text.
func waiting(t *testing.T, p *link.Peer) string {
	t.Helper()
	out := ""
	for {
		ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
		m, err := p.Receive(ctx)
		cancel()
		var torn *link.TornError
		var silence *link.SilenceError
		var alert *link.AdapterError
		switch {
		case errors.Is(err, context.DeadlineExceeded):
			return out
		case errors.As(err, &torn):
			out += "torn "
		case errors.As(err, &silence):
			out += "silence "
		case errors.As(err, &alert):
			out += "alert "
		case err != nil:
			t.Fatal(err)
		case m.Begun != 0:
			out += "begun "
		default:
			out += fmt.Sprintf("%X ", m.Data)
		}
	}
}

func TestRouterSharesOut(t *testing.T) {
	bare := link.Address{Answer: door.Answer} // as a Link tells that knows no pair
	extended := link.Address{Mode: link.Extended, Request: link.ID11(0x6F1), Answer: link.ID11(0x612), Target: 0x12, Source: 0xF1}
	other := extended
	other.Source = 0xF2
	for _, c := range []struct {
		name                                  string
		in                                    any
		van, door, wide, ext, functional, all string
	}{
		{name: "an answer", in: link.Message{Address: van, Data: []byte{0x7E}}, van: "7E ", functional: "7E ", all: "7E "},
		{name: "an answer without a known pair", in: link.Message{Address: bare, Data: []byte{0x50}}, door: "50 ", functional: "50 ", all: "50 "},
		{name: "an answer has begun", in: link.Message{Address: van, Begun: 20}, van: "begun ", functional: "begun ", all: "begun "},
		{name: "29 bits", in: link.Message{Address: wide, Data: []byte{0x51}}, wide: "51 ", functional: "51 ", all: "51 "},
		{name: "with an address byte", in: link.Message{Address: extended, Data: []byte{0x52}}, ext: "52 ", functional: "52 ", all: "52 "},
		{name: "for another tester's address byte", in: link.Message{Address: other, Data: []byte{0x53}}, functional: "53 ", all: "53 "},
		{name: "of a module without a peer", in: link.Message{Address: link.Address{Answer: link.ID11(0x7EA)}, Data: []byte{0x54}}, functional: "54 ", all: "54 "},
		{name: "torn", in: &link.TornError{Address: door}, door: "torn ", functional: "torn ", all: "torn "},
		{name: "silence of one", in: &link.SilenceError{Address: van}, van: "silence ", functional: "silence ", all: "silence "},
		{name: "silence after a request to all", in: &link.SilenceError{Address: link.Functional11()}, functional: "silence ", all: "silence "},
		{name: "an alert", in: &link.AdapterError{}, van: "alert ", door: "alert ", wide: "alert ", ext: "alert ", functional: "alert ", all: "alert "},
		{name: "an alert with more around it", in: fmt.Errorf("somewhere: %w", &link.AdapterError{}), van: "alert ", door: "alert ", wide: "alert ", ext: "alert ", functional: "alert ", all: "alert "},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				l := newInject()
				r := link.NewRouter(l)
				defer r.Close()
				peers := []*link.Peer{r.Peer(van), r.Peer(door), r.Peer(wide), r.Peer(extended), r.Peer(link.Functional11()), r.Listen()}
				l.in <- c.in
				for i, want := range []string{c.van, c.door, c.wide, c.ext, c.functional, c.all} {
					if got := waiting(t, peers[i]); got != want {
						t.Errorf("peer %d got %q, want %q", i, got, want)
					}
				}
			})
		})
	}
}

func TestPeersOfOneAddressDoNotShareBytes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newInject()
		r := link.NewRouter(l)
		defer r.Close()
		a, b := r.Peer(van), r.Listen()
		l.in <- link.Message{Address: van, Data: []byte{1, 2, 3}}
		x, err := a.Receive(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		clear(x.Data)
		if got := waiting(t, b); got != "010203 " {
			t.Errorf("the other peer got %q", got)
		}
	})
}

func TestPeerSendsToItsOwnAddressOnly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newInject()
		r := link.NewRouter(l)
		defer r.Close()
		p, all := r.Peer(van), r.Listen()
		if err := p.Send(t.Context(), link.Message{Data: []byte{1}}); err != nil {
			t.Error(err)
		}
		if err := p.Send(t.Context(), link.Message{Address: van, Data: []byte{2}}); err != nil {
			t.Error(err)
		}
		if err := p.Send(t.Context(), link.Message{Address: door, Data: []byte{3}}); err == nil {
			t.Error("a peer sent to another address")
		}
		if err := all.Send(t.Context(), link.Message{Address: door, Data: []byte{4}}); err != nil {
			t.Error(err)
		}
		if err := all.Send(t.Context(), link.Message{Data: []byte{5}}); err == nil {
			t.Error("a message to no address was sent")
		}
		if len(l.sent) != 3 || l.sent[0].Address != van || l.sent[1].Address != van || l.sent[2].Address != door {
			t.Errorf("sent: %+v", l.sent)
		}
	})
}

func TestSlowPeerLosesTheOldest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newInject()
		r := link.NewRouter(l)
		defer r.Close()
		slow, quick := r.Peer(van), r.Listen()
		const n = 300
		for i := range n {
			l.in <- link.Message{Address: van, Data: []byte{byte(i >> 8), byte(i)}}
			if m, err := quick.Receive(t.Context()); err != nil || m.Data[1] != byte(i) {
				t.Fatalf("message %d: %+v, %v", i, m, err)
			}
		}
		if quick.Lost() != 0 {
			t.Errorf("the quick peer lost %d", quick.Lost())
		}
		lost := slow.Lost()
		if lost == 0 {
			t.Fatal("a queue without bound")
		}
		for i := lost; i < n; i++ {
			m, err := slow.Receive(t.Context())
			if err != nil || m.Data[0] != byte(i>>8) || m.Data[1] != byte(i) {
				t.Fatalf("message %d: %+v, %v", i, m, err)
			}
		}
		if got := waiting(t, slow); got != "" {
			t.Errorf("more came: %s", got)
		}
	})
}

func TestTheEndOfTheLinkEndsAllPeers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newInject()
		r := link.NewRouter(l)
		defer r.Close()
		a, b := r.Peer(van), r.Listen()
		l.in <- link.Message{Address: van, Data: []byte{1}}
		l.in <- fmt.Errorf("pulled out: %w", link.ErrGone)
		if got, err := a.Receive(t.Context()); err != nil || got.Data[0] != 1 {
			t.Errorf("what was waiting is lost: %v", err)
		}
		if _, err := b.Receive(t.Context()); err != nil {
			t.Error(err)
		}
		for _, p := range []*link.Peer{a, b, r.Peer(van)} {
			if _, err := p.Receive(t.Context()); !errors.Is(err, link.ErrGone) {
				t.Errorf("Receive: %v, want ErrGone", err)
			}
			if err := p.Send(t.Context(), link.Message{Address: van, Data: []byte{1}}); !errors.Is(err, link.ErrGone) {
				t.Errorf("Send: %v, want ErrGone", err)
			}
		}
	})
}

func TestClosePeer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newInject()
		r := link.NewRouter(l)
		defer r.Close()
		a, b := r.Peer(van), r.Peer(van)
		l.in <- link.Message{Address: van, Data: []byte{1}}
		synctest.Wait()
		for range 2 {
			if err := a.Close(); err != nil {
				t.Error(err)
			}
		}
		if _, err := a.Receive(t.Context()); !errors.Is(err, link.ErrClosed) {
			t.Errorf("Receive: %v, want ErrClosed", err)
		}
		if err := a.Send(t.Context(), link.Message{Data: []byte{1}}); !errors.Is(err, link.ErrClosed) {
			t.Errorf("Send: %v, want ErrClosed", err)
		}
		l.in <- link.Message{Address: van, Data: []byte{2}}
		if got := waiting(t, b); got != "01 02 " {
			t.Errorf("the other peer got %q", got)
		}
		if l.closes != 0 {
			t.Error("closing a peer closed the Link")
		}
	})
}

// TestCloseRouter: in a bubble the test fails when the Router's goroutine outlives Close.
func TestCloseRouter(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := newInject()
		r := link.NewRouter(l)
		p := r.Peer(van)
		done := make(chan error)
		go func() {
			_, err := p.Receive(context.Background())
			done <- err
		}()
		synctest.Wait()
		for range 2 {
			if err := r.Close(); err != nil {
				t.Error(err)
			}
		}
		if err := <-done; !errors.Is(err, link.ErrClosed) {
			t.Errorf("the waiting Receive: %v, want ErrClosed", err)
		}
		if l.closes == 0 {
			t.Error("the Link is still open")
		}
		late := r.Listen()
		if _, err := late.Receive(context.Background()); !errors.Is(err, link.ErrClosed) {
			t.Errorf("a peer made after Close: %v, want ErrClosed", err)
		}
	})
}
