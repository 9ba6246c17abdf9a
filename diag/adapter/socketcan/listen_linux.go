package socketcan

import (
	"context"
	"errors"
	"fmt"
	"time"

	"golang.org/x/sys/unix"

	"readback/diag/adapter"
	"readback/diag/bus"
)

const (
	defaultListen = time.Second
	// enoughBroken frames without a good one before them tell that the bit rate is wrong. A good frame at a wrong rate
	// would need a CRC that fits by chance.
	enoughBroken = 3
)

var _ adapter.Listener = driver{}

// Listen finds the bit rate of the bus behind an interface (see [adapter.Listener]). It needs the right to configure
// interfaces (CAP_NET_ADMIN), unless the interface is up: then it hears it as it is.
func (driver) Listen(ctx context.Context, p adapter.Place, o adapter.ListenOptions) (adapter.Heard, error) {
	scheme, name, err := p.Split()
	switch {
	case err != nil:
		return adapter.Heard{}, err
	case scheme != Scheme:
		return adapter.Heard{}, fmt.Errorf("%w: %q", adapter.ErrUnknownPlace, scheme)
	case ctx.Err() != nil:
		return adapter.Heard{}, ctx.Err()
	}
	if o.For <= 0 {
		o.For = defaultListen
	}
	if o.Rates == nil {
		o.Rates = adapter.UsualRates()
	}
	r, err := dialRoute()
	if err != nil {
		return adapter.Heard{}, &adapter.OpenError{Place: p, Step: adapter.StepPort, Cause: err}
	}
	x := &listener{route: r, o: o}
	h, step, err := x.listen(ctx, name)
	if err = errors.Join(err, r.close()); err != nil && ctx.Err() == nil {
		err = &adapter.OpenError{Place: p, Step: step, Cause: err}
	}
	return h, err
}

// listener is one search for a bit rate.
type listener struct {
	route *route
	o     adapter.ListenOptions
	was   linkInfo // the interface as it was found
}

func (x *listener) listen(ctx context.Context, name string) (h adapter.Heard, step adapter.Step, err error) {
	switch x.was, err = x.route.byName(name); {
	case err != nil:
		return h, adapter.StepPort, err
	case x.was.hardware != unix.ARPHRD_CAN:
		return h, adapter.StepPort, fmt.Errorf("%w: %s", ErrNotCAN, name)
	case virtual(x.was.kind) && !x.was.up:
		return h, adapter.StepPort, &adapter.DownError{Name: name, Command: bringUp(name, x.was.kind)}
	case virtual(x.was.kind):
		h, err = x.hear(ctx, 0)
		if err == nil {
			err = fmt.Errorf("%w: %s is a virtual one", adapter.ErrNoBitRate, name)
		}
		return h, adapter.StepBus, err
	case x.was.up && !x.o.Take:
		h, err = x.hear(ctx, x.was.bitRate)
		if err == nil {
			err = verdict(h, h.Broken)
		}
		return h, adapter.StepBus, err
	}
	return x.search(ctx)
}

// verdict is what was wrong when no frame was good; broken counts reports at all rates.
func verdict(h adapter.Heard, broken int) error {
	switch {
	case h.Narrow+h.Wide > 0:
		return nil
	case broken > 0:
		return adapter.ErrNoRate
	}
	return adapter.ErrSilent
}

// search tries one rate after the other and puts the interface back at the end.
func (x *listener) search(ctx context.Context) (h adapter.Heard, step adapter.Step, err error) {
	if x.was.up {
		if err := x.route.bring(x.was, false); err != nil {
			return h, adapter.StepPort, x.rights(err, x.o.Rates)
		}
	}
	defer func() { err = errors.Join(err, x.restore()) }()
	broken, tried := 0, 0
	for _, rate := range x.o.Rates {
		switch err := x.route.silence(x.was, rate); {
		case errors.Is(err, unix.EOPNOTSUPP) && x.rateAlone(rate):
			return h, adapter.StepAdapter, fmt.Errorf("%w: %w", adapter.ErrNotSilent, err)
		case errors.Is(err, unix.EINVAL), errors.Is(err, unix.EDOM), errors.Is(err, unix.ERANGE), errors.Is(err, unix.EOPNOTSUPP):
			continue // a rate that this controller does not have
		case err != nil:
			return h, adapter.StepPort, x.rights(err, x.o.Rates)
		}
		tried++
		if err := x.route.bring(x.was, true); err != nil {
			return h, adapter.StepPort, x.rights(err, x.o.Rates)
		}
		h, err := x.hear(ctx, rate)
		if e := x.route.bring(x.was, false); e != nil {
			err = errors.Join(err, e)
		}
		if err != nil || h.Narrow+h.Wide > 0 {
			return h, adapter.StepBus, err
		}
		broken += h.Broken
	}
	if tried == 0 {
		return h, adapter.StepAdapter, fmt.Errorf("socketcan: %s has none of the bit rates %v", x.was.name, x.o.Rates)
	}
	return adapter.Heard{}, adapter.StepBus, verdict(h, broken)
}

// rateAlone reports whether the controller takes this rate without listening only: then it is the listening that it
// can't do.
func (x *listener) rateAlone(rate int) bool {
	return x.route.configure(x.was, timing{rate: uint32(rate)}, 0, 0) == nil
}

// rights turns a refusal into the command that would have been allowed.
func (x *listener) rights(err error, rates []int) error {
	if !errors.Is(err, unix.EPERM) && !errors.Is(err, unix.EACCES) {
		return err
	}
	down := ""
	if x.was.up {
		down = fmt.Sprintf("sudo ip link set %s down && ", x.was.name)
	}
	rate := 500_000
	if len(rates) > 0 {
		rate = rates[0]
	}
	return &adapter.RightsError{Cause: err, Command: fmt.Sprintf("%ssudo ip link set %s up type can bitrate %d listen-only on", down, x.was.name, rate)}
}

// restore puts the interface back as it was found. A controller that had no bit rate keeps the last one.
func (x *listener) restore() error {
	modes := uint32(0)
	if x.was.listenOnly {
		modes |= flagListenOnly
	}
	mask := uint32(flagListenOnly)
	if now, err := x.route.byIndex(x.was.index); err == nil && now.busErrors != x.was.busErrors {
		mask |= flagBusErrors
		if x.was.busErrors {
			modes |= flagBusErrors
		}
	}
	err := x.route.configure(x.was, timing{uint32(x.was.bitRate), x.was.sample}, mask, modes)
	if errors.Is(err, unix.EOPNOTSUPP) && !x.was.listenOnly { // a controller that can't listen only has not been changed
		err = x.route.configure(x.was, timing{uint32(x.was.bitRate), x.was.sample}, 0, 0)
	}
	if x.was.up && err == nil {
		err = x.route.bring(x.was, true)
	}
	if err != nil {
		return fmt.Errorf("socketcan: putting %s back as it was: %w", x.was.name, err)
	}
	return nil
}

// hear counts what comes for a while. It stops early when only broken frames come.
func (x *listener) hear(ctx context.Context, rate int) (h adapter.Heard, err error) {
	b, err := Open(ctx, x.was.name, Options{})
	if err != nil {
		return h, err
	}
	defer func() { err = errors.Join(err, b.Close()) }()
	begun := time.Now()
	within, cancel := context.WithTimeout(ctx, x.o.For)
	defer cancel()
	h.BitRate = rate
	bits := 0
	for h.Narrow+h.Wide > 0 || h.Broken < enoughBroken {
		r, err := b.Receive(within)
		switch {
		case ctx.Err() != nil:
			return h, ctx.Err()
		case errors.Is(err, context.DeadlineExceeded):
			if h.Lasted = time.Since(begun); rate > 0 {
				h.Load = min(float64(bits)/(float64(rate)*h.Lasted.Seconds()), 1)
			}
			return h, nil
		case err != nil:
			return h, err
		case r.Fault&bus.FaultDown != 0:
			return h, fmt.Errorf("%w: %s was taken down while it was heard", ErrDown, x.was.name)
		case r.Fault&breaking != 0:
			h.Broken++
		case r.Fault != 0:
		case r.Frame.IsExtended:
			h.Wide++
			bits += bus.FrameBits(r.Frame)
		default:
			h.Narrow++
			bits += bus.FrameBits(r.Frame)
		}
	}
	h.Lasted = time.Since(begun)
	return h, nil
}

// breaking are the reports that tell of frames that broke the bit rules. A controller that does not report each of them
// still tells when its error counters pass a limit.
const breaking = bus.FaultProtocol | bus.FaultWarning | bus.FaultPassive
