package bus

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"go.einride.tech/can"
)

// wireDepth is how many frames wait for a node that does not fetch them; then the senders wait.
const wireDepth = 256

// Wire is a bus in memory with any number of nodes: what one node sends reaches all the others, in the same order
// everywhere. It joins the practice car to a visit and takes a car's place in tests.
//
// Nothing is lost on a Wire. A frame goes to all nodes or to none; while one node has 256 frames waiting, Send waits
// for it, as long as its context lets it.
type Wire struct {
	mu    sync.Mutex
	nodes []*node
	room  chan struct{} // closed and replaced whenever a full queue gets room or a node leaves
}

// NewWire is a bus without nodes.
func NewWire() *Wire { return &Wire{room: make(chan struct{})} }

// Attach joins a new node to the bus. Its Close leaves the bus to the others; frames that it has not fetched are
// gone. A node alone on the bus may send: nobody acknowledges frames on a Wire.
func (w *Wire) Attach() Bus { return w.attach() }

func (w *Wire) attach() *node {
	n := &node{wire: w, queue: make([]Received, wireDepth), some: make(chan struct{}, 1), closed: make(chan struct{})}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.nodes = append(w.nodes, n)
	return n
}

// Pair is a bus of two ends in memory: what one sends the other receives. Closing either end closes both, as pulling
// a cable does.
func Pair() (a, b Bus) {
	w := NewWire()
	one, two := w.attach(), w.attach()
	return &end{node: one, other: two}, &end{node: two, other: one}
}

// end is a node that takes the other end with it.
type end struct {
	*node
	other *node
}

func (e *end) Close() error { return errors.Join(e.node.Close(), e.other.Close()) }

type node struct {
	wire   *Wire
	some   chan struct{} // holds a token while something may be waiting
	closed chan struct{}

	// guarded by wire.mu
	queue []Received // as a ring
	first int        // place of the oldest
	held  int
	gone  bool
}

func (n *node) Send(ctx context.Context, f can.Frame) error {
	if err := f.Validate(); err != nil {
		return err
	}
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		room, err := n.put(f)
		if room == nil {
			return err
		}
		select {
		case <-room:
		case <-ctx.Done():
		case <-n.closed:
		}
	}
}

// put hands f to all the others. Where one of them has no room, it returns what to wait for.
func (n *node) put(f can.Frame) (room <-chan struct{}, err error) {
	w := n.wire
	w.mu.Lock()
	defer w.mu.Unlock()
	if n.gone {
		return nil, ErrClosed
	}
	for _, o := range w.nodes {
		if o != n && o.held == wireDepth {
			return w.room, nil
		}
	}
	r := Received{Frame: f, At: time.Now()}
	for _, o := range w.nodes {
		if o == n {
			continue
		}
		o.queue[(o.first+o.held)%wireDepth] = r
		o.held++
		select {
		case o.some <- struct{}{}:
		default:
		}
	}
	return nil, nil
}

func (n *node) Receive(ctx context.Context) (Received, error) {
	for {
		if err := ctx.Err(); err != nil {
			return Received{}, err
		}
		r, ok, err := n.take()
		if ok || err != nil {
			return r, err
		}
		select {
		case <-n.some:
		case <-ctx.Done():
		case <-n.closed:
		}
	}
}

func (n *node) take() (r Received, ok bool, err error) {
	w := n.wire
	w.mu.Lock()
	defer w.mu.Unlock()
	if n.gone {
		return Received{}, false, ErrClosed
	}
	if n.held == 0 {
		return Received{}, false, nil
	}
	r = n.queue[n.first]
	n.first = (n.first + 1) % wireDepth
	if n.held--; n.held == wireDepth-1 {
		w.wake()
	}
	return r, true, nil
}

// wake lets waiting senders try again. It is called with mu held.
func (w *Wire) wake() {
	close(w.room)
	w.room = make(chan struct{})
}

func (n *node) Close() error {
	w := n.wire
	w.mu.Lock()
	defer w.mu.Unlock()
	if n.gone {
		return nil
	}
	n.gone, n.queue, n.held = true, nil, 0
	close(n.closed)
	w.nodes = slices.DeleteFunc(w.nodes, func(o *node) bool { return o == n })
	w.wake()
	return nil
}
