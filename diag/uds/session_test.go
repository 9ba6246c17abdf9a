package uds_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/link"
	"readback/diag/pause"
	"readback/diag/uds"
)

// workshop is a module with sessions: it answers 10 xx, 22, and 3E 00, keeps quiet on 3E 80, and notes when it was asked
// what.
type workshop struct {
	*module
	asked []string
}

func newWorkshop(t *testing.T) *workshop {
	w := &workshop{}
	begun := time.Now()
	w.module = newModule(func(_ int, request []byte) []event {
		w.asked = append(w.asked, fmt.Sprintf("%X at %v", request, time.Since(begun)))
		switch {
		case request[0] == 0x10:
			return []event{{after: 10 * ms, data: []byte{0x50, request[1], 0x00, 0x32, 0x01, 0xF4}}}
		case request[0] == 0x22:
			return []event{{after: 10 * ms, data: []byte{0x62, request[1], request[2], 1}}}
		case bytes.Equal(request, []byte{0x3E, 0x80}):
			return nil
		}
		t.Errorf("asked %X", request)
		return nil
	})
	return w
}

// A session is kept open by 3E 80 after every 2 s without a request (S3 of the client, ISO 14229-2) and closed by 10 01.
func TestInSession(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWorkshop(t)
		c := client(w.module)
		err := c.InSession(t.Context(), uds.ExtendedSession, func(ctx context.Context) error {
			if err := pause.For(ctx, 5*time.Second); err != nil {
				return err
			}
			if _, err := c.ReadData(ctx, 0xDD00); err != nil {
				return err
			}
			return pause.For(ctx, 1900*ms)
		})
		want := []string{"1003 at 0s", "3E80 at 2.01s", "3E80 at 4.16s", "22DD00 at 5.01s", "1001 at 6.92s"}
		if err != nil || !slices.Equal(w.asked, want) {
			t.Errorf("%v: asked %q, want %q", err, w.asked, want)
		}
	})
}

// While a request is in the air nothing else is sent: one at a time.
func TestInSessionOneAtATime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var asked []string
		m := newModule(func(_ int, request []byte) []event {
			asked = append(asked, fmt.Sprintf("%X", request))
			switch request[0] {
			case 0x10:
				return []event{{data: []byte{0x50, request[1], 0x00, 0x32, 0x01, 0xF4}}}
			case 0x22:
				return []event{{after: 10 * ms, data: []byte{0x7F, 0x22, 0x78}}, {after: 4900 * ms, data: []byte{0x62, 0xDD, 0x00, 1}}}
			}
			return nil
		})
		c := client(m)
		err := c.InSession(t.Context(), uds.ExtendedSession, func(ctx context.Context) error {
			_, err := c.ReadData(ctx, 0xDD00)
			return err
		})
		if want := []string{"1003", "22DD00", "1001"}; err != nil || !slices.Equal(asked, want) {
			t.Errorf("%v: asked %q", err, asked)
		}
	})
}

// Whatever happens inside, the session is closed: a failure, and an owner who stops.
func TestInSessionEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWorkshop(t)
		wrong := errors.New("something inside")
		err := client(w.module).InSession(t.Context(), uds.ExtendedSession, func(context.Context) error { return wrong })
		if !errors.Is(err, wrong) || !slices.Equal(w.asked, []string{"1003 at 0s", "1001 at 10ms"}) {
			t.Errorf("%v: asked %q", err, w.asked)
		}
		w = newWorkshop(t)
		ctx, stop := context.WithCancel(t.Context())
		err = client(w.module).InSession(ctx, uds.ExtendedSession, func(ctx context.Context) error {
			stop()
			<-ctx.Done()
			return ctx.Err()
		})
		if !errors.Is(err, context.Canceled) || !slices.Equal(w.asked, []string{"1003 at 0s", "1001 at 10ms"}) {
			t.Errorf("%v: asked %q", err, w.asked)
		}
	})
}

// A session that was refused is not entered, and nothing is closed.
func TestInSessionRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := answers(0x7F, 0x10, 0x22)
		var refused *uds.NegativeError
		err := client(m).InSession(t.Context(), uds.ExtendedSession, func(context.Context) error { t.Error("inside"); return nil })
		if !errors.As(err, &refused) || m.requests() != 1 {
			t.Errorf("%v after %d requests", err, m.requests())
		}
	})
}

// A module that opens the session and does not tell its times has opened it: the session is closed again.
func TestInSessionWithoutTimes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var asked []string
		m := newModule(func(_ int, request []byte) []event {
			asked = append(asked, fmt.Sprintf("%X", request))
			return []event{{data: []byte{0x50, request[1]}}}
		})
		var shape *uds.ShapeError
		err := client(m).InSession(t.Context(), uds.ExtendedSession, func(context.Context) error { t.Error("inside"); return nil })
		if want := []string{"1003", "1001"}; !errors.As(err, &shape) || !slices.Equal(asked, want) {
			t.Errorf("%v: asked %q", err, asked)
		}
	})
}

// A module that does not take 3E 80 does not end the work; a Link that is gone does.
func TestInSessionKeeping(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var asked []string
		m := newModule(func(_ int, request []byte) []event {
			asked = append(asked, fmt.Sprintf("%X", request))
			if request[0] == 0x10 {
				return []event{{data: []byte{0x50, request[1], 0x00, 0x32, 0x01, 0xF4}}}
			}
			return []event{{data: []byte{0x7F, 0x3E, 0x12}}}
		})
		err := client(m).InSession(t.Context(), uds.ExtendedSession, func(ctx context.Context) error { return pause.For(ctx, 4500*ms) })
		if want := []string{"1003", "3E80", "3E80", "1001"}; err != nil || !slices.Equal(asked, want) {
			t.Errorf("%v: asked %q", err, asked)
		}

		m = newModule(func(int, []byte) []event { return []event{{data: []byte{0x50, 0x03, 0x00, 0x32, 0x01, 0xF4}}} })
		begun := time.Now()
		err = client(m).InSession(t.Context(), uds.ExtendedSession, func(ctx context.Context) error {
			m.Close()
			return pause.For(ctx, time.Minute)
		})
		if !errors.Is(err, link.ErrClosed) || errors.Is(err, context.Canceled) || time.Since(begun) != 2*time.Second {
			t.Errorf("%v after %v", err, time.Since(begun))
		}
	})
}

// The times that a session tells hold until the next one.
func TestTimesOfASession(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newModule(func(n int, request []byte) []event {
			if request[0] == 0x10 {
				p2 := map[byte]byte{3: 0x02, 1: 0x00}[request[1]]
				return []event{{data: []byte{0x50, request[1], p2, 0x32, 0x01, 0xF4}}}
			}
			return []event{{after: 600 * ms, data: []byte{0x7E, 0x00}}}
		})
		c := client(m)
		err := c.InSession(t.Context(), uds.ExtendedSession, func(ctx context.Context) error { return c.TesterPresent(ctx) })
		if err != nil || m.sent[1].Wait != 662*ms {
			t.Errorf("%v, wait %v", err, m.sent[1].Wait)
		}
		if err := c.TesterPresent(t.Context()); !errors.Is(err, uds.ErrNoAnswer) {
			t.Errorf("after the session: %v", err)
		}
	})
}
