package isotp

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// Options of a Link. The zero value is what ISO 15765-4 expects of a tester.
type Options struct {
	Pad        Padding // fills frames up to 8 bytes; the zero value is 55
	Short      bool    // leaves frames as short as their content
	BlockSize  byte    // asked of senders; 0: the whole message in one go
	Separation byte    // STmin asked of senders, as on the wire; see [Separation]
	// MaxLength is the longest message accepted; 0 stands for 65 535. The longest answers of diagnostics, lists of all
	// codes with their data, stay below 4096 bytes; sixteen times that leaves room, while a few hundred modules in the
	// middle of an answer at once hold some 10 MiB.
	MaxLength int
	MaxWaits  int           // wait frames accepted in a row (N_WFTmax, clause 9.7); 0 stands for UsualWaits, below 0 for none
	Timeout   time.Duration // N_As, N_Ar, N_Bs and N_Cr (clause 9.8.2); 0 stands for 1000 ms
	// TellBegun makes Receive tell a long answer when its first frame has come, as a message with Begun.
	TellBegun bool
}

// UsualWaits are the wait frames that are accepted in a row where nothing else is told (own choice: ten seconds at most).
const UsualWaits = 10

func (o Options) withDefaults() Options {
	if o.MaxLength == 0 {
		o.MaxLength = 65535
	}
	if o.MaxWaits == 0 {
		o.MaxWaits = UsualWaits
	}
	o.MaxWaits = max(o.MaxWaits, 0)
	if o.Timeout == 0 {
		o.Timeout = time.Second
	}
	return o
}

// Link is a [link.Link] over a [bus.Bus] that serves many addresses at once.
//
// Frames count as diagnostic answers when their identifier is the answer of a known pair, lies in 700-7FF, or is
// 18DAF1xx or, with an address extension, 18CEF1xx. On an identifier that this Link asks on, without it being the
// answer of a pair, only what can't be a question counts: a search asks on identifiers before it knows that they are
// somebody's answers. Everything else on the bus is ignored.
//
// Pairs are learnt from each Send, from [Link.Pair], and from the standard ([link.DefaultRequest]). Of an identifier
// without a pair messages of one frame are delivered, with a zero Request; a longer one can't be let through and is
// torn ([ErrNoPair]).
//
// Receive has to be called: when 256 messages wait for it, the Link stops listening to the bus until one is fetched.
type Link struct {
	bus bus.Bus
	o   Options

	cancel context.CancelFunc
	done   chan struct{} // closed when both goroutines have ended
	out    chan result

	mu       sync.Mutex
	closed   bool
	err      error // why receiving ended
	asked    map[link.ID]bool
	pairs    map[answerKey]link.Address
	headed   map[link.ID]bool // identifiers of answers that begin with an address byte
	sending  map[answerKey]transfer
	fillings map[answerKey]*tally
	turns    map[turnKey]chan struct{} // one request at a time
}

// answerKey names a sender on the bus: its identifier and, with extended or mixed addressing, its address byte.
type answerKey struct {
	id     link.ID
	headed bool
	source byte
}

func answerKeyOf(a link.Address) answerKey {
	k := answerKey{id: a.Answer, headed: a.Headed()}
	if k.headed {
		k.source = a.Source
	}
	return k
}

// requestKey names a receiver on the bus.
type requestKey struct {
	id     link.ID
	headed bool
	target byte
}

func requestKeyOf(a link.Address) requestKey {
	k := requestKey{id: a.Request, headed: a.Headed()}
	if k.headed {
		k.target = a.Target
	}
	return k
}

// turnKey is what one request at a time has for itself: a receiver, or the flow control of a sender.
type turnKey struct {
	request requestKey
	answer  answerKey
}

type result struct {
	m   link.Message
	err error
}

// outDepth is how many messages wait for Receive; then the bus waits.
const outDepth = 256

// New starts a Link on b, which it closes at the end.
func New(b bus.Bus, o Options) *Link {
	ctx, cancel := context.WithCancel(context.Background())
	l := &Link{
		bus: b, o: o.withDefaults(), cancel: cancel, done: make(chan struct{}), out: make(chan result, outDepth),
		asked: map[link.ID]bool{}, pairs: map[answerKey]link.Address{}, headed: map[link.ID]bool{},
		sending: map[answerKey]transfer{}, fillings: map[answerKey]*tally{}, turns: map[turnKey]chan struct{}{},
	}
	arrivals := make(chan arrival, outDepth)
	var wg sync.WaitGroup
	wg.Go(func() { l.pump(ctx, arrivals) })
	wg.Go(func() { l.serve(ctx, arrivals) })
	go func() {
		wg.Wait()
		close(l.done)
	}()
	return l
}

// Pair tells the Link which request identifier belongs to an answer.
func (l *Link) Pair(a link.Address) {
	if a.Request.IsZero() {
		return
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.asked[a.Request] = true
	if a.Functional || a.Answer.IsZero() {
		return
	}
	l.pairs[answerKeyOf(a)] = a
	if a.Headed() {
		l.headed[a.Answer] = true
	}
}

// sender finds who sent a frame: a known pair, the pair of the standard, or an identifier without a known request.
// ok is false for a frame that is no diagnostic answer.
func (l *Link) sender(f can.Frame) (a link.Address, ok bool) {
	id := link.IDOf(f)
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.headed[id] && f.Length > 0 {
		if a, ok := l.pairs[answerKey{id: id, headed: true, source: f.Data[0]}]; ok {
			return a, true
		}
	}
	if a, ok := l.pairs[answerKey{id: id}]; ok {
		return a, true
	}
	if id.Extended && id.Value&0xFFFFFF00 == 0x18CEF100 && f.Length > 0 { // mixed addressing, clause 10.3.5
		n := f.Data[0]
		return link.Address{Mode: link.Mixed, Request: link.ID29(0x18CE00F1 | id.Value&0xFF<<8), Answer: id, Target: n, Source: n}, true
	}
	if l.headed[id] || l.asked[id] && !Answers(f) { // for another tester; an echo or another tester's question
		return link.Address{}, false
	}
	return link.Answering(id)
}

// Answers reports a single or first frame that begins with the service identifier of an answer: bit 0x40 tells it
// from that of a question (ISO 14229-1, the table of service identifiers).
func Answers(f can.Frame) bool {
	switch {
	case f.Data[0]>>4 == pciSingle:
		return f.Data[1]&0x40 != 0
	case f.Data[0]>>4 == pciFirst:
		return f.Data[2]&0x40 != 0
	}
	return false
}

// end notes why receiving ended, in the words of the message seam.
func (l *Link) end(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case errors.Is(err, bus.ErrClosed) || errors.Is(err, context.Canceled):
		l.err = link.ErrClosed
	default:
		l.err = fmt.Errorf("%w: %w", link.ErrGone, err)
	}
}

// reason is why the Link can't be used, nil while it can.
func (l *Link) reason() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return link.ErrClosed
	}
	return l.err
}

// Receive returns the next complete message of any module, a [*link.TornError] for one that was not completed, or a
// [*link.AdapterError] when the controller leaves the bus.
func (l *Link) Receive(ctx context.Context) (link.Message, error) {
	if err := l.reason(); errors.Is(err, link.ErrClosed) {
		return link.Message{}, err
	}
	if err := ctx.Err(); err != nil {
		return link.Message{}, err
	}
	select {
	case r := <-l.out:
		return r.m, r.err
	case <-ctx.Done():
		return link.Message{}, ctx.Err()
	case <-l.done:
	}
	select {
	case r := <-l.out: // completed before the end
		return r.m, r.err
	default:
		return link.Message{}, l.reason()
	}
}

// Close ends both goroutines and closes the bus. It may be called more than once.
func (l *Link) Close() error {
	l.mu.Lock()
	l.closed = true
	l.mu.Unlock()
	l.cancel()
	err := l.bus.Close()
	<-l.done
	return err
}
