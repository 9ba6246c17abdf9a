package exchange

import (
	"context"
	"errors"
	"iter"
	"time"

	"readback/diag/link"
	"readback/diag/pause"
)

// The first byte of a refusal, and the code of "working, wait"; both standards have the same.
const (
	negativeAnswer = 0x7F
	pendingCode    = 0x78
)

// Protocol is what sets the requests and answers of one standard apart.
type Protocol struct {
	Name     string                                // in front of errors
	Belongs  func(request, answer []byte) bool     // the answer is one to this request; too short to tell belongs
	Quiet    func(request []byte) bool             // it asks for no positive answer
	OneFrame func(request []byte) bool             // all its answers fit into one frame
	Busy     func(code byte) bool                  // the module is busy, and can be asked again
	Refused  func(service, code byte) error        // the error of a refusal
	Shape    func(answer []byte, why string) error // the error of an answer whose form does not fit
	// NoAnswer is silence, NoneAsked the silence that a request has asked for.
	NoAnswer, NoneAsked error
}

// Options of a Client. None of them has a default here.
type Options struct {
	P2       time.Duration // until the first answer
	P2Star   time.Duration // after each "working, wait"
	Transfer time.Duration // on top of both where a Link does not tell that a long answer has begun
	Slack    time.Duration // on top of every wait, for the delay of an adapter that does its own waiting and tells silence itself; not told to it
	Cap      time.Duration // until an answer begins, and for the rest of a long one
	Tries    int           // of a read when the module is silent or the adapter breaks off. Damaged answers are worth one more
}

// A busy module is asked again after busyPause, at most busyTries times; reads only.
const (
	busyPause = time.Second
	busyTries = 3
)

// Client asks one module. Its methods are called one at a time, and none from within the loop over [Client.Answers].
type Client struct {
	link    link.Link
	address link.Address
	o       Options
	p       *Protocol

	air    chan struct{} // full while a request is in the air: one at a time; guards what follows
	p2     time.Duration // what the module has told of its times; 0: nothing
	p2Star time.Duration
	last   time.Time // when the air became free
	owed   owed
	tells  bool // the Link tells when a long answer has begun
}

// New makes a Client on a Link that carries the messages of one address, such as a [link.Peer].
func New(l link.Link, a link.Address, o Options, p *Protocol) *Client {
	return &Client{link: l, address: a, o: o, p: p, air: make(chan struct{}, 1)}
}

// Answers sends a request once and yields every message that belongs to it, "working, wait" included. The sequence ends
// after the final answer, or with an error: silence, or what the Link tells. What arrived before the request is dropped;
// answers to others are ignored.
func (c *Client) Answers(ctx context.Context, request []byte) iter.Seq2[link.Message, error] {
	return func(yield func(link.Message, error) bool) {
		if len(request) == 0 {
			yield(link.Message{}, errors.New(c.p.Name+": an empty request can't be sent"))
			return
		}
		if err := c.take(ctx); err != nil {
			yield(link.Message{}, err)
			return
		}
		defer c.give()
		defer func() { c.last = time.Now() }()
		if err := c.settle(ctx, request); err != nil {
			yield(link.Message{}, err)
			return
		}
		p2, p2Star := max(c.o.P2, c.p2), max(c.o.P2Star, c.p2Star)
		if err := c.link.Send(ctx, link.Message{Address: c.address, Data: request, Wait: p2}); err != nil {
			yield(link.Message{}, err)
			return
		}
		w := c.waitFor(request, p2)
		defer func() { c.owe(w) }()
		for {
			m, err := w.next(ctx, c.link)
			if err != nil {
				yield(link.Message{}, err)
				return
			}
			if !yield(m, nil) || w.done {
				return
			}
			w.more(p2Star + w.transfer + c.o.Slack)
		}
	}
}

// Do sends a request once and waits for its final answer. A refusal, silence and an answer without a form are errors.
func (c *Client) Do(ctx context.Context, request []byte) ([]byte, error) {
	answer, err := c.final(ctx, request)
	if err != nil {
		return nil, err
	}
	return c.judged(answer)
}

// final is the last message that Answers yields.
func (c *Client) final(ctx context.Context, request []byte) (answer []byte, err error) {
	for m, err := range c.Answers(ctx, request) {
		if err != nil {
			return nil, err
		}
		answer = m.Data
	}
	return answer, nil
}

// judged is an answer, or the error that a refusal is.
func (c *Client) judged(answer []byte) ([]byte, error) {
	switch {
	case !refuses(answer):
		return answer, nil
	case len(answer) < 3:
		return nil, c.p.Shape(answer, "the reason is missing")
	}
	return nil, c.p.Refused(answer[1], answer[2])
}

func refuses(answer []byte) bool { return answer[0] == negativeAnswer }

// Read is Do for requests that change nothing: tried again on silence, a damaged answer, an alert, or a busy module.
func (c *Client) Read(ctx context.Context, request []byte) ([]byte, error) {
	busy := 0
	for try := 1; ; {
		answer, err := c.final(ctx, request)
		switch {
		case err == nil && len(answer) >= 3 && refuses(answer) && c.p.Busy(answer[2]) && busy < busyTries:
			busy++
			if err := pause.For(ctx, busyPause); err != nil {
				return nil, err
			}
		case err == nil:
			return c.judged(answer)
		case try < c.tries(err) && ctx.Err() == nil:
			try++
		default:
			return nil, err
		}
	}
}

// tries is how often a read that has ended in err is tried in all. A damaged answer tells that the module is there, so it
// is worth one more.
func (c *Client) tries(err error) int {
	var alert *link.AdapterError
	switch {
	case link.Damaged(err):
		return c.o.Tries + 1
	case errors.Is(err, c.p.NoAnswer), errors.As(err, &alert):
		return c.o.Tries
	}
	return 1
}

// Allow gives the module the times that it has told, from the next request on, where they are longer than those of the
// options; none take them back.
func (c *Client) Allow(ctx context.Context, p2, p2Star time.Duration) error {
	if err := c.take(ctx); err != nil {
		return err
	}
	defer c.give()
	c.p2, c.p2Star = p2, p2Star
	return nil
}

// Last waits until no request is in the air, and tells when the last one ended.
func (c *Client) Last(ctx context.Context) (time.Time, error) {
	if err := c.take(ctx); err != nil {
		return time.Time{}, err
	}
	defer c.give()
	return c.last, nil
}

// take waits until no request is in the air.
func (c *Client) take(ctx context.Context) error {
	select {
	case c.air <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (c *Client) give() { <-c.air }
