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

	"readback/diag/exchange"
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

// protocol is what sets this standard apart.
var protocol = &exchange.Protocol{
	Name:     "uds",
	Belongs:  belongs,
	Quiet:    suppressed,
	OneFrame: oneFrame,
	Busy:     func(code byte) bool { return NRC(code) == BusyRepeatRequest },
	Refused:  func(service, code byte) error { return &NegativeError{service, NRC(code)} },
	Shape:    func(answer []byte, why string) error { return &ShapeError{"refusal", answer, why} },
	NoAnswer: ErrNoAnswer, NoneAsked: ErrNoneAsked,
}

// Client asks one module. Its methods are called one at a time, and none from within the loop over [Client.Answers].
type Client struct{ x *exchange.Client }

// New makes a Client on a Link that carries the messages of one address, such as a [link.Peer].
func New(l link.Link, a link.Address, o Options) *Client {
	return &Client{exchange.New(l, a, exchange.Options(o.withDefaults()), protocol)}
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
	return c.x.Answers(ctx, request)
}

// Do sends a request once and waits for its final answer. A refusal is a [*NegativeError], silence [ErrNoAnswer], or
// [ErrNoneAsked] where the request asks for it.
func (c *Client) Do(ctx context.Context, request []byte) (answer []byte, err error) {
	return c.x.Do(ctx, request)
}

// read is Do for requests that change nothing: tried again on silence, a damaged answer, an alert, or a busy module (NRC 21).
func (c *Client) read(ctx context.Context, request ...byte) ([]byte, error) {
	return c.x.Read(ctx, request)
}
