package isotp

import (
	"context"
	"errors"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// Options of a Link. The zero value is what ISO 15765-4 expects of a tester.
type Options struct {
	Pad        byte          // fills frames up to 8 bytes; 0 stands for 0x55
	Short      bool          // leaves frames as short as their content
	BlockSize  byte          // asked of senders; 0: the whole message in one go
	Separation byte          // STmin asked of senders, as on the wire
	MaxLength  int           // longest message accepted; 0 stands for 65 535, far more than any diagnostic answer
	MaxWaits   int           // wait frames accepted in a row (N_WFTmax); 0 stands for 10
	Timeout    time.Duration // N_As, N_Bs and N_Cr; 0 stands for 1000 ms
}

func (o Options) withDefaults() Options {
	if o.Pad == 0 {
		o.Pad = 0x55
	}
	if o.MaxLength == 0 {
		o.MaxLength = 65535
	}
	if o.MaxWaits == 0 {
		o.MaxWaits = 10
	}
	if o.Timeout == 0 {
		o.Timeout = time.Second
	}
	return o
}

// Link is a [link.Link] over a [bus.Bus] that serves many addresses at once.
//
// Frames count as diagnostic answers when their identifier is the answer of a known pair, lies in 700-7FF and is not
// one that this Link asks on, or is 18DAF1xx. Everything else on the bus is ignored. Pairs are learnt from each
// Send, from [Link.Pair], and from the standard.
type Link struct {
	bus bus.Bus
	o   Options

	cancel context.CancelFunc
	done   chan struct{} // closed when both goroutines have ended
	out    chan result

	mu      sync.Mutex
	closed  bool
	err     error // why receiving ended
	asked   map[link.ID]bool
	pairs   map[answerKey]link.Address
	sending map[answerKey]*transfer
	talking map[answerKey]*sync.Mutex // one segmented request at a time to each address
}

// answerKey names a sender on the bus: its identifier and, with extended or mixed addressing, its address byte.
type answerKey struct {
	id       link.ID
	extended bool
	source   byte
}

func keyOf(a link.Address) answerKey {
	return answerKey{id: a.Answer, extended: headed(a), source: a.Source}
}

// headed: the data field begins with an address byte.
func headed(a link.Address) bool { return a.Mode == link.Extended || a.Mode == link.Mixed }

type result struct {
	m   link.Message
	err error
}

// outDepth is how many messages wait for Receive; then the bus waits.
const outDepth = 256

// New starts a Link on b, which it closes at the end.
func New(b bus.Bus, o Options) *Link {
	ctx, cancel := context.WithCancel(context.Background())
	l := &Link{bus: b, o: o.withDefaults(), cancel: cancel, done: make(chan struct{}), out: make(chan result, outDepth),
		asked: map[link.ID]bool{}, pairs: map[answerKey]link.Address{}, sending: map[answerKey]*transfer{}, talking: map[answerKey]*sync.Mutex{}}
	frames := make(chan bus.Received, outDepth)
	var wg sync.WaitGroup
	wg.Go(func() { l.pump(ctx, frames) })
	wg.Go(func() { l.serve(ctx, frames) })
	go func() {
		wg.Wait()
		close(l.done)
	}()
	return l
}

// Pair tells the Link which request identifier belongs to an answer.
func (l *Link) Pair(a link.Address) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.learn(a)
}

// learn is called with l.mu held.
func (l *Link) learn(a link.Address) {
	l.asked[a.Request] = true
	if !a.Functional && !a.Answer.IsZero() {
		l.pairs[keyOf(a)] = a
	}
}

// pump moves frames from the bus to serve, so that timers run while the bus is silent.
func (l *Link) pump(ctx context.Context, frames chan<- bus.Received) {
	defer close(frames)
	for {
		r, err := l.bus.Receive(ctx)
		if err != nil {
			l.end(err)
			return
		}
		if r.Fault&bus.FaultBusOff != 0 {
			l.deliver(ctx, result{err: &link.AdapterError{Op: "receiving", Text: "bus off"}})
			continue
		}
		if r.Fault != 0 || r.Frame.IsRemote || !l.diagnostic(link.IDOf(r.Frame)) {
			continue
		}
		select {
		case frames <- r:
		case <-ctx.Done():
			return
		}
	}
}

// end notes why receiving ended, in the words of the message seam.
func (l *Link) end(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case l.closed || errors.Is(err, bus.ErrClosed) || errors.Is(err, context.Canceled):
		l.err = link.ErrClosed
	case errors.Is(err, bus.ErrGone):
		l.err = errors.Join(link.ErrGone, err)
	default:
		l.err = err
	}
}

func (l *Link) diagnostic(id link.ID) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.asked[id] {
		return false
	}
	if id.Extended {
		if id.Value&0xFFFFFF00 == 0x18DAF100 {
			return true
		}
	} else if id.Value >= 0x700 {
		return true
	}
	for k := range l.pairs {
		if k.id == id {
			return true
		}
	}
	return false
}

// sender finds who sent a frame: a known pair, the pair of the standard, or an identifier without a known request.
func (l *Link) sender(f can.Frame) link.Address {
	id := link.IDOf(f)
	l.mu.Lock()
	defer l.mu.Unlock()
	if f.Length > 0 {
		if a, ok := l.pairs[answerKey{id: id, extended: true, source: f.Data[0]}]; ok {
			return a
		}
	}
	if a, ok := l.pairs[answerKey{id: id}]; ok {
		return a
	}
	a := link.Address{Answer: id}
	if id.Extended {
		a.Mode = link.NormalFixed
	}
	if request, ok := link.DefaultRequest(id); ok {
		a.Request = request
	}
	return a
}

func (l *Link) deliver(ctx context.Context, r result) {
	select {
	case l.out <- r:
	case <-ctx.Done():
	}
}

// Receive returns the next complete message of any module.
func (l *Link) Receive(ctx context.Context) (link.Message, error) {
	if err := ctx.Err(); err != nil {
		return link.Message{}, err
	}
	select {
	case r := <-l.out:
		return r.m, r.err
	default:
	}
	select {
	case r := <-l.out:
		return r.m, r.err
	case <-ctx.Done():
		return link.Message{}, ctx.Err()
	case <-l.done:
		select {
		case r := <-l.out:
			return r.m, r.err
		default:
			return link.Message{}, l.reason()
		}
	}
}

func (l *Link) reason() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.err
}

// Close ends both goroutines and closes the bus.
func (l *Link) Close() error {
	l.mu.Lock()
	l.closed = true
	l.mu.Unlock()
	l.cancel()
	err := l.bus.Close()
	<-l.done
	l.mu.Lock()
	l.err = link.ErrClosed
	l.mu.Unlock()
	return err
}
