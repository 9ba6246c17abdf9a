package link

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
)

// Router splits one Link into peers. It owns the Link and the one goroutine that receives from it.
//
// A message goes to every open peer that claims it: the peer of one module takes the messages of its answer
// identifier (and, with extended or mixed addressing, of its address byte); a functional peer, and one made by
// [Router.Listen], takes all. A trouble that concerns one address goes to the peers of that address and to those that
// take all; an adapter's alert goes to everybody. The error that ends the Link ends every peer, after it has fetched
// what was waiting for it.
type Router struct {
	link   Link
	cancel context.CancelFunc
	done   chan struct{}

	mu    sync.Mutex
	peers []*Peer
	err   error // why receiving ended
}

// NewRouter begins to receive from l, and is the only one to do so. The caller closes the Router, which closes l.
func NewRouter(l Link) *Router {
	ctx, cancel := context.WithCancel(context.Background())
	r := &Router{link: l, cancel: cancel, done: make(chan struct{})}
	go r.run(ctx)
	return r
}

func (r *Router) run(ctx context.Context) {
	defer close(r.done)
	for {
		m, err := r.link.Receive(ctx)
		if err == nil {
			r.hand(event{m: m}, func(p *Peer) bool { return p.claims(m.Address) })
			continue
		}
		var (
			torn    *TornError
			silence *SilenceError
			alert   *AdapterError
		)
		switch {
		case errors.As(err, &torn):
			r.hand(event{err: err}, func(p *Peer) bool { return p.claims(torn.Address) })
		case errors.As(err, &silence):
			r.hand(event{err: err}, func(p *Peer) bool { return p.all || p.address.Request == silence.Address.Request })
		case errors.As(err, &alert):
			r.hand(event{err: err}, func(*Peer) bool { return true })
		case ctx.Err() != nil:
			r.end(ErrClosed)
			return
		default:
			r.end(err)
			return
		}
	}
}

func (r *Router) hand(e event, claims func(*Peer) bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	given := false
	for _, p := range r.peers {
		if !claims(p) {
			continue
		}
		if given { // a message belongs to its receiver
			e.m.Data, e.m.Frames = slices.Clone(e.m.Data), slices.Clone(e.m.Frames)
		}
		p.put(e)
		given = true
	}
}

func (r *Router) end(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.err = err
	for _, p := range r.peers {
		p.end(err)
	}
}

// Peer is one address of the Link. A message to any other address is refused. It gets what arrives from now on.
func (r *Router) Peer(a Address) *Peer { return r.open(&Peer{address: a, all: a.Functional}) }

// Listen is a peer that takes every message and may send to every address: for searching. It has no address of its
// own, so every message that it sends needs one.
func (r *Router) Listen() *Peer { return r.open(&Peer{all: true, any: true}) }

func (r *Router) open(p *Peer) *Peer {
	p.router = r
	p.ready = make(chan struct{}, 1)
	p.ended = make(chan struct{})
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err != nil {
		p.end(r.err)
		return p
	}
	r.peers = append(r.peers, p)
	return p
}

// Close ends all peers and closes the Link. It may be called more than once.
func (r *Router) Close() error {
	r.cancel()
	err := r.link.Close()
	<-r.done
	r.end(ErrClosed)
	return err
}

// Wait returns why the Link has ended once it has: [ErrClosed], or an error that wraps [ErrGone]. It returns ctx.Err() when
// the context ends first.
func (r *Router) Wait(ctx context.Context) error {
	select {
	case <-r.done:
		r.mu.Lock()
		defer r.mu.Unlock()
		return r.err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// queueDepth is how many messages wait for a peer that does not fetch them; then the oldest goes.
const queueDepth = 256

type event struct {
	m   Message
	err error
}

// Peer is a Link restricted to what one conversation needs.
type Peer struct {
	router  *Router
	address Address
	all     bool // takes the messages of every module
	any     bool // sends to every address

	mu    sync.Mutex
	queue []event
	lost  int
	err   error
	ready chan struct{} // holds a token while something may be waiting
	ended chan struct{}
}

func (p *Peer) claims(a Address) bool {
	return p.all || p.address.Answer == a.Answer && p.address.Source == a.Source
}

func (p *Peer) put(e event) {
	p.mu.Lock()
	if len(p.queue) == queueDepth {
		p.queue = slices.Delete(p.queue, 0, 1)
		p.lost++
	}
	p.queue = append(p.queue, e)
	p.mu.Unlock()
	select {
	case p.ready <- struct{}{}:
	default:
	}
}

func (p *Peer) end(err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.err == nil {
		p.err = err
		close(p.ended)
	}
}

// Lost counts messages that this peer did not fetch in time.
func (p *Peer) Lost() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.lost
}

var errNoAddress = errors.New("link: a message to no address")

// Send sends one message; a zero Address stands for the peer's own.
func (p *Peer) Send(ctx context.Context, m Message) error {
	if m.Address == (Address{}) {
		m.Address = p.address
	}
	switch {
	case p.any && m.Address == (Address{}):
		return errNoAddress
	case !p.any && m.Address != p.address:
		return fmt.Errorf("link: peer of %s asked to send to %s", p.address, m.Address)
	}
	select {
	case <-p.ended:
		return p.reason()
	default:
	}
	return p.router.link.Send(ctx, m)
}

func (p *Peer) reason() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.err
}

// Receive returns the next message that this peer claims.
func (p *Peer) Receive(ctx context.Context) (Message, error) {
	for {
		if e, ok := p.next(); ok {
			return e.m, e.err
		}
		select {
		case <-p.ready:
		case <-ctx.Done():
			return Message{}, ctx.Err()
		case <-p.ended:
			if e, ok := p.next(); ok {
				return e.m, e.err
			}
			return Message{}, p.reason()
		}
	}
}

func (p *Peer) next() (event, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.queue) == 0 {
		return event{}, false
	}
	e := p.queue[0]
	p.queue = slices.Delete(p.queue, 0, 1)
	return e, true
}

// Close leaves the Router; the Link stays open for the others. What has not been fetched is gone.
func (p *Peer) Close() error {
	p.router.mu.Lock()
	p.router.peers = slices.DeleteFunc(p.router.peers, func(x *Peer) bool { return x == p })
	p.router.mu.Unlock()
	p.end(ErrClosed)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.err, p.queue = ErrClosed, nil
	return nil
}
