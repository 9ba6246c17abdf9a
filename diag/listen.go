package diag

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"readback/diag/adapter"
)

// Overheard is what was found by listening at a place without taking part.
type Overheard struct {
	Place  adapter.Place `json:"place"`
	Heard  adapter.Heard `json:"heard"`
	Health Health        `json:"health"`
}

// ListenBus finds the bit rate of the bus at a place by listening, and judges what was heard. Nothing is sent, and nothing
// is acknowledged. That nobody talks, that nothing can be read at any rate, and that an interface has no bit rate are
// answers and no errors; an adapter that can't listen without taking part is [adapter.ErrNotSilent].
func ListenBus(ctx context.Context, drivers []adapter.Driver, p adapter.Place, o adapter.ListenOptions) (Overheard, error) {
	out := Overheard{Place: p}
	scheme, _, err := p.Split()
	if err != nil {
		return out, err
	}
	i := slices.IndexFunc(drivers, func(d adapter.Driver) bool { return slices.Contains(d.Schemes(), scheme) })
	if i < 0 {
		return out, fmt.Errorf("%w: %q", adapter.ErrUnknownPlace, scheme)
	}
	l, ok := drivers[i].(adapter.Listener)
	if !ok {
		return out, fmt.Errorf("diag: listening at %s: %w", p, adapter.ErrNotSilent)
	}
	out.Heard, err = l.Listen(ctx, p, o)
	if err != nil && !errors.Is(err, adapter.ErrSilent) && !errors.Is(err, adapter.ErrNoRate) && !errors.Is(err, adapter.ErrNoBitRate) {
		return out, fmt.Errorf("diag: listening at %s: %w", p, err)
	}
	out.Health = JudgeBus(BusFacts{
		BitRate: out.Heard.BitRate, Heard: out.Heard.Narrow + out.Heard.Wide, Broken: out.Heard.Broken, Load: out.Heard.Load, Listened: err,
	})
	return out, nil
}
