package trace

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// oneBus answers every call with what it was given.
type oneBus struct {
	sent    []can.Frame
	sendErr error
	event   bus.Received
	recvErr error
	closed  int
}

func (b *oneBus) Send(_ context.Context, f can.Frame) error {
	if b.sendErr == nil {
		b.sent = append(b.sent, f)
	}
	return b.sendErr
}
func (b *oneBus) Receive(context.Context) (bus.Received, error) { return b.event, b.recvErr }
func (b *oneBus) Close() error                                  { b.closed++; return nil }

type statedBus struct{ oneBus }

func (*statedBus) State(context.Context) (bus.State, error) { return bus.StatePassive, nil }

func TestBusRecordsWhatReallyWent(t *testing.T) {
	f := frame(t, "7E0#0210030000000000")
	b := &oneBus{}
	r := NewRecorder(atNoon)
	w := WrapBus(b, r)

	b.sendErr = bus.ErrOff
	if err := w.Send(t.Context(), f); !errors.Is(err, bus.ErrOff) {
		t.Fatalf("error %v", err)
	}
	if out, _ := r.Frames(); out != 0 {
		t.Fatal("a frame that did not leave was counted")
	}
	e := r.Entries()[0]
	if e.Level != Trouble || e.ID != link.ID11(0x7E0) || len(e.Data) != 8 || e.Text == "" {
		t.Fatalf("recorded %+v", e)
	}

	b.sendErr = nil
	if err := w.Send(t.Context(), f); err != nil {
		t.Fatal(err)
	}
	if out, _ := r.Frames(); out != 1 || !slices.Equal(b.sent, []can.Frame{f}) {
		t.Fatalf("%d counted, %v sent", out, b.sent)
	}

	b.event = bus.Received{Frame: frame(t, "7E8#0250030032"), At: noon.Add(time.Second)}
	got, err := w.Receive(t.Context())
	if err != nil || got != b.event {
		t.Fatalf("received %+v, %v", got, err)
	}
	last := r.Entries()[2]
	if last.Level != Frame || last.Direction != bus.In || !last.At.Equal(b.event.At) {
		t.Fatalf("recorded %+v", last)
	}
}

func TestBusTroubles(t *testing.T) {
	for _, c := range []struct {
		name  string
		event bus.Received
		err   error
		texts int
	}{
		{"controller's report", bus.Received{Fault: bus.FaultBusOff | bus.FaultNoAck, At: noon}, nil, 1},
		{"unknown report", bus.Received{Fault: 1 << 15, At: noon}, nil, 1},
		{"adapter gone", bus.Received{}, fmt.Errorf("read: %w", bus.ErrGone), 1},
		{"closed", bus.Received{}, bus.ErrClosed, 0},
		{"caller gave up", bus.Received{}, context.Canceled, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := NewRecorder(atNoon)
			got, err := WrapBus(&oneBus{event: c.event, recvErr: c.err}, r).Receive(t.Context())
			if got != c.event || !errors.Is(err, c.err) {
				t.Fatalf("received %+v, %v", got, err)
			}
			entries := r.Entries()
			if len(entries) != c.texts {
				t.Fatalf("recorded %+v", entries)
			}
			for _, e := range entries {
				if e.Level != Trouble || e.Text == "" {
					t.Errorf("recorded %+v", e)
				}
			}
			if _, in := r.Frames(); in != 0 {
				t.Error("a trouble was counted as a frame")
			}
		})
	}
}

func TestBusStatePassesThrough(t *testing.T) {
	r := NewRecorder(atNoon)
	if _, ok := WrapBus(&oneBus{}, r).(bus.Stater); ok {
		t.Error("a Bus without a state got one")
	}
	inner := &statedBus{}
	w := WrapBus(inner, r)
	s, ok := w.(bus.Stater)
	if !ok {
		t.Fatal("the state was lost")
	}
	if st, err := s.State(t.Context()); err != nil || st != bus.StatePassive {
		t.Errorf("state %v, %v", st, err)
	}
	if err := w.Send(t.Context(), can.Frame{ID: 1}); err != nil {
		t.Error(err)
	}
	if out, _ := r.Frames(); out != 1 {
		t.Error("frames of a Bus with a state are not recorded")
	}
	if err := w.Close(); err != nil || inner.closed != 1 {
		t.Errorf("closed %d times, %v", inner.closed, err)
	}
}

type oneLink struct {
	sendErr error
	message link.Message
	recvErr error
	closed  int
}

func (l *oneLink) Send(_ context.Context, m link.Message) error {
	clear(m.Data) // a Link may do as it likes with the slice after the call
	return l.sendErr
}
func (l *oneLink) Receive(context.Context) (link.Message, error) { return l.message, l.recvErr }
func (l *oneLink) Close() error                                  { l.closed++; return nil }

func TestLinkMessages(t *testing.T) {
	a := link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
	inner := &oneLink{sendErr: link.ErrNotExact}
	r := NewRecorder(atNoon)
	w := WrapLink(inner, r)
	if err := w.Send(t.Context(), link.Message{Address: a, Data: []byte{0x14, 0xFF, 0xFF, 0xFF}}); !errors.Is(err, link.ErrNotExact) {
		t.Fatalf("error %v", err)
	}
	inner.sendErr = nil
	if err := w.Send(t.Context(), link.Message{Address: a, Data: []byte{0x14, 0xFF, 0xFF, 0xFF}}); err != nil {
		t.Fatal(err)
	}
	inner.message = link.Message{Address: a, Begun: 20, At: noon} // is passed on and is no answer
	if m, err := w.Receive(t.Context()); err != nil || m.Begun != 20 {
		t.Fatalf("received %+v, %v", m, err)
	}
	inner.message = link.Message{Address: a, Data: []byte{0x54}, At: noon.Add(time.Second), Frames: []can.Frame{{ID: 0x7ED, Length: 8}}}
	m, err := w.Receive(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	m.Data[0], m.Frames[0].ID = 0, 0 // the message is the caller's
	got := r.Entries()
	if len(got) != 3 || got[0].Level != Trouble || got[1].Level != Message || got[1].Direction != bus.Out || got[2].Direction != bus.In {
		t.Fatalf("recorded %+v", got)
	}
	if !slices.Equal(got[1].Data, []byte{0x14, 0xFF, 0xFF, 0xFF}) || got[1].ID != a.Request || got[1].Address != a {
		t.Errorf("request recorded as %+v", got[1])
	}
	if !slices.Equal(got[2].Data, []byte{0x54}) || got[2].ID != a.Answer || got[2].Frames[0].ID != 0x7ED || !got[2].At.Equal(noon.Add(time.Second)) {
		t.Errorf("answer recorded as %+v", got[2])
	}
	if err := w.Close(); err != nil || inner.closed != 1 {
		t.Errorf("closed %d times, %v", inner.closed, err)
	}
}

func TestLinkTroubles(t *testing.T) {
	a := link.Physical(link.ID11(0x7E5), link.ID11(0x7ED))
	for _, c := range []struct {
		err  error
		want int
	}{
		{&link.TornError{Address: a, Got: 6, Want: 20, Cause: errors.New("N_Cr")}, 1},
		{&link.SilenceError{Address: a, Text: "NO DATA"}, 1},
		{&link.AdapterError{Op: "send", Text: "BUFFER FULL"}, 1},
		{fmt.Errorf("read: %w", link.ErrGone), 1},
		{link.ErrClosed, 0},
		{context.DeadlineExceeded, 0},
	} {
		r := NewRecorder(atNoon)
		if _, err := WrapLink(&oneLink{recvErr: c.err}, r).Receive(t.Context()); err != c.err {
			t.Errorf("error %v became %v", c.err, err)
		}
		got := r.Entries()
		if len(got) != c.want || c.want == 1 && (got[0].Level != Trouble || got[0].Text != c.err.Error()) {
			t.Errorf("%v recorded as %+v", c.err, got)
		}
	}
}

// The texts of troubles are those of whoever makes sentences, where there is one.
func TestTroublesInWords(t *testing.T) {
	r := NewRecorder(atNoon).InWords(func(err error) string { return "<" + err.Error() + ">" })
	b := &oneBus{sendErr: bus.ErrOff, recvErr: bus.ErrGone}
	w := WrapBus(b, r)
	if w.Send(t.Context(), frame(t, "7E0#023E00")) == nil {
		t.Fatal("sent")
	}
	if _, err := w.Receive(t.Context()); err == nil {
		t.Fatal("received")
	}
	e := r.Entries()
	if len(e) != 2 || e[0].Text != "Not sent. <"+bus.ErrOff.Error()+">" || e[1].Text != "<"+bus.ErrGone.Error()+">" {
		t.Errorf("recorded %+v", e)
	}
}
