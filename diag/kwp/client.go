// Package kwp is the client of ISO 14230-3, keyword protocol 2000, for one module at a time: on its own serial line, or
// on CAN with the transport of ISO 15765-2.
//
// A request is a service identifier and its parameters; a positive answer begins with the service identifier plus
// 40 hex, a refusal is 7F, the service identifier, and a response code. "7F xx 78" is never an answer: it means that the
// module needs more time. Codes have two bytes, and their status byte is not that of ISO 14229-1: see [Status].
//
// The methods named after what they read try again a bounded number of times when the module is silent, busy, or its
// answer is damaged, and when the adapter breaks off. [Client.Answers] and [Client.Do] send exactly once, whatever happens.
//
// Names and lengths are those of the open library scapy (contrib/automotive/kwp) where it has them, and from memory of
// ISO 14230-3 elsewhere, which is then said.
package kwp

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"time"

	"readback/diag/exchange"
	"readback/diag/link"
)

// Options of a Client. The zero value suits a module behind a gateway.
type Options struct {
	P2       time.Duration // until an answer begins; 0 stands for 150 ms (P2 50 ms of ISO 14230-2 and a gateway's delay, common practice)
	P3       time.Duration // after each "working, wait"; 0 stands for 5 s (P3 of ISO 14230-2, within which it has to say more)
	Transfer time.Duration // on top of both: a long answer takes its time on the line; 0 stands for 1 s (255 bytes at 10.4 kbit/s take 0.3 s)
	Slack    time.Duration // on top of every wait, for the delay of an adapter that does its own waiting and tells silence itself; not told to it
	Cap      time.Duration // in all; 0 stands for 60 s (common practice)
	Tries    int           // of a read when the module is silent or the adapter breaks off; 0 stands for 2. Damaged answers are worth one more
}

func (o Options) withDefaults() Options {
	for _, d := range []struct {
		value *time.Duration
		usual time.Duration
	}{{&o.P2, 150 * time.Millisecond}, {&o.P3, 5 * time.Second}, {&o.Transfer, time.Second}, {&o.Cap, time.Minute}} {
		if *d.value == 0 {
			*d.value = d.usual
		}
	}
	if o.Tries == 0 {
		o.Tries = 2
	}
	return o
}

// protocol is what sets this standard apart.
var protocol = &exchange.Protocol{
	Name:     "kwp",
	Belongs:  belongs,
	Quiet:    quiet,
	OneFrame: func([]byte) bool { return false }, // from memory: any answer of a serial line may be long
	Busy:     func(code byte) bool { return NRC(code).busy() },
	Refused:  func(service, code byte) error { return &NegativeError{service, NRC(code)} },
	Shape:    func(answer []byte, why string) error { return &ShapeError{"refusal", answer, why} },
	NoAnswer: ErrNoAnswer, NoneAsked: ErrNoneAsked,
}

// Client asks one module. Its methods are called one at a time, and none from within the loop over [Client.Answers].
type Client struct{ x *exchange.Client }

// New makes a Client on a Link that carries the messages of one address, such as a [link.Peer].
func New(l link.Link, a link.Address, o Options) *Client {
	o = o.withDefaults()
	return &Client{exchange.New(l, a, exchange.Options{P2: o.P2, P2Star: o.P3, Transfer: o.Transfer, Slack: o.Slack, Cap: o.Cap, Tries: o.Tries}, protocol)}
}

// Results of a request that has no answer. Neither is a yes or a no.
var (
	// ErrNoAnswer is silence: no answer within P2, or within P3 after "working, wait".
	ErrNoAnswer = errors.New("kwp: no answer")
	// ErrNoneAsked is the silence that a request with "no answer, please" asks for (3E 02).
	ErrNoneAsked = errors.New("kwp: no answer, and none was asked for")
)

// NegativeError is a module's refusal.
type NegativeError struct {
	Service byte
	Code    NRC
}

func (e *NegativeError) Error() string {
	return fmt.Sprintf("kwp: service %02X refused: %02X %s", e.Service, byte(e.Code), e.Code.Name())
}

// Text is the refusal in plain words.
func (e *NegativeError) Text() string { return e.Code.Text() }

// ShapeError is an answer whose form does not fit its service.
type ShapeError struct {
	Op    string // what was read
	Bytes []byte // the whole answer
	Why   string // what does not fit
}

func (e *ShapeError) Error() string { return fmt.Sprintf("kwp: %s: %s: % X", e.Op, e.Why, e.Bytes) }

// Answers sends a request once and yields every message that belongs to it, "working, wait" (7F xx 78) included. The
// sequence ends after the final answer, or with an error: [ErrNoAnswer] on silence, [ErrNoneAsked] where the request
// asks for silence. What arrived before the request is dropped; answers to other services are ignored.
func (c *Client) Answers(ctx context.Context, request []byte) iter.Seq2[link.Message, error] {
	return c.x.Answers(ctx, request)
}

// Do sends a request once and waits for its final answer. A refusal is a [*NegativeError], silence [ErrNoAnswer], or
// [ErrNoneAsked] where the request asks for it.
func (c *Client) Do(ctx context.Context, request []byte) (answer []byte, err error) {
	return c.x.Do(ctx, request)
}

// read is Do for requests that change nothing: tried again on silence, a damaged answer, an alert, or a busy module.
func (c *Client) read(ctx context.Context, request ...byte) ([]byte, error) {
	return c.x.Read(ctx, request)
}
