package elm

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/isotp"
	"readback/diag/link"
)

// conversation is the Link of an adapter. After start one goroutine, run, owns the wire and everything here that is not
// marked otherwise; Send, Receive and supply talk to it through channels.
type conversation struct {
	w        *wire
	tap      bus.Tap
	can      skills
	p        protocol          // as it is set now
	found    protocol          // as the car's bus was found; it does not change
	speed    int               // of the line in bit/s; 0 when it isn't seen
	first    int               // the speed at which the adapter was found
	hasty    bool              // bytes were lost at a faster speed than that
	set      map[string]string // settings as they are now, by name
	lost     bool              // the adapter has lost its settings
	sums     bool              // on a bus with header bytes: checksums are shown
	answered bool              // a module has answered while the bus was looked for
	tried    time.Time         // when the supply was last measured, with or without success

	setSpeed func(int) error // of the port; nil: it has none
	seen     quality         // from any goroutine
	volted   supplyLog       // from any goroutine

	asked map[link.ID]bool         // identifiers that we ask on: no answers
	pairs map[link.ID]link.Address // learnt from requests, by answer identifier
	next  *job                     // came in before the last request had ended

	jobs   chan *job   // from any goroutine
	out    chan result // to Receive
	ctx    context.Context
	cancel context.CancelFunc
	done   chan struct{}
	once   sync.Once
	err    error // why run ended; read it after done is closed
	closed error
}

type result struct {
	m   link.Message
	err error
}

// job is a message to send, or a question for the supply.
type job struct {
	ctx   context.Context
	m     link.Message
	volts bool
	reply chan reply
}

type reply struct {
	volts float64
	err   error
}

// outDepth is how many results wait for Receive; then the adapter waits.
const outDepth = 256

func (c *conversation) start() {
	c.ctx, c.cancel = context.WithCancel(context.Background())
	c.jobs, c.out, c.done = make(chan *job), make(chan result, outDepth), make(chan struct{})
	c.asked, c.pairs = map[link.ID]bool{}, map[link.ID]link.Address{}
	go c.run()
}

// run does one job after another until the port is gone or the conversation closed.
func (c *conversation) run() {
	defer close(c.done)
	rest := time.NewTimer(supplyEvery)
	defer rest.Stop()
	for {
		j := c.next
		c.next = nil
		if j == nil {
			var poll <-chan time.Time
			if c.can.supply {
				rest.Reset(c.idle())
				poll = rest.C
			}
			select {
			case <-c.ctx.Done():
				c.err = link.ErrClosed
				return
			case <-poll:
				if err := c.watch(); ends(err) {
					c.err = err
					return
				}
				continue
			case e, ok := <-c.w.events: // nobody asked: an alert, or what is left of a stopped request
				if !ok {
					c.err = c.w.gone()
					return
				}
				c.notice([]string{e.line})
				continue
			case j = <-c.jobs:
			}
		}
		if err := c.do(j); ends(err) {
			c.err = err
			return
		}
	}
}

// ends: the error ends the conversation.
func ends(err error) bool { return errors.Is(err, link.ErrGone) || errors.Is(err, link.ErrClosed) }

// do carries out a job. It replies in any case; its own error ends the conversation.
func (c *conversation) do(j *job) error {
	ctx, cancel := context.WithCancel(j.ctx)
	defer cancel()
	defer context.AfterFunc(c.ctx, cancel)()
	if j.volts {
		c.tried = time.Now()
		v, err := c.measure(ctx)
		j.reply <- reply{volts: v, err: c.shown(err)}
		return err
	}
	x, err := c.begin(ctx, j.m)
	j.reply <- reply{err: c.shown(err)}
	if err != nil {
		return err
	}
	return c.await(x)
}

// shown is an error as a caller should see it.
func (c *conversation) shown(err error) error {
	switch {
	case err == nil:
		return nil
	case c.ctx.Err() != nil:
		return link.ErrClosed
	case errors.Is(err, errSilent):
		return &link.AdapterError{Op: "waiting for its prompt", Text: noPrompt}
	}
	return err
}

func (c *conversation) measure(ctx context.Context) (float64, error) {
	v, ok, err := c.volts(ctx)
	if err == nil && !ok {
		err = &link.AdapterError{Op: "measuring the supply", Text: "no voltage"}
	}
	if err != nil {
		return 0, c.resume(err)
	}
	return c.volted.take(v, time.Now()), nil
}

// resume brings an adapter that has shown no prompt back to it, so that the next job finds it ready.
func (c *conversation) resume(err error) error {
	if !errors.Is(err, errSilent) {
		return err
	}
	if e := c.stop(); e != nil {
		return e
	}
	return err
}

// Send returns once the request line is written, after the request before it has ended. A message for which the
// adapter can't be set up is not sent.
func (c *conversation) Send(ctx context.Context, m link.Message) error {
	m.Data = slices.Clone(m.Data) // looked at again when answers come
	r, err := c.ask(ctx, &job{ctx: ctx, m: m})
	if err != nil {
		return err
	}
	return r.err
}

func (c *conversation) supply(ctx context.Context) (float64, error) {
	r, err := c.ask(ctx, &job{ctx: ctx, volts: true})
	if err != nil {
		return 0, err
	}
	return r.volts, r.err
}

// ask hands a job over. A job that run has taken is always replied to; one that it has not taken is not done.
func (c *conversation) ask(ctx context.Context, j *job) (reply, error) {
	j.reply = make(chan reply, 1)
	if err := ctx.Err(); err != nil {
		return reply{}, err
	}
	select {
	case <-c.done:
		return reply{}, c.err
	default:
	}
	select {
	case c.jobs <- j:
	case <-ctx.Done():
		return reply{}, ctx.Err()
	case <-c.done:
		return reply{}, c.err
	}
	select {
	case r := <-j.reply:
		return r, nil
	case <-c.done:
		select {
		case r := <-j.reply:
			return r, nil
		default:
			return reply{}, c.err // taken, not begun
		}
	}
}

// Receive returns the next complete message, or what the adapter says about the last request.
func (c *conversation) Receive(ctx context.Context) (link.Message, error) {
	if err := ctx.Err(); err != nil {
		return link.Message{}, err
	}
	select {
	case r := <-c.out:
		return r.m, r.err
	default:
	}
	select {
	case r := <-c.out:
		return r.m, r.err
	case <-ctx.Done():
		return link.Message{}, ctx.Err()
	case <-c.done:
		select {
		case r := <-c.out:
			return r.m, r.err
		default:
			return link.Message{}, c.err
		}
	}
}

// Close stops the adapter and closes the port.
func (c *conversation) Close() error {
	c.once.Do(func() {
		c.cancel()
		select {
		case <-c.done:
			if !errors.Is(c.err, link.ErrGone) {
				c.leave()
			}
		case <-time.After(leaveTime):
		}
		c.closed = c.w.close()
	})
	<-c.done
	return c.closed
}

func (c *conversation) deliver(r result) {
	select {
	case c.out <- r:
	case <-c.ctx.Done():
	}
}

func (c *conversation) show(d bus.Direction, f can.Frame, at time.Time) {
	if c.tap != nil {
		c.tap.Frame(d, f, at)
	}
}

// learn remembers which identifiers are ours and which answer belongs to which request.
func (c *conversation) learn(a link.Address) {
	c.asked[a.Request] = true
	if !a.Functional && !a.Answer.IsZero() {
		c.pairs[a.Answer] = a
	}
}

// sender tells who sent a frame; ok is false for frames that are no diagnostic answers.
func (c *conversation) sender(f can.Frame) (a link.Address, ok bool) {
	id := link.IDOf(f)
	if a, ok := c.pairs[id]; ok {
		return a, true
	}
	if c.asked[id] && !isotp.Answers(f) { // a search asks on identifiers that modules answer on
		return a, false
	}
	return link.Answering(id)
}

// tooLong is the refusal of a message of n bytes; nothing has been sent.
func tooLong(n int, why string) error {
	return fmt.Errorf("%w: %d bytes; %s", link.ErrTooLong, n, why)
}
