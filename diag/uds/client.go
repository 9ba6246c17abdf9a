// Package uds is the client of ISO 14229-1, unified diagnostic services, for one module at a time.
//
// A request is a service identifier and its parameters; a positive answer begins with the service identifier plus
// 40 hex, a refusal is 7F, the service identifier, and a negative response code. "7F xx 78" is never an answer: it
// means that the module needs more time.
//
// The methods named after what they read try again a bounded number of times when the module is silent, busy, or its
// answer is torn. [Client.Answers] and [Client.Do] send exactly once, whatever happens.
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
	Transfer time.Duration // on top of both, for the further frames of an answer that may be long; 0 stands for 1 s (common practice)
	Slack    time.Duration // on top of every wait, for the delay of an adapter that does its own waiting and tells silence itself; not told to it
	Cap      time.Duration // in all; 0 stands for 60 s (common practice)
	Tries    int           // of a read when the module is silent or its answer is torn; 0 stands for 2
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

// Client asks one module. Its methods are called one at a time.
type Client struct {
	link    link.Link
	address link.Address
	o       Options
}

// New makes a Client on a Link that carries the messages of one address, such as a [link.Peer].
func New(l link.Link, a link.Address, o Options) *Client {
	return &Client{link: l, address: a, o: o.withDefaults()}
}

// ErrNoAnswer is silence: no answer within P2, or within P2* after "working, wait". It is neither yes nor no.
var ErrNoAnswer = errors.New("uds: no answer")

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
// sequence ends after the final answer, or with an error: [ErrNoAnswer] on silence. What arrived before the request
// is dropped; answers to other services, sub-functions or identifiers are ignored.
func (c *Client) Answers(ctx context.Context, request []byte) iter.Seq2[link.Message, error] {
	return func(yield func(link.Message, error) bool) {
		if len(request) == 0 {
			yield(link.Message{}, errors.New("uds: an empty request can't be sent"))
			return
		}
		c.drain()
		if err := c.link.Send(ctx, link.Message{Address: c.address, Data: request, Wait: c.o.P2}); err != nil {
			yield(link.Message{}, err)
			return
		}
		end := time.Now().Add(c.o.Cap)
		wait, pending := c.o.P2, false
		for {
			m, err := c.next(ctx, request, min(wait+c.transfer(request)+c.o.Slack, time.Until(end)), pending)
			if err != nil {
				yield(link.Message{}, err)
				return
			}
			pending = isPending(m.Data)
			if !yield(m, nil) || !pending {
				return
			}
			wait = c.o.P2Star
		}
	}
}

// transfer is how much longer than its first frame a whole answer may take: a Link hands over whole messages, so the
// frames after the first count into the wait. Answers that fit into one frame need nothing.
func (c *Client) transfer(request []byte) time.Duration {
	switch request[0] {
	case sidSession, 0x11, sidClear, sidTesterPresent, 0x85:
		return 0
	case sidReadCodes:
		if len(request) > 1 && (request[1]&0x7F == reportNumber || request[1]&0x7F == 0x07) {
			return 0
		}
	}
	return c.o.Transfer
}

// drain drops what is left over from earlier requests: a late answer, or an adapter's word that none came.
func (c *Client) drain() {
	now, cancel := context.WithCancel(context.Background())
	cancel()
	for {
		_, err := c.link.Receive(now)
		var (
			torn    *link.TornError
			silence *link.SilenceError
			alert   *link.AdapterError
		)
		if err != nil && !errors.As(err, &torn) && !errors.As(err, &silence) && !errors.As(err, &alert) {
			return // nothing is left; that the Link has ended shows when the request is sent
		}
	}
}

func isPending(data []byte) bool {
	return len(data) >= 3 && data[0] == negativeAnswer && NRC(data[2]) == ResponsePending
}

// next waits for the next message that belongs to request. An adapter that says that nothing came is believed,
// except after "working, wait": then the answer may still be on its way.
func (c *Client) next(ctx context.Context, request []byte, wait time.Duration, pending bool) (link.Message, error) {
	within, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	for {
		m, err := c.link.Receive(within)
		var silence *link.SilenceError
		switch {
		case err == nil && belongs(request, m.Data):
			return m, nil
		case err == nil:
		case errors.As(err, &silence) && pending:
		case errors.As(err, &silence):
			return link.Message{}, fmt.Errorf("%w to service %02X (adapter: %s)", ErrNoAnswer, request[0], silence.Text)
		case ctx.Err() != nil:
			return link.Message{}, ctx.Err()
		case within.Err() != nil:
			return link.Message{}, fmt.Errorf("%w to service %02X within %v", ErrNoAnswer, request[0], wait)
		default:
			return link.Message{}, err
		}
	}
}

// belongs: the positive answer of the same service, echoing what the service echoes, or a refusal of it. An answer
// too short to tell belongs: its form is judged later.
func belongs(request, answer []byte) bool {
	switch {
	case len(answer) == 0:
		return false
	case answer[0] == negativeAnswer && request[0] != 0x3F:
		return len(answer) > 1 && answer[1] == request[0]
	case answer[0] != request[0]|0x40:
		return false
	}
	from, n := 1, 0
	switch request[0] {
	case sidSession, 0x11, 0x27, 0x28, 0x31, sidTesterPresent, 0x85, sidReadCodes:
		if len(request) > 1 && len(answer) > 1 && answer[1]&0x7F != request[1]&0x7F {
			return false
		}
		if request[0] == sidReadCodes && len(request) == 6 && (request[1]&0x7F == reportSnapshot || request[1]&0x7F == reportExtended) {
			from, n = 2, 3 // the code
		}
	case sidReadData:
		return len(answer) < 3 || asks(request, word(answer[1:]))
	case 0x24, 0x2E, 0x2F:
		n = 2
	}
	for i := from; i < from+n && i < len(request) && i < len(answer); i++ {
		if request[i] != answer[i] {
			return false
		}
	}
	return true
}

// asks reports whether a request of service 22 names an identifier; a module leaves out those that it does not know.
func asks(request []byte, id uint16) bool {
	for b := request[1:]; len(b) >= 2; b = b[2:] {
		if word(b) == id {
			return true
		}
	}
	return false
}

// Do sends a request once and waits for its final answer. A refusal is a [*NegativeError], silence [ErrNoAnswer].
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

// read is Do for requests that change nothing: tried again on silence, a torn answer, or a busy module.
func (c *Client) read(ctx context.Context, request ...byte) ([]byte, error) {
	busy := 0
	for try := 1; ; {
		answer, err := c.Do(ctx, request)
		var (
			torn     *link.TornError
			negative *NegativeError
		)
		switch {
		case err == nil:
			return answer, nil
		case errors.As(err, &negative) && negative.Code == BusyRepeatRequest && busy < busyTries:
			busy++
			if err := pause(ctx, busyPause); err != nil {
				return nil, err
			}
		case (errors.Is(err, ErrNoAnswer) || errors.As(err, &torn)) && try < c.o.Tries && ctx.Err() == nil:
			try++
		default:
			return nil, err
		}
	}
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
