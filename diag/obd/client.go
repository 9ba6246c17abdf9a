// Package obd is the client of SAE J1979 / ISO 15031-5: emission-related services that any car of the standard answers,
// asked of one module or, with a functional address, of all modules at once.
//
// What is decoded here is the form on CAN (ISO 15765-4). For the older buses there are [DecodeCodesSerial],
// [DecodeSerialTest] and [DecodeSensorTest] (service 05 is on those only); numbered messages are put together by the Link of
// such a bus, see [link.AtHeader]. SAE J1979-2 and J1979-3 ask for the same things by data identifiers: [DecodeIdentifier]. Service 08
// works parts of the car and is not here; a clear (04) is made here, but sent elsewhere.
//
// Unknown stays raw: every value keeps its bytes, and one that is not described has no readings.
package obd

import (
	"context"
	"errors"
	"fmt"
	"time"

	"readback/diag/link"
)

// Services of SAE J1979.
const (
	sidCurrent   = 0x01
	sidFrozen    = 0x02
	sidStored    = 0x03
	sidClear     = 0x04
	sidSelfTests = 0x06
	sidPending   = 0x07
	sidVehicle   = 0x09
	sidPermanent = 0x0A

	negativeAnswer = 0x7F
	pendingCode    = 0x78
)

// Options of a Client. The zero value suits a car with a gateway.
type Options struct {
	Window   time.Duration // for first answers; 0 stands for 200 ms (P2 50 ms of ISO 15765-4 and gateways' delay, common practice)
	Transfer time.Duration // on top, where answers may have further frames; 0 stands for 300 ms (common practice)
	Slack    time.Duration // on top until the first answer, for the delay of an adapter that does its own waiting and tells silence itself; not told to it
	P2Star   time.Duration // for a module that says "working, wait"; 0 stands for 5 s (ISO 15765-4)
	Cap      time.Duration // in all; 0 stands for 30 s (common practice)
}

func (o Options) withDefaults() Options {
	set := func(d *time.Duration, v time.Duration) {
		if *d == 0 {
			*d = v
		}
	}
	set(&o.Window, 200*time.Millisecond)
	set(&o.Transfer, 300*time.Millisecond)
	set(&o.P2Star, 5*time.Second)
	set(&o.Cap, 30*time.Second)
	return o
}

// Client asks one module or all of them. Its methods are called one at a time.
type Client struct {
	link    link.Link
	address link.Address
	o       Options
}

// New makes a Client on a Link that carries the messages of one address, physical or functional.
func New(l link.Link, a link.Address, o Options) *Client {
	return &Client{link: l, address: a, o: o.withDefaults()}
}

// ErrNoAnswer is silence: no module answered in time. It is neither yes nor no; battery cars are often silent here.
var ErrNoAnswer = errors.New("obd: no answer")

// NegativeError is a module's refusal. On CAN the codes 10, 11, 12, 21, 22, 31 are in use (ISO 15031-5).
type NegativeError struct {
	Service byte
	Code    byte // negative response code, ISO 14229-1 annex A.1
}

func (e *NegativeError) Error() string {
	return fmt.Sprintf("obd: service %02X refused: %02X", e.Service, e.Code)
}

// ShapeError is an answer whose form does not fit its service.
type ShapeError struct {
	Op    string // what was read
	Bytes []byte // the whole answer
	Why   string // what does not fit
}

func (e *ShapeError) Error() string { return fmt.Sprintf("obd: %s: %s: % X", e.Op, e.Why, e.Bytes) }

// Result is what one module said to a question. Err is nil, a [*NegativeError], a [*ShapeError] or a [*link.TornError].
type Result[T any] struct {
	Value T
	Err   error
}

// Answers are the results by the identifier that each module answers on.
type Answers[T any] map[link.ID]Result[T]

// Ask sends a request once and collects the final answers: of one module until it has answered, of a functional
// address until the window is over and every module that asked for time, or has begun a long answer, is done. It must
// not be used for anything that changes the car: when the adapter breaks off, or the answer of the one module asked arrives
// damaged, it is sent again, up to two more times. When nobody answered, the error is [ErrNoAnswer].
func (c *Client) Ask(ctx context.Context, request []byte) (Answers[[]byte], error) {
	for try := 1; ; try++ {
		got, err := c.once(ctx, request)
		if try == tries || ctx.Err() != nil || !c.spoilt(got, err) {
			return got, err
		}
	}
}

// tries is how often a question is asked in all.
const tries = 3

// spoilt: an adapter has broken off, or what the one module asked has answered is damaged.
func (c *Client) spoilt(got Answers[[]byte], err error) bool {
	var alert *link.AdapterError
	if err != nil || c.address.Functional {
		return errors.As(err, &alert)
	}
	for _, r := range got {
		if r.Err == nil || !link.Damaged(r.Err) {
			return false
		}
	}
	return true
}

// once is Ask without a second try.
func (c *Client) once(ctx context.Context, request []byte) (Answers[[]byte], error) {
	if len(request) == 0 {
		return nil, errors.New("obd: an empty request can't be sent")
	}
	c.drain()
	if err := c.link.Send(ctx, link.Message{Address: c.address, Data: request, Wait: c.o.Window}); err != nil {
		return nil, err
	}
	window := c.window(request)
	r := collecting{
		request: request,
		one:     !c.address.Functional,
		window:  window,
		until:   time.Now().Add(window + c.o.Slack),
		most:    time.Now().Add(c.o.Cap),
		p2Star:  c.o.P2Star,
		waiting: map[link.ID]time.Time{},
		begun:   map[link.ID]bool{},
		got:     Answers[[]byte]{},
	}
	if err := r.collect(ctx, c.link); err != nil {
		return nil, err
	}
	switch {
	case len(r.got) == 0 && r.damage != nil:
		return nil, r.damage
	case len(r.got) == 0:
		return nil, fmt.Errorf("%w to service %02X from %s", ErrNoAnswer, request[0], c.address)
	}
	return r.got, nil
}

// window is longer for requests whose answers may have several frames: a Link hands over whole messages.
func (c *Client) window(request []byte) time.Duration {
	switch request[0] {
	case sidStored, sidSelfTests, sidPending, sidPermanent, sidVehicle:
		return c.o.Window + c.o.Transfer
	case sidCurrent, sidFrozen:
		if len(request) > 3 || longAnswer(request) {
			return c.o.Window + c.o.Transfer
		}
	}
	return c.o.Window
}

// longAnswer: the one parameter asked for, or the first of them, does not fit a single frame with its head.
func longAnswer(request []byte) bool {
	return len(request) > 1 && parameters[request[1]].size > 4
}

// drain drops what is left over from earlier requests: a late answer, or an adapter's word that none came.
func (c *Client) drain() {
	now, cancel := context.WithCancel(context.Background())
	cancel()
	for {
		_, err := c.link.Receive(now)
		if err != nil && !link.Passing(err) {
			return // nothing is left; that the Link has ended shows when the request is sent
		}
	}
}

// collecting is one question under way.
type collecting struct {
	request []byte
	one     bool // one module is asked
	window  time.Duration
	until   time.Time
	most    time.Time // the cap
	p2Star  time.Duration
	waiting map[link.ID]time.Time // modules that asked for time, and until when they have it
	begun   map[link.ID]bool      // modules whose long answer is under way; the transport tells its end or that it is torn
	got     Answers[[]byte]
	damage  error // an answer came that can't be read, nobody knows whose
}

func (r *collecting) collect(ctx context.Context, l link.Link) error {
	for {
		end, more := r.deadline()
		if !more {
			return nil
		}
		within, cancel := context.WithDeadline(ctx, end)
		m, err := l.Receive(within)
		over := within.Err() != nil
		cancel()
		var (
			torn    *link.TornError
			silence *link.SilenceError
		)
		switch {
		case err == nil:
			r.take(m)
		case link.Damaged(err) && !errors.As(err, &torn) && !r.one:
			r.damage = err // the others' answers count
		case errors.As(err, &torn):
			delete(r.begun, torn.Address.Answer)
			r.settle(torn.Address.Answer, Result[[]byte]{Err: torn})
		case errors.As(err, &silence) && len(r.waiting)+len(r.begun) > 0:
		case errors.As(err, &silence):
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case over:
			r.expire(end)
		default:
			return err
		}
	}
}

// deadline is when waiting ends; more is false when it has ended.
func (r *collecting) deadline() (end time.Time, more bool) {
	if r.one && len(r.got) > 0 {
		return end, false
	}
	end = r.until
	for _, t := range r.waiting {
		if t.After(end) {
			end = t
		}
	}
	if end.After(r.most) || len(r.begun) > 0 {
		end = r.most
	}
	return end, time.Now().Before(end)
}

// expire gives up on the modules whose time is over.
func (r *collecting) expire(now time.Time) {
	for id, t := range r.waiting {
		if !t.After(now) {
			delete(r.waiting, id)
		}
	}
}

func (r *collecting) take(m link.Message) {
	id := m.Address.Answer
	a := m.Data
	delete(r.begun, id)
	if m.Begun == 0 && !belongs(r.request, a) {
		return
	}
	if last := time.Now().Add(r.window); last.Before(r.until) && len(r.got)+len(r.waiting)+len(r.begun) == 0 {
		r.until = last // the others answer within the window of the first
	}
	switch {
	case m.Begun != 0:
		r.begun[id] = true
	case a[0] == negativeAnswer && len(a) < 3:
		r.settle(id, Result[[]byte]{Err: &ShapeError{"refusal", a, "the reason is missing"}})
	case a[0] == negativeAnswer && a[2] == pendingCode:
		r.waiting[id] = time.Now().Add(r.p2Star)
		if r.one {
			r.until = r.waiting[id]
		}
	case a[0] == negativeAnswer:
		r.settle(id, Result[[]byte]{Err: &NegativeError{a[1], a[2]}})
	default:
		r.settle(id, Result[[]byte]{Value: a})
	}
}

// settle notes a module's final answer; a second one does not replace the first.
func (r *collecting) settle(id link.ID, x Result[[]byte]) {
	delete(r.waiting, id)
	if old, ok := r.got[id]; !ok || old.Err != nil {
		r.got[id] = x
	}
}

// belongs: the positive answer of the same service with the same parameter, or a refusal of the service.
func belongs(request, answer []byte) bool {
	switch {
	case len(answer) == 0:
		return false
	case answer[0] == negativeAnswer:
		return len(answer) > 1 && answer[1] == request[0]
	case answer[0] != request[0]|0x40:
		return false
	}
	switch request[0] {
	case sidCurrent, sidSelfTests, sidVehicle:
		for _, p := range request[1:] {
			if len(answer) < 2 || answer[1] == p {
				return true
			}
		}
		return false
	case sidFrozen:
		return len(request) < 3 || len(answer) < 3 || answer[1] == request[1] && answer[2] == request[2]
	}
	return true
}

// ask is Ask with each answer decoded.
func ask[T any](ctx context.Context, c *Client, decode func([]byte) (T, error), request ...byte) (Answers[T], error) {
	raw, err := c.Ask(ctx, request)
	if err != nil {
		return nil, err
	}
	out := Answers[T]{}
	for id, r := range raw {
		x := Result[T]{Err: r.Err}
		if r.Err == nil {
			x.Value, x.Err = decode(r.Value)
		}
		out[id] = x
	}
	return out, nil
}
