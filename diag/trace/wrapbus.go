package trace

import (
	"context"
	"errors"
	"strings"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// WrapBus records what passes through b. A frame is recorded as sent only after Send has returned without error; a
// Send that failed, and trouble that the controller reports, is recorded as a trouble. The Bus that is returned is a
// bus.Stater when b is one. Closing it closes b.
func WrapBus(b bus.Bus, r *Recorder) bus.Bus {
	t := &tracedBus{inner: b, record: r}
	if s, ok := b.(bus.Stater); ok {
		return &tracedStater{tracedBus: t, stater: s}
	}
	return t
}

type tracedBus struct {
	inner  bus.Bus
	record *Recorder
}

func (t *tracedBus) Send(ctx context.Context, f can.Frame) error {
	at := t.record.now() // an answer never has an earlier time than its request
	err := t.inner.Send(ctx, f)
	if err == nil {
		t.record.Frame(bus.Out, f, at)
		return nil
	}
	if !errors.Is(err, bus.ErrClosed) {
		t.record.add(Entry{At: at, Direction: bus.Out, Level: Trouble, ID: link.IDOf(f), Data: dataOf(f), Frames: []can.Frame{f}, Text: "Not sent. " + t.record.say(err)})
	}
	return err
}

func (t *tracedBus) Receive(ctx context.Context) (bus.Received, error) {
	e, err := t.inner.Receive(ctx)
	switch {
	case err == nil && e.Fault == 0:
		t.record.Frame(bus.In, e.Frame, e.At)
	case err == nil:
		t.record.add(Entry{At: e.At, Direction: bus.In, Level: Trouble, Text: FaultText(e.Fault)})
	case errors.Is(err, bus.ErrGone):
		t.record.add(Entry{Direction: bus.In, Level: Trouble, Text: t.record.say(err)})
	}
	return e, err
}

func (t *tracedBus) Close() error { return t.inner.Close() }

// tracedStater is a tracedBus whose inner Bus tells the state of its controller.
type tracedStater struct {
	*tracedBus
	stater bus.Stater
}

func (t *tracedStater) State(ctx context.Context) (bus.State, error) { return t.stater.State(ctx) }

func dataOf(f can.Frame) []byte {
	if f.IsRemote {
		return nil
	}
	return append([]byte(nil), f.Data[:min(f.Length, can.MaxDataLength)]...)
}

// FaultText says in words what a controller reports (ISO 11898-1 fault confinement).
func FaultText(f bus.Fault) string {
	var words []string
	for _, x := range faultWords {
		if f&x.fault != 0 {
			words = append(words, x.text)
			f &^= x.fault
		}
	}
	if f != 0 {
		words = append(words, "trouble of an unknown kind")
	}
	return strings.Join(words, "; ")
}

var faultWords = []struct {
	fault bus.Fault
	text  string
}{
	{bus.FaultWarning, "many errors on the bus: an error counter passed 96"},
	{bus.FaultPassive, "the controller only listens for errors now: an error counter passed 127"},
	{bus.FaultBusOff, "bus off: the controller left the bus after too many errors"},
	{bus.FaultRestarted, "the controller joined the bus again"},
	{bus.FaultNoAck, "nobody on the bus acknowledged a frame"},
	{bus.FaultProtocol, "a frame broke the rules of the bus; often a wrong bit rate"},
	{bus.FaultOverrun, "frames were lost between the controller and this program"},
	{bus.FaultDown, "the interface was taken down"},
}
