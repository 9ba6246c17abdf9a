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
	"sync"
	"time"

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

	air  sync.Mutex // held while a request is in the air: one at a time
	owed []byte     // the last request, where it was left without its final answer
	late time.Time  // until when that answer may still come
}

// New makes a Client on a Link that carries the messages of one address, such as a [link.Peer].
func New(l link.Link, a link.Address, o Options) *Client {
	return &Client{link: l, address: a, o: o.withDefaults()}
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
	Code    Code
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
	return func(yield func(link.Message, error) bool) {
		if len(request) == 0 {
			yield(link.Message{}, errors.New("kwp: an empty request can't be sent"))
			return
		}
		c.air.Lock()
		defer c.air.Unlock()
		if err := c.settle(ctx, request); err != nil {
			yield(link.Message{}, err)
			return
		}
		if err := c.link.Send(ctx, link.Message{Address: c.address, Data: request, Wait: c.o.P2}); err != nil {
			yield(link.Message{}, err)
			return
		}
		w := c.waitFor(request)
		defer c.owe(w)
		for {
			m, err := w.next(ctx, c.link)
			if err != nil {
				yield(link.Message{}, err)
				return
			}
			if !yield(m, nil) || w.done {
				return
			}
			w.more(c.o.P3 + c.o.Transfer + c.o.Slack)
		}
	}
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
	switch {
	case answer[0] != negativeAnswer:
		return answer, nil
	case len(answer) < 3:
		return nil, &ShapeError{"refusal", answer, "the reason is missing"}
	}
	return nil, &NegativeError{Service: answer[1], Code: Code(answer[2])}
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
		case errors.As(err, &negative) && negative.Code.busy() && busy < busyTries:
			busy++
			select {
			case <-time.After(busyPause):
			case <-ctx.Done():
				return nil, ctx.Err()
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
