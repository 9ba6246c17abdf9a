package diag_test

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"readback/diag"
	"readback/diag/adapter"
)

// ears is a driver that hears what the test says.
type ears struct {
	adapter.Driver
	heard adapter.Heard
	err   error
}

func (ears) Schemes() []string { return []string{"ears"} }

func (e ears) Listen(context.Context, adapter.Place, adapter.ListenOptions) (adapter.Heard, error) {
	return e.heard, e.err
}

func TestListenBus(t *testing.T) {
	deep := func(err error) error {
		return &adapter.OpenError{Place: "ears:", Step: adapter.StepBus, Cause: fmt.Errorf("deep: %w", err)}
	}
	pulled := errors.New("pulled")
	for name, c := range map[string]struct {
		ears    ears
		verdict diag.HealthVerdict
		stop    bool
		err     error
	}{
		"a bus":         {ears{heard: adapter.Heard{BitRate: 500_000, Narrow: 200, Load: 0.3}}, diag.HealthAlive, false, nil},
		"a wide one":    {ears{heard: adapter.Heard{BitRate: 250_000, Wide: 7}}, diag.HealthAlive, false, nil},
		"disturbed":     {ears{heard: adapter.Heard{BitRate: 500_000, Narrow: 200, Broken: 20}}, diag.HealthDisturbed, false, nil},
		"full":          {ears{heard: adapter.Heard{BitRate: 500_000, Narrow: 4000, Load: 0.95}}, diag.HealthBusy, false, nil},
		"silence":       {ears{err: deep(adapter.ErrSilent)}, diag.HealthQuiet, false, nil},
		"no rate fits":  {ears{err: deep(adapter.ErrNoRate)}, diag.HealthUnreadable, true, nil},
		"a virtual one": {ears{heard: adapter.Heard{Narrow: 3}, err: deep(adapter.ErrNoBitRate)}, diag.HealthAlive, false, nil},
		"can't listen":  {ears{err: deep(adapter.ErrNotSilent)}, "", false, adapter.ErrNotSilent},
		"it was pulled": {ears{err: deep(pulled)}, "", false, pulled},
	} {
		got, err := diag.ListenBus(t.Context(), []adapter.Driver{&plugs{}, c.ears}, "ears:", adapter.ListenOptions{})
		if got.Health.Verdict != c.verdict || got.Health.StopSending != c.stop || got.Heard != c.ears.heard || !errors.Is(err, c.err) || (err == nil) != (c.err == nil) {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	for p, want := range map[adapter.Place]error{"plug:": adapter.ErrNotSilent, "none:": adapter.ErrUnknownPlace, "none": adapter.ErrUnknownPlace} {
		if _, err := diag.ListenBus(t.Context(), []adapter.Driver{&plugs{}}, p, adapter.ListenOptions{}); !errors.Is(err, want) {
			t.Errorf("%s: %v", p, err)
		}
	}
}
