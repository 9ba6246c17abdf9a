package elm

import (
	"context"
	"errors"
	"fmt"
	"io"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/link"
)

// Options of Open.
type Options struct {
	Place adapter.Place // for errors
	Name  string        // for people; "Serial adapter" when empty
	Tap   bus.Tap       // told of every frame; may be nil
	// Speeds are the line speeds in bit/s to try, the likeliest first, with SetSpeed. Without them the port is used as
	// it is.
	Speeds   []int
	SetSpeed func(bitsPerSecond int) error
	// Tell, when not nil, is told each step of looking for the car's bus, as a sentence, before it is taken. It is called
	// on the goroutine of Open.
	Tell func(step string)
	// Faster are line speeds in bit/s that are tried once the adapter is found, the first to be tried first, with SetSpeed.
	Faster []int
	// Rung, when not nil, is told the steps of the link test, on the goroutine of Open.
	Rung func(adapter.Rung)
}

// Adapter is an open ELM-style adapter. It carries messages and measures the supply.
type Adapter struct {
	c     *conversation
	a     adapter.Abilities // as it was opened
	can   skills            // the same
	found protocol          // the same
}

// Open sets up the adapter at the other end of port and finds the car's bus. It takes port over: it is closed by Close,
// and when Open fails. The error is an [*adapter.OpenError].
func Open(ctx context.Context, port io.ReadWriteCloser, o Options) (*Adapter, error) {
	c := &conversation{w: newWire(port), tap: o.Tap, sums: true, setSpeed: o.SetSpeed}
	t := teller{o}
	t.rung(adapter.StepPort, adapter.RungHeld, "The port is open.")
	a, err := open(ctx, c, o, t)
	if err != nil {
		step := stepOf(err)
		if ctx.Err() != nil {
			err = ctx.Err()
		} else if errors.Is(err, errNoPrompt) {
			err = fmt.Errorf("%w: it stopped answering: %w", adapter.ErrUnfit, err)
		}
		t.failed(step, err)
		return nil, &adapter.OpenError{Place: o.Place, Step: step, Cause: errors.Join(err, c.w.close())}
	}
	c.found = c.p
	c.start()
	return a, nil
}

func open(ctx context.Context, c *conversation, o Options, t teller) (*Adapter, error) {
	t.rung(adapter.StepAdapter, adapter.RungTrying, "The adapter is asked whether it is there.")
	speed, err := c.greetAt(ctx, o)
	if err != nil {
		return nil, err
	}
	c.speed, c.first, c.seen.speed = speed, speed, speed
	if err := c.basics(ctx); err != nil {
		return nil, err
	}
	version, err := c.tell(ctx)
	if err != nil {
		return nil, err
	}
	if err := c.raise(ctx, o, version); err != nil {
		return nil, err
	}
	t.adapter(version, c.speed)
	if err := c.firstVolts(ctx, t); err != nil {
		return nil, err
	}
	if err := c.findProtocol(ctx, t.searching); err != nil {
		return nil, c.withSupply(err)
	}
	t.bus(c)
	if err := c.probe(ctx); err != nil {
		return nil, err
	}
	name := o.Name
	if name == "" {
		name = "Serial adapter"
	}
	return &Adapter{c: c, can: c.can, found: c.p, a: adapter.Abilities{
		Name:     name,
		Parallel: 1,
		Exact:    c.can.exact,
		Wide:     c.can.wide,
		Supply:   c.can.supply,
		BitRate:  c.p.rate,
		Protocol: c.p.String(),
		Version:  version,
	}}, nil
}

// greetAt tries one line speed after another.
func (c *conversation) greetAt(ctx context.Context, o Options) (speed int, err error) {
	if len(o.Speeds) == 0 || o.SetSpeed == nil {
		return 0, c.greet(ctx)
	}
	err = errSilent
	for _, speed := range o.Speeds {
		if e := o.SetSpeed(speed); e != nil {
			err = fmt.Errorf("elm: setting %d bit/s: %w", speed, e)
			continue
		}
		err = c.greet(ctx)
		if err == nil {
			return speed, nil
		}
		if !errors.Is(err, errSilent) {
			return 0, err
		}
	}
	return 0, err
}

// Abilities are what the adapter accepted when it was opened, with what it has shown since: they may become fewer.
func (a *Adapter) Abilities() adapter.Abilities { return a.c.seen.graded(a.a, a.can, a.found) }

// Link carries the messages. Closing it closes the adapter.
func (a *Adapter) Link() link.Link { return a.c }

// Everyone is the address that reaches all modules of the car's bus: [link.Functional11] or [link.Functional29] on CAN,
// [link.AllAtHeader] on the older lines.
func (a *Adapter) Everyone() link.Address {
	switch p := a.c.found; {
	case p.header != nil:
		return link.AllAtHeader()
	case p.wide:
		return link.Functional29()
	}
	return link.Functional11()
}

// Keyword reports that the car's line is one of ISO 14230, on which a module is also asked alone, by the services of
// ISO 14230-3.
func (a *Adapter) Keyword() bool { return a.c.found.header != nil && a.c.found.header.counted }

// Close ends the conversation and closes the port. It may be called more than once.
func (a *Adapter) Close() error { return a.c.Close() }
