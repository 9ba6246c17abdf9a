package elm

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"go.einride.tech/can"

	"readback/diag/isotp"
	"readback/diag/link"
)

// filler fills frames up to 8 bytes, as in the raw-frame transport.
const filler = 0x55

const (
	waitUnit    = 4 * time.Millisecond // of AT ST
	longestWait = 0xFF * waitUnit      // 1.02 s
	// lineDelay is for the line: NO DATA should arrive within the time that the sender of the request waits (from
	// memory: USB bridges hold bytes back for up to 16 ms).
	lineDelay = 32 * time.Millisecond
)

func headed(a link.Address) bool { return a.Mode == link.Extended || a.Mode == link.Mixed }

// fields are the data fields of the frames that carry m. Without CAF0 the adapter makes the only one from the payload.
func (c *conversation) fields(m link.Message) ([][]byte, error) {
	a := m.Address
	layout := isotp.Layout{Extended: headed(a), Address: a.Target, Pad: filler}
	most := layout.SingleLength()
	switch {
	case a.Request.IsZero():
		return nil, errors.New("elm: a message needs a request identifier")
	case a.Request.Extended && !c.can.wide:
		return nil, &link.AdapterError{Op: "addressing " + a.Request.String(), Text: "no 29-bit identifiers"}
	case m.Exact != nil && !c.can.exact:
		return nil, link.ErrNotExact
	case m.Exact != nil:
		payload, ok := isotp.SinglePayload(m.Exact, headed(a))
		if !ok || !bytes.Equal(payload, m.Data) || headed(a) && m.Exact[0] != a.Target {
			return nil, fmt.Errorf("%w: % X is not a single frame with the payload % X", link.ErrNotExact, m.Exact, m.Data)
		}
		if len(m.Exact) < can.MaxDataLength && !c.can.short {
			return nil, fmt.Errorf("%w: it fills frames up to 8 bytes", link.ErrNotExact)
		}
		return [][]byte{m.Exact}, nil
	case len(m.Data) > most && a.Functional:
		return nil, tooLong(len(m.Data), fmt.Sprintf("to all modules at once a single frame carries %d", most))
	case len(m.Data) > most && a.Answer.IsZero():
		return nil, tooLong(len(m.Data), fmt.Sprintf("the answer identifier of %s is not known", a.Request))
	case len(m.Data) > most && (!c.can.exact || !c.can.quiet):
		return nil, tooLong(len(m.Data), "this adapter sends single frames only")
	case len(m.Data) > maxLength:
		return nil, tooLong(len(m.Data), fmt.Sprintf("the longest is %d", maxLength))
	case headed(a) && !c.can.exact:
		return nil, &link.AdapterError{Op: "addressing " + a.Request.String(), Text: "no frames with an address byte"}
	case !c.can.exact && len(m.Data) > 0:
		return [][]byte{m.Data}, nil
	}
	return isotp.Segment(m.Data, layout)
}

// maxLength is the longest request: what a first frame with a 12-bit length announces.
const maxLength = 4095

// prepare sets the adapter up for a request. After a reset in between it does so once more: nothing has been sent yet.
func (c *conversation) prepare(ctx context.Context, m link.Message, fields [][]byte) error {
	for try := 0; ; try++ {
		err := c.resume(c.settings(ctx, m, fields))
		if !c.lost || try > 0 || ctx.Err() != nil || errors.Is(err, link.ErrGone) || errors.Is(err, link.ErrClosed) {
			return err
		}
	}
}

func (c *conversation) settings(ctx context.Context, m link.Message, fields [][]byte) error {
	if c.lost {
		if err := c.setUpAgain(ctx); err != nil {
			return err
		}
	}
	a := m.Address
	for _, step := range []func() error{
		func() error { return c.setProtocol(ctx, a.Request.Extended) },
		func() error { return c.setHeader(ctx, a.Request) },
		func() error { return c.setFilter(ctx, a) },
		func() error { return c.setFlow(ctx, a) },
		func() error { return c.setWait(ctx, m) },
		func() error { return c.setShort(ctx, len(fields[0]) < can.MaxDataLength && c.can.exact) },
		func() error { return c.setAnswers(ctx, true) },
	} {
		if err := step(); err != nil {
			return err
		}
		if c.lost {
			return &link.AdapterError{Op: "setting up", Text: "LV RESET"}
		}
	}
	return nil
}

// setProtocol changes between the two identifier widths of the bus. A new protocol begins with its own header and
// filter.
func (c *conversation) setProtocol(ctx context.Context, wide bool) error {
	if c.p.wide == wide {
		return nil
	}
	twin := protocols[c.p.twin]
	if err := c.apply(ctx, "protocol", "ATSP"+string(twin.number)); err != nil {
		return err
	}
	c.use(twin)
	return nil
}

func (c *conversation) setHeader(ctx context.Context, id link.ID) error {
	s := id.String()
	if !id.Extended {
		return c.apply(ctx, "header", "ATSH"+s)
	}
	return c.apply(ctx, "header", "ATCP"+s[:2], "ATSH"+s[2:])
}

// setFilter lets through the one answer identifier, or every diagnostic one when it is not known or all modules are
// asked. An adapter without either shows what follows the standard.
func (c *conversation) setFilter(ctx context.Context, a link.Address) error {
	id, mask := a.Answer, link.ID{Value: can.MaxID, Extended: false}
	switch {
	case (a.Functional || id.IsZero()) && a.Request.Extended:
		id, mask = link.ID29(0x18DAF100), link.ID29(0x1FFFFF00)
	case a.Functional || id.IsZero():
		id, mask = link.ID11(0x700), link.ID11(0x700)
	case id.Extended:
		mask = link.ID29(can.MaxExtendedID)
	}
	single := !a.Functional && !a.Answer.IsZero()
	switch {
	case single && c.can.receive:
		return c.apply(ctx, "filter", "ATCRA"+id.String())
	case c.can.masks:
		return c.apply(ctx, "filter", "ATCF"+id.String(), "ATCM"+mask.String())
	}
	return nil
}

// setFlow lets the adapter permit long answers of this module. For all modules at once it answers each by itself
// (FC SM 0), which covers the identifiers of the standard.
func (c *conversation) setFlow(ctx context.Context, a link.Address) error {
	if !c.can.flow {
		return nil
	}
	if a.Functional || a.Answer.IsZero() || headed(a) {
		return c.apply(ctx, "flow mode", "ATFCSM0")
	}
	if err := c.apply(ctx, "flow header", "ATFCSH"+a.Request.String()); err != nil {
		return err
	}
	if err := c.apply(ctx, "flow data", "ATFCSD"+typed([]byte{0x30, 0x00, c.separation()})); err != nil {
		return err
	}
	return c.apply(ctx, "flow mode", "ATFCSM1")
}

const (
	longestRow = 26 // characters of a frame with a 29-bit identifier, the count of its bytes and the end of the line
	bitsEach   = 10 // a start bit, eight bits, a stop bit
	// usualSpeed stands for a line whose speed we don't see: a network adapter has one inside (common practice).
	usualSpeed = 115200
)

// separation is the STmin that we ask of a module, in ms: as long as the line needs for one frame. Without it a long
// answer fills the adapter's buffer of 512 bytes faster than the line empties it (BUFFER FULL, p. 87).
func (c *conversation) separation() byte {
	speed := c.speed
	if speed == 0 {
		speed = usualSpeed
	}
	ms := (longestRow*bitsEach*1000 + speed - 1) / speed
	return byte(min(ms, 0x7F))
}

// selfFlow: the adapter sends flow control by itself for answers of a.
func (c *conversation) selfFlow(a link.Address) bool {
	if headed(a) {
		return false
	}
	request, ok := link.DefaultRequest(a.Answer)
	return c.set["flow mode"] == "ATFCSM1" || ok && request == a.Request
}

// setWait sets how long the adapter waits for an answer. A request whose wait is left to it, and one that must go out
// exactly, get the longest there is, so that a late answer still finds the adapter listening.
func (c *conversation) setWait(ctx context.Context, m link.Message) error {
	d := max(m.Wait-lineDelay, m.Wait*3/4)
	if d <= 0 || m.Exact != nil || m.Wait > longestWait {
		d = longestWait
	}
	return c.apply(ctx, "wait", waitLine(d))
}

func waitLine(d time.Duration) string {
	n := (min(d, longestWait) + waitUnit - 1) / waitUnit
	return fmt.Sprintf("ATST%02X", int64(n))
}

func (c *conversation) setShort(ctx context.Context, short bool) error {
	switch {
	case short:
		return c.apply(ctx, "short", "ATV1")
	case c.can.short:
		return c.apply(ctx, "short", "ATV0")
	}
	return nil
}

func (c *conversation) setAnswers(ctx context.Context, wanted bool) error {
	switch {
	case !c.can.quiet:
		return nil
	case wanted:
		return c.apply(ctx, "answers", "ATR1")
	}
	return c.apply(ctx, "answers", "ATR0")
}
