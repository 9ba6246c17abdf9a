// Package practice is the adapter that is always there: a simulated car on an in-memory bus.
package practice

import (
	"context"
	"fmt"
	"strings"
	"sync"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/simcar"
)

// Scheme is the scheme of its places: "practice:" for the default scenario, "practice:NAME" for another embedded
// one, "practice:FILE.json" for one from a file.
const Scheme = "practice"

// Driver is the driver of practice cars. Each Open makes a new car, as its scenario describes it.
func Driver() adapter.Driver { return driver{} }

// WithSerial is the same driver, but for cars whose scenario has a serial adapter of its own: those are opened through
// that adapter, by open, which must speak its commands.
func WithSerial(open OpenSerial) adapter.Driver { return driver{open} }

type driver struct{ serial OpenSerial }

func (driver) Schemes() []string { return []string{Scheme} }

// last puts the practice car behind every real adapter.
const last = 1000

func (driver) Find(context.Context) ([]adapter.Found, error) {
	return []adapter.Found{{
		Place: Scheme + ":",
		Name:  "Practice car",
		Note:  "a simulated car inside this program; nothing is plugged in",
		Ready: true,
		Rank:  last,
	}}, nil
}

func (d driver) Open(ctx context.Context, p adapter.Place, o adapter.Options) (adapter.Connection, error) {
	s, err := scenario(p)
	if err == nil {
		err = ctx.Err()
	}
	if err != nil {
		return nil, &adapter.OpenError{Place: p, Step: adapter.StepAdapter, Cause: err}
	}
	if (s.Adapter != nil || s.Line != simcar.OnCAN) && d.serial != nil { // a car without CAN can be reached in no other way
		return openSerial(ctx, simcar.New(s), d.serial, p, o)
	}
	c := newConnection(simcar.New(s), s.BitRate)
	if s.Misset > 0 {
		c.bitRate, c.tester = s.Misset, misset{c.tester}
	}
	return c, nil
}

func scenario(p adapter.Place) (*simcar.Scenario, error) {
	scheme, name, err := p.Split()
	switch {
	case err != nil:
		return nil, err
	case scheme != Scheme:
		return nil, fmt.Errorf("%w: %q", adapter.ErrUnknownPlace, scheme)
	case strings.HasSuffix(name, ".json"):
		return simcar.LoadFile(name)
	}
	return simcar.Load(name)
}

// Connection is an open practice car. It carries frames and measures the supply.
type Connection struct {
	car     *simcar.Car
	bitRate int
	tester  bus.Bus
	stop    context.CancelFunc
	served  sync.WaitGroup
}

func newConnection(car *simcar.Car, bitRate int) *Connection {
	c := connect(car.Serve)
	c.car, c.bitRate = car, bitRate
	return c
}

// connect makes a bus with serve at its other end.
func connect(serve func(context.Context, bus.Bus) error) *Connection {
	tester, cars := bus.Pair()
	ctx, stop := context.WithCancel(context.Background())
	c := &Connection{tester: tester, stop: stop}
	c.served.Go(func() {
		// It ends with the context or with the bus, and either way nobody is left to tell.
		_ = serve(ctx, cars)
	})
	return c
}

// Car is the car itself, to switch its ignition and to put faults into it.
func (c *Connection) Car() *simcar.Car { return c.car }

// Bus is the tester's place on the bus.
func (c *Connection) Bus() bus.Bus { return c.tester }

// SupplyVolts is the car's supply, exactly.
func (c *Connection) SupplyVolts(ctx context.Context) (float64, error) {
	return c.car.Supply(), ctx.Err()
}

func (c *Connection) Abilities() adapter.Abilities {
	return adapter.Abilities{
		Name:     "Practice car",
		Practice: true,
		Raw:      true,
		Parallel: 8,
		Exact:    true,
		Wide:     true,
		Supply:   true,
		Listens:  true,
		BitRate:  c.bitRate,
		Protocol: fmt.Sprintf("11-bit, %d kbit/s", c.bitRate/1000),
		Version:  "simulated",
	}
}

// Close ends the car and everything that belongs to it. It may be called more than once.
func (c *Connection) Close() error {
	c.stop()
	err := c.tester.Close()
	c.served.Wait()
	return err
}
