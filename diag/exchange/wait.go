package exchange

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"readback/diag/link"
)

// Of a long answer whose first frame has come, N_Cr of ISO 15765-2 is the most between two frames; transports tell
// when it is over. A consecutive frame holds seven bytes, a single frame at most as many.
const (
	nCr        = time.Second
	frameBytes = 7
)

// waiting is one request in the air.
type waiting struct {
	p        *Protocol
	request  []byte
	transfer time.Duration // see Options.Transfer; 0 where the answer fits into one frame
	span     time.Duration // from the request, or the last word of patience, to until
	until    time.Time
	cap      time.Duration
	end      time.Time // when all patience ends, as long as no answer has begun; for one that has, a cap later
	begun    bool      // a long answer is under way
	told     bool      // the Link tells when a long answer has begun
	pending  bool      // the module has asked for time
	short    bool      // every answer fits into one frame
	quiet    bool      // the request asks for no positive answer
	done     bool      // the final answer is there, or an adapter has told that none comes
}

func (c *Client) waitFor(request []byte, p2 time.Duration) *waiting {
	w := &waiting{p: c.p, request: bytes.Clone(request), cap: c.o.Cap, end: time.Now().Add(c.o.Cap), short: c.p.OneFrame(request), quiet: c.p.Quiet(request)}
	if !w.short && !c.tells {
		w.transfer = c.o.Transfer
	}
	w.more(p2 + w.transfer + c.o.Slack)
	return w
}

// more gives the module time from now on, up to the cap.
func (w *waiting) more(d time.Duration) {
	w.until = time.Now().Add(d)
	if w.until.After(w.end) {
		w.until = w.end
	}
	w.span = time.Until(w.until)
}

// next waits for the next message that belongs to the request. An adapter that says that nothing came is believed,
// except after "working, wait" and while a long answer is under way.
func (w *waiting) next(ctx context.Context, l link.Link) (link.Message, error) {
	for {
		m, err := w.receive(ctx, l)
		var (
			torn    *link.TornError
			silence *link.SilenceError
		)
		switch {
		case err == nil && m.Begun != 0:
			w.begin(m.Begun)
		case err == nil && w.p.Belongs(w.request, m.Data):
			w.begun, w.pending = false, isPending(m.Data)
			w.done = !w.pending
			return m, nil
		case err == nil:
			w.other()
		case errors.As(err, &torn) && w.short && torn.Want > frameBytes:
			w.other()
		case errors.As(err, &silence) && (w.pending || w.begun):
		case errors.As(err, &silence):
			w.done = true
			return link.Message{}, w.silence(fmt.Sprintf(" (adapter: %s)", silence.Text))
		case ctx.Err() != nil:
			return link.Message{}, ctx.Err()
		case !time.Now().Before(w.until):
			return link.Message{}, w.silence(fmt.Sprintf(" within %v", w.span))
		default:
			w.done = true
			return link.Message{}, err
		}
	}
}

func (w *waiting) receive(ctx context.Context, l link.Link) (link.Message, error) {
	within, cancel := context.WithDeadline(ctx, w.until)
	defer cancel()
	return l.Receive(within)
}

// begin goes on waiting for a long answer as long as its frames may take: the transport tells its end, or that it is
// torn.
func (w *waiting) begin(length int) {
	w.begun, w.told = true, true
	frames := (length + frameBytes - 1) / frameBytes
	w.until = time.Now().Add(min(time.Duration(frames)*nCr, w.cap))
	if last := w.end.Add(w.cap); w.until.After(last) { // one after another may begin, and none be the answer
		w.until = last
	}
}

// other: a message of an earlier request has ended. While it lasted the module could not begin this one's answer.
func (w *waiting) other() {
	if w.begun {
		w.begun = false
		w.more(w.span)
	}
}

// silence is the result when nothing more comes. A module that has asked for time owes an answer, whether the request
// asked for one or not (ISO 14229-1 clause 8.7).
func (w *waiting) silence(how string) error {
	if w.quiet && !w.pending {
		return fmt.Errorf("%w: service %02X", w.p.NoneAsked, w.request[0])
	}
	return fmt.Errorf("%w to service %02X%s", w.p.NoAnswer, w.request[0], how)
}

func isPending(data []byte) bool {
	return len(data) >= 3 && data[0] == negativeAnswer && data[2] == pendingCode
}

// owed is a request that was left without its final answer, which may still come until then.
type owed struct {
	request []byte
	until   time.Time
}

// owe notes that the answer of a request may still come, and whether the Link tells when a long one has begun.
func (c *Client) owe(w *waiting) {
	c.tells = c.tells || w.told
	c.owed = owed{}
	if !w.done && !w.quiet {
		c.owed = owed{w.request, time.Now().Add(c.o.P2)}
	}
}

// settle drops what is left over from earlier requests: a late answer, or an adapter's word that none came. A late
// answer that could be taken for one of this request is waited for during another P2.
func (c *Client) settle(ctx context.Context, request []byte) error {
	c.drop(ctx, time.Time{})
	if late := c.owed.request; len(late) > 0 && late[0] == request[0] && !bytes.Equal(late, request) {
		c.drop(ctx, c.owed.until)
	}
	return ctx.Err()
}

// drop drops what has arrived, and what arrives until then or until the late answer. That the Link has ended shows when
// the request is sent.
func (c *Client) drop(ctx context.Context, until time.Time) {
	within, cancel := context.WithDeadline(ctx, until)
	defer cancel()
	for {
		m, err := c.link.Receive(within)
		switch late := c.owed.request; {
		case err == nil && len(late) > 0 && c.p.Belongs(late, m.Data) && !isPending(m.Data):
			c.owed = owed{}
			if !until.IsZero() {
				return
			}
		case err != nil && !link.Passing(err):
			return
		}
	}
}
