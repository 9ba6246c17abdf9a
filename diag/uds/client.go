// Package uds is the client of ISO 14229-1, unified diagnostic services, for one module at a time.
//
// A request is a service identifier and its parameters; a positive answer begins with the service identifier plus
// 40 hex, a refusal is 7F, the service identifier, and a negative response code. "7F xx 78" is never an answer: it
// means that the module needs more time.
//
// The methods named after what they read try again a bounded number of times when the module is silent, busy, or its
// answer is damaged, and when the adapter breaks off. [Client.Answers] and [Client.Do] send exactly once, whatever happens.
// [Client.InSession] opens a session, keeps it open while its owner works, and closes it.
//
// What a request holds is made by functions named after it ([CodesRequest], [ClearRequest]); what an answer holds is read
// by decoders that need no client. Lengths that depend on the car are asked of the caller; what has none stays raw.
package uds

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"time"

	"readback/diag/link"
)

// Options of a Client. The zero value suits a car with a gateway.
type Options struct {
	P2       time.Duration // until the first answer; 0 stands for 150 ms (P2 50 ms of ISO 14229-2 and a gateway's delay, common practice)
	P2Star   time.Duration // after each "working, wait"; 0 stands for 5 s (P2* of ISO 14229-2)
	Transfer time.Duration // on top of both where a Link does not tell that a long answer has begun; 0 stands for 1 s (common practice)
	Slack    time.Duration // on top of every wait, for the delay of an adapter that does its own waiting and tells silence itself; not told to it
	Cap      time.Duration // until an answer begins, and for the rest of a long one; 0 stands for 60 s (common practice)
	Tries    int           // of a read when the module is silent or the adapter breaks off; 0 stands for 2. Damaged answers are worth one more
}

func (o Options) withDefaults() Options {
	set := func(d *time.Duration, v time.Duration) {
		if *d == 0 {
			*d = v
		}
	}
	set(&o.P2, 150*time.Millisecond)
	set(&o.P2Star, 5*time.Second)
	set(&o.Transfer, time.Second)
	set(&o.Cap, time.Minute)
	if o.Tries == 0 {
		o.Tries = 2
	}
	return o
}

// A busy module (NRC 21) is asked again after busyPause, at most busyTries times; reads only.
const (
	busyPause = time.Second
	busyTries = 3
)

// Client asks one module. Its methods are called one at a time, and none from within the loop over [Client.Answers].
type Client struct {
	link    link.Link
	address link.Address
	o       Options
	told    Timing // what the module said of its times in the session that is open

	air   chan struct{} // full while a request is in the air: one at a time; guards what follows and told
	last  time.Time     // when the air became free
	owed  owed
	tells bool // the Link tells when a long answer has begun
}

// New makes a Client on a Link that carries the messages of one address, such as a [link.Peer].
func New(l link.Link, a link.Address, o Options) *Client {
	return &Client{link: l, address: a, o: o.withDefaults(), air: make(chan struct{}, 1)}
}

// Results of a request that has no answer. Neither is a yes or a no.
var (
	// ErrNoAnswer is silence: no answer within P2, or within P2* after "working, wait".
	ErrNoAnswer = errors.New("uds: no answer")
	// ErrNoneAsked is the silence that a request with the suppress bit asks for (clause 8.2.2): the module has done it,
	// or is not there.
	ErrNoneAsked = errors.New("uds: no answer, and none was asked for")
)

// NegativeError is a module's refusal.
type NegativeError struct {
	Service byte
	Code    NRC
}

func (e *NegativeError) Error() string {
	return fmt.Sprintf("uds: service %02X refused: %02X %s", e.Service, byte(e.Code), e.Code.Name())
}

// Text is the refusal in plain words.
func (e *NegativeError) Text() string { return e.Code.Text() }

// ShapeError is an answer whose form does not fit its service.
type ShapeError struct {
	Op    string // what was read
	Bytes []byte // the whole answer
	Why   string // what does not fit
}

func (e *ShapeError) Error() string { return fmt.Sprintf("uds: %s: %s: % X", e.Op, e.Why, e.Bytes) }

// Answers sends a request once and yields every message that belongs to it, "working, wait" (7F xx 78) included. The
// sequence ends after the final answer, or with an error: [ErrNoAnswer] on silence, [ErrNoneAsked] where the request
// asks for silence. What arrived before the request is dropped; answers to other services, sub-functions or
// identifiers are ignored.
func (c *Client) Answers(ctx context.Context, request []byte) iter.Seq2[link.Message, error] {
	return func(yield func(link.Message, error) bool) {
		if len(request) == 0 {
			yield(link.Message{}, errors.New("uds: an empty request can't be sent"))
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
		p2, p2Star := c.times()
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

// times are those of the options, or what the module told where that is longer, P2 with the gateway's delay on top.
func (c *Client) times() (p2, p2Star time.Duration) {
	p2, p2Star = c.o.P2, c.o.P2Star
	if c.told.P2 > 0 {
		p2 = max(p2, c.told.P2+gatewayDelay)
	}
	return p2, max(p2Star, c.told.P2Star)
}

// Do sends a request once and waits for its final answer. A refusal is a [*NegativeError], silence [ErrNoAnswer], or
// [ErrNoneAsked] where the request asks for it.
func (c *Client) Do(ctx context.Context, request []byte) (answer []byte, err error) {
	for m, err := range c.Answers(ctx, request) {
		if err != nil {
			return nil, err
		}
		answer = m.Data
	}
	if answer[0] == negativeAnswer && request[0] != 0x3F {
		if len(answer) < 3 {
			return nil, &ShapeError{"refusal", answer, "the reason is missing"}
		}
		return nil, &NegativeError{Service: answer[1], Code: NRC(answer[2])}
	}
	return answer, nil
}

// read is Do for requests that change nothing: tried again on silence, a damaged answer, an alert, or a busy module.
func (c *Client) read(ctx context.Context, request ...byte) ([]byte, error) {
	busy := 0
	for try := 1; ; {
		answer, err := c.Do(ctx, request)
		var negative *NegativeError
		switch {
		case err == nil:
			return answer, nil
		case errors.As(err, &negative) && negative.Code == BusyRepeatRequest && busy < busyTries:
			busy++
			if err := pause(ctx, busyPause); err != nil {
				return nil, err
			}
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
	case errors.Is(err, ErrNoAnswer), errors.As(err, &alert):
		return c.o.Tries
	}
	return 1
}

func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
