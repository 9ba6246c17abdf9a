package diag

import (
	"context"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/adapter"
	"readback/diag/bus"
)

const (
	// loadOver is over how long the load of a bus is told.
	loadOver = time.Second
	// stateOver is how old what is known of the controller may be when a frame leaves.
	stateOver = 500 * time.Millisecond
)

// busMeter counts what passes on a bus, for [JudgeBus].
type busMeter struct {
	inner   bus.Bus
	rate    int // bit/s, 0 when not known
	recover string

	mu    sync.Mutex
	facts BusFacts
	state bus.State // as it was last asked for, or reported since
	asked time.Time // when it was last asked for
	told  time.Time // when it was last asked for with success
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
	m.mu.Lock()
	old := time.Since(m.asked) >= stateOver
	m.mu.Unlock()
	if old {
		_ = m.ask(ctx) // the sending itself tells what is the matter
	}
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
	if r.Fault&bus.FaultOverrun != 0 {
		f.Lost++
	}
	if r.At.Before(m.told) && m.state == bus.StateActive {
		return // the controller has said since that all is well
	}
	for _, c := range []struct {
		fault bus.Fault
		count *int
	}{
		{bus.FaultNoAck, &f.Unacknowledged}, {bus.FaultProtocol, &f.Broken},
		{bus.FaultWarning | bus.FaultPassive, &f.Warnings},
	} {
		if r.Fault&c.fault != 0 {
			*c.count++
		}
	}
	f.Off = f.Off && r.Fault&bus.FaultRestarted == 0 || r.Fault&bus.FaultBusOff != 0
	f.Down = r.Fault&bus.FaultDown != 0
	for _, c := range []struct {
		fault bus.Fault
		state bus.State
	}{
		{bus.FaultWarning, bus.StateWarning}, {bus.FaultPassive, bus.StatePassive},
		{bus.FaultBusOff, bus.StateOff}, {bus.FaultRestarted, bus.StateActive},
	} {
		if r.Fault&c.fault != 0 {
			m.enter(c.state)
		}
	}
}

// enter notes the controller's state. Once its counters have come down again, what they were raised by is over. It is
// called with mu held.
func (m *busMeter) enter(s bus.State) {
	if s == bus.StateActive && m.state > bus.StateActive {
		m.facts.Unacknowledged, m.facts.Broken, m.facts.Warnings = 0, 0, 0
	}
	m.state = s
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

// ask asks for the controller's state, where it can be asked for.
func (m *busMeter) ask(ctx context.Context) error {
	m.mu.Lock()
	m.asked = time.Now()
	m.mu.Unlock()
	s, ok := m.inner.(bus.Stater)
	if !ok {
		return nil
	}
	begun := time.Now()
	state, err := s.State(ctx)
	if err != nil {
		return err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if state != bus.StateUnknown { // asked now, it says more than what was reported before
		m.enter(state)
		m.told = begun
		m.facts.Off, m.facts.Down = false, false
	}
	return nil
}

// known is what has been asked and reported until now.
func (m *busMeter) known() BusFacts {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.turn()
	f := m.facts
	f.State, f.BitRate, f.Recover = m.state, m.rate, m.recover
	if m.rate > 0 {
		f.Load = float64(m.full) / (float64(m.rate) * loadOver.Seconds())
	}
	return f
}

// Health tells how the car's bus does, from what has passed since the visit began. ok is false where the adapter carries
// messages and hides the bus. It sends nothing to the car.
func (v *Visit) Health(ctx context.Context) (h Health, ok bool, err error) {
	if v.meter == nil {
		return Health{}, false, nil
	}
	if err := v.meter.ask(ctx); err != nil {
		return Health{}, true, err
	}
	return JudgeBus(v.meter.known()), true, nil
}
