package uds

import (
	"context"
	"time"
)

// Sessions of service 10, ISO 14229-1:2020 table 25.
const (
	DefaultSession  byte = 0x01
	ExtendedSession byte = 0x03
)

// gatewayDelay is added to the P2 that a module tells: it does not know of the gateways on the way (common practice).
const gatewayDelay = 100 * time.Millisecond

// Timing is what a module says of its own answer times (clause 10.2.3).
type Timing struct {
	P2     time.Duration // resolution 1 ms
	P2Star time.Duration // resolution 10 ms
}

// Session opens a diagnostic session (10 xx, clause 10.2). The times of the answer are used from then on where they
// are longer than those of the options, P2 with the gateway's delay on top.
func (c *Client) Session(ctx context.Context, kind byte) (Timing, error) {
	a, err := c.Do(ctx, []byte{sidSession, kind & 0x7F})
	if err != nil {
		return Timing{}, err
	}
	t, err := DecodeSession(a)
	if err == nil {
		c.told = t
	}
	return t, err
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
