package slcan

import (
	"context"
	"errors"
	"fmt"
	"time"

	"readback/diag/adapter"
	"readback/diag/bus"
)

const (
	defaultListen = time.Second
	// askEvery is how often the status flags are read while listening.
	askEvery = 50 * time.Millisecond
	// enoughBroken reports without a good frame before them tell that the bit rate is wrong.
	enoughBroken = 3
)

// Listen finds the bit rate of the bus behind an adapter (see [adapter.Listener]). The adapter must know the command L;
// one that does not is not opened. It is left closed.
func (driver) Listen(ctx context.Context, p adapter.Place, o adapter.ListenOptions) (adapter.Heard, error) {
	t, err := parsePlace(p)
	if err != nil {
		return adapter.Heard{}, err
	}
	if o.For <= 0 {
		o.For = defaultListen
	}
	if o.Rates == nil {
		o.Rates = adapter.UsualRates()
	}
	port, opt, err := dial(ctx, p, t)
	if err != nil {
		return adapter.Heard{}, err
	}
	s := &setup{b: newBus(port), o: opt}
	h, step, err := s.listen(ctx, o)
	if e := s.b.Close(); e != nil {
		err = errors.Join(err, e)
	}
	switch {
	case ctx.Err() != nil:
		return h, ctx.Err()
	case err != nil:
		return h, &adapter.OpenError{Place: p, Step: step, Cause: err}
	}
	return h, nil
}

func (s *setup) listen(ctx context.Context, o adapter.ListenOptions) (adapter.Heard, adapter.Step, error) {
	if err := s.greet(ctx); err != nil {
		return adapter.Heard{}, adapter.StepAdapter, err
	}
	h, err := s.search(ctx, o.Rates, o.For)
	step := adapter.StepBus
	if errors.Is(err, adapter.ErrNotSilent) || errors.Is(err, adapter.ErrRate) {
		step = adapter.StepAdapter
	}
	return h, step, err
}

// search listens at one rate after the other until somebody is heard.
func (s *setup) search(ctx context.Context, rates []int, each time.Duration) (adapter.Heard, error) {
	broken, tried := 0, 0
	for _, rate := range rates {
		s.rate = rate
		switch taken, err := s.join(ctx, 'L'); {
		case errors.Is(err, adapter.ErrRate):
			continue
		case errors.Is(err, ErrRefused), err == nil && !taken:
			return adapter.Heard{}, fmt.Errorf("%w: it does not confirm L", adapter.ErrNotSilent)
		case err != nil:
			return adapter.Heard{}, err
		}
		s.listens = true
		tried++
		h, err := s.b.hear(ctx, rate, each)
		if err != nil || h.Narrow+h.Wide > 0 {
			return h, err
		}
		broken += h.Broken
	}
	switch {
	case tried == 0:
		return adapter.Heard{}, fmt.Errorf("%w: none of %v", adapter.ErrRate, rates)
	case broken > 0:
		return adapter.Heard{}, adapter.ErrNoRate
	}
	return adapter.Heard{}, adapter.ErrSilent
}

// hear counts what comes for a while. It stops early when only broken frames come.
func (b *Bus) hear(ctx context.Context, rate int, d time.Duration) (adapter.Heard, error) {
	h := adapter.Heard{BitRate: rate}
	begun := time.Now()
	bits := 0
	for left := d; left > 0; left = d - time.Since(begun) {
		within, cancel := context.WithTimeout(ctx, min(left, askEvery))
		err := b.count(within, &h, &bits)
		cancel()
		switch {
		case ctx.Err() != nil:
			return h, ctx.Err()
		case !errors.Is(err, context.DeadlineExceeded):
			return h, err
		}
		if _, err := b.readFlags(ctx); err != nil {
			return h, err
		}
		b.mu.Lock()
		h.Broken = b.broken
		b.mu.Unlock()
		if h.Narrow+h.Wide == 0 && h.Broken >= enoughBroken {
			break
		}
	}
	h.Lasted = time.Since(begun)
	h.Load = min(float64(bits)/(float64(rate)*h.Lasted.Seconds()), 1)
	return h, nil
}

// count counts frames until ctx ends, or something else does; its error says which.
func (b *Bus) count(ctx context.Context, h *adapter.Heard, bits *int) error {
	for {
		r, err := b.Receive(ctx)
		switch {
		case err != nil:
			return err
		case r.Fault != 0:
			continue
		case r.Frame.IsExtended:
			h.Wide++
		default:
			h.Narrow++
		}
		*bits += bus.FrameBits(r.Frame)
	}
}
