package trace

import (
	"context"
	"errors"
	"slices"

	"readback/diag/bus"
	"readback/diag/link"
)

// WrapLink records the messages that pass through l: a request only after Send has returned without error, a Send
// that failed and an answer that was torn or did not come as a trouble. Closing it closes l.
func WrapLink(l link.Link, r *Recorder) link.Link { return &tracedLink{inner: l, record: r} }

// tracedLink writes every method out, so that a method added to link.Link can't pass by unrecorded.
type tracedLink struct {
	inner  link.Link
	record *Recorder
}

func (t *tracedLink) Send(ctx context.Context, m link.Message) error {
	at := t.record.now()
	data := slices.Clone(m.Data) // m is the caller's again once Send has returned
	err := t.inner.Send(ctx, m)
	e := Entry{At: at, Direction: bus.Out, Level: Message, ID: m.Address.Request, Address: m.Address, Data: data}
	switch {
	case err == nil:
		t.record.add(e)
	case !errors.Is(err, link.ErrClosed):
		e.Level, e.Text = Trouble, "Not sent. "+t.record.say(err)
		t.record.add(e)
	}
	return err
}

func (t *tracedLink) Receive(ctx context.Context) (link.Message, error) {
	m, err := t.inner.Receive(ctx)
	if err == nil && m.Begun != 0 {
		return m, nil // no answer yet; its first frame is on record where frames are seen
	}
	if err == nil {
		t.record.add(Entry{At: m.At, Direction: bus.In, Level: Message, ID: m.Address.Answer, Address: m.Address,
			Data: slices.Clone(m.Data), Frames: slices.Clone(m.Frames)})
		return m, nil
	}
	e := Entry{Direction: bus.In, Level: Trouble}
	var torn *link.TornError
	var silence *link.SilenceError
	var alert *link.AdapterError
	switch {
	case errors.As(err, &torn):
		e.Address = torn.Address
	case errors.As(err, &silence):
		e.Address = silence.Address
	case errors.As(err, &alert), errors.Is(err, link.ErrGone):
	default:
		return m, err // closed, or the caller's context has ended: nothing happened on the wire
	}
	e.ID, e.Text = e.Address.Answer, t.record.say(err)
	t.record.add(e)
	return m, err
}

func (t *tracedLink) Close() error { return t.inner.Close() }
