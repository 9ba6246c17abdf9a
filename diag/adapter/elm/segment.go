package elm

import (
	"context"
	"errors"
	"time"

	"go.einride.tech/can"

	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/pause"
)

// segments sends the frames of a long request but the last: the first frame, and consecutive frames as the module's
// flow control allows (ISO 15765-2, clause 9.6.5). The adapter waits for an answer only where a flow control is due.
func (c *conversation) segments(ctx context.Context, x *exchange, fields [][]byte) error {
	x.asking = true
	defer func() { x.asking = false }()
	torn := func(sent int, cause error) error {
		return &link.TornError{Address: x.m.Address, Got: sent, Want: len(x.m.Data), Cause: cause}
	}
	per := can.MaxDataLength - 1
	if x.m.Address.Headed() {
		per--
	}
	if err := c.apply(ctx, "wait", waitLine(flowTime)); err != nil {
		return c.resume(err)
	}
	sent := per - 1
	control, err := c.clear(ctx, x, fields[0])
	if err != nil {
		return c.given(err, torn, 0)
	}
	left := int(control.BlockSize) // 0: no further flow control is due
	for _, f := range fields[1:] {
		if err := pause.For(ctx, isotp.SeparationTime(control.Separation)); err != nil {
			return err
		}
		if left != 1 {
			err = c.quietly(ctx, x, f)
			left = max(left-1, 0)
		} else {
			control, err = c.clear(ctx, x, f)
			left = int(control.BlockSize)
		}
		if err != nil {
			return c.given(err, torn, sent)
		}
		sent += per
	}
	if err := pause.For(ctx, isotp.SeparationTime(control.Separation)); err != nil {
		return err
	}
	if err := c.setAnswers(ctx, true); err != nil {
		return c.resume(err)
	}
	return c.resume(c.setWait(ctx, x.m))
}

// given turns a reason of the transport into a TornError; others pass.
func (c *conversation) given(err error, torn func(int, error) error, sent int) error {
	for _, cause := range []error{isotp.ErrTimeoutBs, isotp.ErrOverflow, isotp.ErrTooManyWaits, isotp.ErrInvalidFlow} {
		if errors.Is(err, cause) {
			return torn(sent, err)
		}
	}
	return err
}

// quietly sends a frame after which no answer is due.
func (c *conversation) quietly(ctx context.Context, x *exchange, field []byte) error {
	if err := c.setAnswers(ctx, false); err != nil {
		return c.resume(err)
	}
	if err := c.put(x, field, ""); err != nil {
		return err
	}
	return c.listened(ctx, x, c.listen(x, nil))
}

// clear sends a frame and waits for the flow control that follows it, through wait frames.
func (c *conversation) clear(ctx context.Context, x *exchange, field []byte) (isotp.FlowControl, error) {
	if err := c.setAnswers(ctx, true); err != nil {
		return isotp.FlowControl{}, c.resume(err)
	}
	x.control = nil
	const one = "1" // the adapter need not wait for a second answer (data sheet p. 36)
	if err := c.put(x, field, one); err != nil {
		return isotp.FlowControl{}, err
	}
	err := c.listen(x, nil)
	for waits := 0; ; waits++ {
		if err := c.listened(ctx, x, err); err != nil {
			return isotp.FlowControl{}, err
		}
		switch {
		case x.control == nil:
			return isotp.FlowControl{}, isotp.ErrTimeoutBs
		case x.control.Status == isotp.ContinueToSend:
			return *x.control, nil
		case x.control.Status == isotp.Overflow:
			return isotp.FlowControl{}, isotp.ErrOverflow
		case x.control.Status != isotp.Wait:
			return isotp.FlowControl{}, isotp.ErrInvalidFlow
		case waits == isotp.UsualWaits:
			return isotp.FlowControl{}, isotp.ErrTooManyWaits
		}
		x.control = nil
		end := time.Now().Add(flowTime)
		err = c.monitor(x, func() time.Time { return end })
	}
}

// listened is the outcome of a listen in the middle of a request.
func (c *conversation) listened(ctx context.Context, x *exchange, err error) error {
	switch {
	case err != nil:
		return err
	case ctx.Err() != nil:
		return ctx.Err()
	case x.alert != "":
		return &link.AdapterError{Op: "sending to " + x.m.Address.String(), Text: x.alert}
	}
	return nil
}
