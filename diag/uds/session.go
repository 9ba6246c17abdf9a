package uds

import (
	"context"
	"errors"
	"fmt"
	"time"

	"readback/diag/link"
	"readback/diag/pause"
)

// Sessions of service 10, ISO 14229-1:2020 table 25.
const (
	DefaultSession  byte = 0x01
	ExtendedSession byte = 0x03
)

var sessions = map[byte]string{
	0x01: "defaultSession", 0x02: "programmingSession", 0x03: "extendedDiagnosticSession", 0x04: "safetySystemDiagnosticSession",
}

// SessionName is the standard's name of a session; ok is false for those that it leaves to makers and suppliers.
func SessionName(kind byte) (name string, ok bool) {
	name, ok = sessions[kind]
	return name, ok
}

// gatewayDelay is added to the P2 that a module tells: it does not know of the gateways on the way (common practice).
const gatewayDelay = 100 * time.Millisecond

// keepEvery is the time without a request after which a session is kept open: S3 of the client, ISO 14229-2. The module
// leaves a session after 5 s (S3 of the server).
const keepEvery = 2 * time.Second

// Timing is what a module says of its own answer times (clause 10.2.3).
type Timing struct {
	P2     time.Duration // resolution 1 ms
	P2Star time.Duration // resolution 10 ms
}

// Session opens a diagnostic session (10 xx, clause 10.2), once. The times of the answer are used until the next session
// where they are longer than those of the options, P2 with the gateway's delay on top. Nothing keeps it open; see
// [Client.InSession].
func (c *Client) Session(ctx context.Context, kind byte) (Timing, error) {
	a, err := c.Do(ctx, []byte{sidSession, kind &^ suppress})
	if err != nil {
		return Timing{}, err
	}
	return c.opened(ctx, a)
}

func (c *Client) opened(ctx context.Context, a []byte) (Timing, error) {
	t, err := DecodeSession(a)
	p2 := t.P2
	if p2 > 0 {
		p2 += gatewayDelay
	}
	if err := c.x.Allow(ctx, p2, t.P2Star); err != nil {
		return t, err
	}
	return t, err
}

// InSession opens a session, runs do in it, and goes back to the default session (10 01), whatever do returns and even
// when ctx has ended. While do runs, 3E 80 is sent whenever 2 s have passed without a request. The context of do ends
// when the Link does. The error is that of opening, of do, or of going back; a module that does not take 10 01 leaves the
// session by itself after 5 s. Where the answer to opening has no times, do is not run.
func (c *Client) InSession(ctx context.Context, kind byte, do func(ctx context.Context) error) error {
	if _, err := c.Session(ctx, kind); err != nil {
		var shape *ShapeError
		if errors.As(err, &shape) { // it is open all the same
			return errors.Join(err, c.leave(ctx))
		}
		return err
	}
	inside, lost := context.WithCancelCause(ctx)
	kept := make(chan struct{})
	go func() {
		defer close(kept)
		if err := c.keep(inside); err != nil {
			lost(err)
		}
	}()
	err := do(inside)
	if cause := context.Cause(inside); err != nil && cause != nil && errors.Is(err, context.Canceled) {
		err = cause
	}
	lost(nil)
	<-kept
	return errors.Join(err, c.leave(ctx))
}

// leave goes back to the default session, even when ctx has ended.
func (c *Client) leave(ctx context.Context) error {
	ctx = context.WithoutCancel(ctx)
	a, err := c.read(ctx, sidSession, DefaultSession)
	if err == nil {
		_, err = c.opened(ctx, a)
	}
	if err != nil {
		return fmt.Errorf("uds: back to the default session: %w", err)
	}
	return nil
}

// keep keeps a session open until ctx ends. The error is one that ends the Link.
func (c *Client) keep(ctx context.Context) error {
	for {
		last, err := c.x.Last(ctx)
		if err != nil {
			return nil
		}
		if left := time.Until(last.Add(keepEvery)); left > 0 {
			if pause.For(ctx, left) != nil {
				return nil
			}
			continue
		}
		_, err = c.Do(ctx, Suppressed([]byte{sidTesterPresent, 0x00}))
		var refused *NegativeError
		switch {
		case ctx.Err() != nil:
			return nil
		case err == nil, errors.Is(err, ErrNoneAsked), errors.Is(err, ErrNoAnswer), errors.As(err, &refused), link.Passing(err):
		default:
			return err
		}
	}
}

// DecodeSession reads the answer to 10 xx: 50, session, P2 in milliseconds, P2* in steps of 10 ms.
func DecodeSession(a []byte) (Timing, error) {
	if len(a) < 6 {
		return Timing{}, &ShapeError{"diagnostic session control", a, "the four bytes of timing are missing"}
	}
	return Timing{
		P2:     time.Duration(word(a[2:])) * time.Millisecond,
		P2Star: time.Duration(word(a[4:])) * 10 * time.Millisecond,
	}, nil
}
