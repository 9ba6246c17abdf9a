package isotp

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/bus/bustest"
	"readback/diag/link"
)

var (
	engine = link.Physical(link.ID11(0x7E0), link.ID11(0x7E8))
	gears  = link.Physical(link.ID11(0x7E1), link.ID11(0x7E9))
	door   = link.Physical(link.ID11(0x745), link.ID11(0x765))
	wide   = link.Physical(link.ID29(0x18DA10F1), link.ID29(0x18DAF110))
	// extended: the first byte of a request is the module's address, that of an answer the tester's (clause 10.3.4).
	extended = link.Address{Mode: link.Extended, Request: link.ID11(0x6F1), Answer: link.ID11(0x612), Target: 0x12, Source: 0xF1}
	// mixed: the first byte is the address extension, both ways (clause 10.3.5).
	mixed = link.Address{Mode: link.Mixed, Request: link.ID11(0x7A0), Answer: link.ID11(0x7A8), Target: 0x33, Source: 0x33}
)

// lab is a Link on a wire, in the fake time of a bubble, with the car's end in the test's hands.
type lab struct {
	*testing.T
	l     *Link
	bus   *bustest.Recorder
	car   bus.Bus
	start time.Time
}

func inLab(t *testing.T, o Options, run func(*lab)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		w := bus.NewWire()
		b := bustest.Record(w.Attach())
		l := &lab{T: t, l: New(b, o), bus: b, car: w.Attach(), start: time.Now()}
		defer l.l.Close()
		run(l)
	})
}

// says lets frames come from the car.
func (l *lab) says(frames ...string) {
	l.Helper()
	for _, s := range frames {
		var f can.Frame
		if err := f.UnmarshalString(s); err != nil {
			l.Fatal(err)
		}
		if err := l.car.Send(l.Context(), f); err != nil {
			l.Fatal(err)
		}
	}
	synctest.Wait()
}

// after lets fake time pass.
func (l *lab) after(d time.Duration) { <-time.After(d) }

// sends starts a Send and returns where its error will be.
func (l *lab) sends(a link.Address, data []byte) <-chan error {
	done := make(chan error, 1)
	go func() { done <- l.l.Send(l.Context(), link.Message{Address: a, Data: data}) }()
	synctest.Wait()
	return done
}

// wrote compares what this computer put on the bus so far, and when, in ms since the start.
func (l *lab) wrote(want ...string) {
	l.Helper()
	synctest.Wait()
	var got []string
	for _, e := range l.bus.Entries() {
		if e.Direction == bus.Out {
			got = append(got, fmt.Sprintf("%g %s", float64(e.At.Sub(l.start).Microseconds())/1000, e.Frame))
		}
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		l.Fatalf("sent:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// gets fetches the next message.
func (l *lab) gets() link.Message {
	l.Helper()
	ctx, cancel := context.WithTimeout(l.Context(), time.Minute)
	defer cancel()
	m, err := l.l.Receive(ctx)
	if err != nil {
		l.Fatalf("Receive: %v", err)
	}
	return m
}

// tears fetches the next result, which must be a message torn by cause.
func (l *lab) tears(a link.Address, got, want int, cause error) {
	l.Helper()
	ctx, cancel := context.WithTimeout(l.Context(), time.Minute)
	defer cancel()
	m, err := l.l.Receive(ctx)
	torn(l.T, err, a, got, want, cause)
	if err == nil {
		l.Fatalf("received % X", m.Data)
	}
}

func torn(t *testing.T, err error, a link.Address, got, want int, cause error) {
	t.Helper()
	var torn *link.TornError
	if !errors.As(err, &torn) {
		t.Fatalf("error %v, want a TornError", err)
	}
	if torn.Address != a || torn.Got != got || torn.Want != want || !errors.Is(err, cause) {
		t.Fatalf("%v of %+v; want %d of %d bytes of %+v: %v", err, torn.Address, got, want, a, cause)
	}
}

// silent checks that nothing is there to be received.
func (l *lab) silent() {
	l.Helper()
	synctest.Wait()
	select {
	case r := <-l.l.out:
		l.Fatalf("received % X from %s, %v", r.m.Data, r.m.Address, r.err)
	default:
	}
}
