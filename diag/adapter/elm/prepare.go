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

const (
	waitUnit    = 4 * time.Millisecond // of AT ST
	longestWait = 0xFF * waitUnit      // 1.02 s
	// lineDelay is for the line: NO DATA should arrive within the time that the sender of the request waits (from
	// memory: USB bridges hold bytes back for up to 16 ms).
	lineDelay = 32 * time.Millisecond
)

// fields are the data fields of the frames that carry m. Without CAF0 the adapter makes the only one from the payload.
func (c *conversation) fields(m link.Message) ([][]byte, error) {
	a := m.Address
	layout := isotp.Layout{Extended: a.Headed(), Address: a.Target, Pad: isotp.DefaultPad}
	most := layout.SingleLength()
	switch {
	case a.Request.IsZero():
		return nil, errors.New("elm: a message needs a request identifier")
	case a.Request.Extended && !c.can.wide:
		return nil, &link.AdapterError{Op: "addressing " + a.Request.String(), Text: "no 29-bit identifiers"}
	case m.Exact != nil && !c.can.exact:
		return nil, link.ErrNotExact
	case m.Exact != nil:
		payload, ok := isotp.SinglePayload(m.Exact, a.Headed())
		if !ok || !bytes.Equal(payload, m.Data) || a.Headed() && m.Exact[0] != a.Target {
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
	case a.Headed() && !c.can.exact:
		return nil, &link.AdapterError{Op: "addressing " + a.Request.String(), Text: "no frames with an address byte"}
	case !c.can.exact && len(m.Data) > 0:
		return [][]byte{m.Data}, nil
	}
	return isotp.Segment(m.Data, layout)
}

// maxLength is the longest request: what a first frame with a 12-bit length announces.
const maxLength = 4095

// prepare sets the adapter up for a request. After a reset in between it does so once more: nothing has been sent yet.
func (c *conversation) prepare(ctx context.Context, steps []func() error) error {
	for try := 0; ; try++ {
		err := c.resume(c.settings(ctx, steps))
		if !c.lost || try > 0 || ctx.Err() != nil || errors.Is(err, link.ErrGone) || errors.Is(err, link.ErrClosed) {
			return err
		}
	}
}

// steps set the adapter up for a request on CAN.
func (c *conversation) steps(ctx context.Context, m link.Message, fields [][]byte) []func() error {
	a := m.Address
	return []func() error{
		func() error { return c.setProtocol(ctx, a.Request.Extended) },
		func() error { return c.setHeader(ctx, a.Request) },
		func() error { return c.setFilter(ctx, a) },
		func() error { return c.setFlow(ctx, a) },
		func() error { return c.setWait(ctx, m) },
		func() error { return c.setShort(ctx, len(fields[0]) < can.MaxDataLength && c.can.exact) },
		func() error { return c.setAnswers(ctx, true) },
	}
}

func (c *conversation) settings(ctx context.Context, steps []func() error) error {
	if c.hasty {
		if err := c.lower(ctx); err != nil {
			return err
		}
	}
	if c.lost {
		if err := c.setUpAgain(ctx); err != nil {
			return err
		}
	}
	for _, step := range steps {
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
// filter; what does not depend on the width stays as it is, for a search may change with every address.
func (c *conversation) setProtocol(ctx context.Context, wide bool) error {
	if c.p.wide == wide {
		return nil
	}
	twin := protocols[c.p.twin]
	if err := c.apply(ctx, "protocol", "ATSP"+string(twin.number)); err != nil {
		return err
	}
	kept := c.set
	c.use(twin)
	for _, key := range []string{"wait", "short", "answers", "flow mode", "flow data"} {
		if v, ok := kept[key]; ok && v != flowAsTold {
			c.set[key] = v
		}
	}
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
	case a.Request.Extended && (a.Functional || id.IsZero() || c.can.masks && standardPair(a)):
		id, mask = link.ID29(0x18DAF100), link.ID29(0x1FFFFF00)
	case a.Functional || id.IsZero():
		id, mask = link.ID11(0x700), link.ID11(0x700)
	case id.Extended:
		mask = link.ID29(can.MaxExtendedID)
	}
	single := !a.Functional && !a.Answer.IsZero()
	switch {
	case single && c.can.receive && !(a.Request.Extended && c.can.masks): // 18DAF1xx are answers to us and nothing else
		return c.apply(ctx, "filter", "ATCRA"+id.String())
	case c.can.masks:
		return c.apply(ctx, "filter", "ATCF"+id.String(), "ATCM"+mask.String())
	}
	return nil
}

// Modes of flow control by the adapter (data sheet, AT FC SM). To first frames of the standard's identifiers it finds the
// identifier to answer on by itself; elsewhere it has to be told.
const (
	flowByItself = "ATFCSM0" // its own bytes: no separation time
	flowAsTold   = "ATFCSM1" // identifier and bytes as told
	flowOurBytes = "ATFCSM2" // bytes as told, with our separation time
)

// setFlow lets the adapter permit long answers of this module, or of all.
func (c *conversation) setFlow(ctx context.Context, a link.Address) error {
	own := a.Functional || a.Answer.IsZero() || standardPair(a)
	switch {
	case !c.can.flow:
		return nil
	case a.Headed(), own && !c.can.flowBytes && (a.Functional || a.Answer.IsZero()):
		return c.apply(ctx, "flow mode", flowByItself)
	}
	if err := c.apply(ctx, "flow data", "ATFCSD"+typed([]byte{0x30, 0x00, c.separation()})); err != nil {
		return err
	}
	if own && c.can.flowBytes {
		return c.apply(ctx, "flow mode", flowOurBytes)
	}
	if err := c.apply(ctx, "flow header", "ATFCSH"+a.Request.String()); err != nil {
		return err
	}
	return c.apply(ctx, "flow mode", flowAsTold)
}

// standardPair: ISO 15765-4 joins the two identifiers of the address.
func standardPair(a link.Address) bool {
	request, ok := link.DefaultRequest(a.Answer)
	return ok && request == a.Request
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
	if a.Headed() {
		return false
	}
	return c.set["flow mode"] == flowAsTold || standardPair(a)
}

// setWait sets how long the adapter waits for an answer. A request whose wait is left to it, and one that must go out
// exactly, get the longest there is, so that a late answer still finds the adapter listening.
func (c *conversation) setWait(ctx context.Context, m link.Message) error {
	if !c.can.wait {
		return nil
	}
	return c.apply(ctx, "wait", waitLine(told(m.Wait, m.Exact != nil)))
}

// told is the wait that the adapter is told, before it is rounded up to its unit.
func told(wait time.Duration, exact bool) time.Duration {
	d := max(wait-lineDelay, wait*3/4)
	if d <= 0 || exact || wait > longestWait {
		d = longestWait
	}
	return d
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
