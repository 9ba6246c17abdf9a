package elm

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"readback/diag/adapter"
)

const (
	// flat is the supply in volts below which the car's bus can't be relied on (common practice: a deeply discharged battery).
	flat = 11.5
	// dead is the supply in volts below which there is no battery behind it (common practice, no source).
	dead = 6
)

// teller tells the steps of the link test to whoever wants to know.
type teller struct{ o Options }

func (t teller) rung(step adapter.Step, state adapter.RungState, seen string) {
	if t.o.Rung != nil {
		t.o.Rung(adapter.Rung{Step: step, State: state, Seen: seen})
	}
}

func (t teller) failed(step adapter.Step, err error) {
	if t.o.Rung != nil {
		t.o.Rung(adapter.Rung{Step: step, State: adapter.RungFailed, Seen: seenOf(step), Err: err})
	}
}

// seenOf says what was seen of a step that has failed; the error has the rest.
func seenOf(step adapter.Step) string {
	switch step {
	case adapter.StepPort:
		return "The port can't be used."
	case adapter.StepAdapter:
		return "Nothing answers there as this kind of adapter does."
	}
	return "The adapter answers, but it finds no bus of a car."
}

// searching is told each step of looking for the bus.
func (t teller) searching(step string) {
	if t.o.Tell != nil {
		t.o.Tell(step)
	}
	t.rung(adapter.StepBus, adapter.RungTrying, step)
}

func (t teller) adapter(version string, speed int) {
	var seen strings.Builder
	seen.WriteString("The adapter answers")
	if version != "" {
		fmt.Fprintf(&seen, " and calls itself %s", version)
	}
	if speed > 0 {
		fmt.Fprintf(&seen, "; its line runs at %d bit/s", speed)
	}
	t.rung(adapter.StepAdapter, adapter.RungHeld, seen.String()+".")
}

// firstVolts measures the supply before anything is asked of the car.
func (c *conversation) firstVolts(ctx context.Context, t teller) error {
	t.rung(adapter.StepSupply, adapter.RungTrying, "The 12 V supply is measured.")
	v, ok, err := c.volts(ctx)
	if errors.Is(err, errSilent) {
		ok, err = false, c.stop()
	}
	if err != nil {
		return err
	}
	c.can.supply, c.tried = ok, time.Now()
	switch {
	case !ok:
		t.rung(adapter.StepSupply, adapter.RungUnknown, "This adapter can't measure the 12 V supply.")
		return nil
	case v < dead:
		t.rung(adapter.StepSupply, adapter.RungDoubtful, fmt.Sprintf("The adapter measures %.1f V: there is no battery behind it.", v))
	case v < flat:
		t.rung(adapter.StepSupply, adapter.RungDoubtful, fmt.Sprintf("The adapter measures %.1f V, which is low.", v))
	default:
		t.rung(adapter.StepSupply, adapter.RungHeld, fmt.Sprintf("The adapter measures %.1f V.", v))
	}
	c.volted.take(v, c.tried)
	return nil
}

// withSupply is why no bus was found, with what the supply says of that.
func (c *conversation) withSupply(err error) error {
	if r := c.volted.readings(); len(r) > 0 && r[0].Volts < dead {
		return fmt.Errorf("%w: %w", adapter.ErrNoSupply, err)
	}
	return err
}

func (t teller) bus(c *conversation) {
	t.rung(adapter.StepBus, adapter.RungHeld, "The car's bus is "+c.p.String()+".")
	if c.answered {
		t.rung(adapter.StepModule, adapter.RungHeld, "A module has answered.")
		return
	}
	t.rung(adapter.StepModule, adapter.RungUnknown, "No module has answered the adapter's own question. Many battery cars are silent to it.")
}
