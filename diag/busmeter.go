package diag

import (
	"context"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/adapter"
	"readback/diag/bus"
)

// loadOver is over how long the load of a bus is told.
const loadOver = time.Second

// busMeter counts what passes on a bus, for [JudgeBus].
type busMeter struct {
	inner   bus.Bus
	rate    int // bit/s, 0 when not known
	recover string

	mu    sync.Mutex
	facts BusFacts
	begun time.Time // of the stretch that is being counted
	bits  int       // in it
	full  int       // in the whole stretch before it
}

func newBusMeter(inner bus.Bus, conn adapter.Connection) *busMeter {
	m := &busMeter{inner: inner, rate: conn.Abilities().BitRate, begun: time.Now()}
	if r, ok := conn.(adapter.Recoverer); ok {
		m.recover = r.Recover()
	}
	return m
}

func (m *busMeter) Send(ctx context.Context, f can.Frame) error {
	err := m.inner.Send(ctx, f)
	if err == nil {
		m.mu.Lock()
		defer m.mu.Unlock()
		m.facts.Sent++
		m.add(f)
	}
	return err
}

func (m *busMeter) Receive(ctx context.Context) (bus.Received, error) {
	r, err := m.inner.Receive(ctx)
	if err == nil {
		m.mu.Lock()
		defer m.mu.Unlock()
		m.note(r)
	}
	return r, err
}

func (m *busMeter) Close() error { return m.inner.Close() }

// note counts an event. It is called with mu held.
func (m *busMeter) note(r bus.Received) {
	f := &m.facts
	if r.Fault == 0 {
		f.Heard++
		m.add(r.Frame)
		return
	}
	for _, c := range []struct {
		fault bus.Fault
		count *int
	}{
		{bus.FaultNoAck, &f.Unacknowledged}, {bus.FaultProtocol, &f.Broken},
		{bus.FaultWarning | bus.FaultPassive, &f.Warnings}, {bus.FaultOverrun, &f.Lost},
	} {
		if r.Fault&c.fault != 0 {
			*c.count++
		}
	}
	f.Off = f.Off && r.Fault&bus.FaultRestarted == 0 || r.Fault&bus.FaultBusOff != 0
	f.Down = r.Fault&bus.FaultDown != 0
}

// add counts a frame's time on the wire. It is called with mu held.
func (m *busMeter) add(f can.Frame) {
	m.turn()
	m.bits += bus.FrameBits(f)
}

// turn begins a new stretch when the one that is being counted is over. It is called with mu held.
func (m *busMeter) turn() {
	switch d := time.Since(m.begun); {
	case d >= 2*loadOver:
		m.full, m.bits, m.begun = 0, 0, time.Now()
	case d >= loadOver:
		m.full, m.bits, m.begun = m.bits, 0, m.begun.Add(loadOver)
	}
}

// read is what is known now.
func (m *busMeter) read(ctx context.Context) (BusFacts, error) {
	var (
		state bus.State
		err   error
	)
	if s, ok := m.inner.(bus.Stater); ok {
		state, err = s.State(ctx)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.turn()
	f := m.facts
	f.State, f.BitRate, f.Recover = state, m.rate, m.recover
	if state != bus.StateUnknown { // asked now, it says more than what was reported before
		f.Off, f.Down = false, false
	}
	if m.rate > 0 {
		f.Load = float64(m.full) / (float64(m.rate) * loadOver.Seconds())
	}
	return f, err
}

// Health tells how the car's bus does, from what has passed since the visit began. ok is false where the adapter carries
// messages and hides the bus. It sends nothing to the car.
func (v *Visit) Health(ctx context.Context) (h Health, ok bool, err error) {
	if v.meter == nil {
		return Health{}, false, nil
	}
	f, err := v.meter.read(ctx)
	if err != nil {
		return Health{}, true, err
	}
	return JudgeBus(f), true, nil
}
