package kwp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"readback/diag/link"
)

// waiting is one request in the air.
type waiting struct {
	request []byte
	until   time.Time
	cap     time.Time // when all patience ends
	begun   bool      // a long answer is under way
	pending bool      // the module has asked for time
	done    bool      // the final answer is there, or an adapter has told that none comes
}

func (c *Client) waitFor(request []byte) *waiting {
	w := &waiting{request: bytes.Clone(request), cap: time.Now().Add(c.o.Cap)}
	w.more(c.o.P2 + c.o.Transfer + c.o.Slack)
	return w
}

// more gives the module time from now on, up to the cap.
func (w *waiting) more(d time.Duration) {
	w.until = time.Now().Add(d)
	if w.until.After(w.cap) {
		w.until = w.cap
	}
}

// next waits for the next message that belongs to the request. An adapter that says that nothing came is believed,
// except after "working, wait" and while a long answer is under way. Of that the transport tells the end, or that it is
// torn.
func (w *waiting) next(ctx context.Context, l link.Link) (link.Message, error) {
	for {
		m, err := w.receive(ctx, l)
		var silence *link.SilenceError
		switch {
		case err == nil && m.Begun != 0:
			w.begun, w.until = true, w.cap
		case err == nil && belongs(w.request, m.Data):
			w.begun, w.pending = false, isPending(m.Data)
			w.done = !w.pending
			return m, nil
		case err == nil:
		case errors.As(err, &silence) && (w.pending || w.begun):
		case errors.As(err, &silence):
			w.done = true
			return link.Message{}, w.silence(fmt.Sprintf(" (adapter: %s)", silence.Text))
		case ctx.Err() != nil:
			return link.Message{}, ctx.Err()
		case !time.Now().Before(w.until):
			return link.Message{}, w.silence("")
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

// silence is the result when nothing more comes. A module that has asked for time owes an answer in any case.
func (w *waiting) silence(how string) error {
	if w.quiet() && !w.pending {
		return fmt.Errorf("%w: service %02X", ErrNoneAsked, w.request[0])
	}
	return fmt.Errorf("%w to service %02X%s", ErrNoAnswer, w.request[0], how)
}

// quiet: the request asks for no positive answer: responseRequired of 3E is 02.
func (w *waiting) quiet() bool {
	return len(w.request) == 2 && w.request[0] == sidTesterPresent && w.request[1] == noResponse
}

// owe notes that the answer of a request may still come.
func (c *Client) owe(w *waiting) {
	c.owed = nil
	if !w.done && !w.quiet() {
		c.owed, c.late = w.request, time.Now().Add(c.o.P2)
	}
}

// settle drops what is left over from earlier requests: a late answer, or an adapter's word that none came. A late
// answer that could be taken for one of this request is waited for during another P2.
func (c *Client) settle(ctx context.Context, request []byte) error {
	var until time.Time
	if len(c.owed) > 0 && c.owed[0] == request[0] && !bytes.Equal(c.owed, request) {
		until = c.late
	}
	within, cancel := context.WithDeadline(ctx, until)
	defer cancel()
	for ended := false; !ended; {
		_, err := c.link.Receive(within)
		// That the Link has ended shows when the request is sent.
		ended = err != nil && !link.Passing(err)
	}
	return ctx.Err()
}
