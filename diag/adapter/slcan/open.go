package slcan

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"readback/diag/adapter"
	"readback/diag/bus"
)

// Options of Open.
type Options struct {
	Place adapter.Place // for errors
	Name  string        // for people; "Serial-line CAN adapter" when empty
	// BitRate is that of the car's bus in bit/s. 0 finds it by listening; on a bus on which nobody talks, and with an
	// adapter that can't listen without taking part, 500 kbit/s is taken.
	BitRate int
	// ListenOnly takes no part in the bus: nothing is acknowledged, and nothing can be sent.
	ListenOnly bool
	// Speeds are the line speeds in bit/s to try, the likeliest first, with SetSpeed. Without them the port is used as
	// it is.
	Speeds   []int
	SetSpeed func(bitsPerSecond int) error
}

const (
	usualRate = 500_000 // ISO 15765-4
	// shortListen is how long each rate is heard before taking part: the ordinary messages of a car come every 10 to
	// 100 ms (common practice).
	shortListen = 250 * time.Millisecond
	// greetings is how often V is asked at one line speed: the first answer may be a bell for what stood on the line.
	greetings = 2
)

// Open sets up the adapter at the other end of port and joins the bus. It takes port over: it is closed by Close, and
// when Open fails. The error is an [*adapter.OpenError].
func Open(ctx context.Context, port io.ReadWriteCloser, o Options) (adapter.Frames, error) {
	s := &setup{b: newBus(port), o: o}
	step, err := s.open(ctx)
	if err != nil {
		if ctx.Err() != nil {
			err = ctx.Err()
		}
		return nil, &adapter.OpenError{Place: o.Place, Step: step, Cause: errors.Join(err, s.b.Close())}
	}
	return &connection{b: s.b, a: s.abilities()}, nil
}

type connection struct {
	b *Bus
	a adapter.Abilities
}

func (c *connection) Bus() bus.Bus                 { return c.b }
func (c *connection) Abilities() adapter.Abilities { return c.a }
func (c *connection) Close() error                 { return c.b.Close() }

// setup is the way from an open port to an open channel.
type setup struct {
	b *Bus
	o Options

	speed    int
	version  string
	serial   string
	listens  bool // L was taken
	confirms bool // S and O were answered
	rate     int
	guessed  bool // the rate was taken unheard
}

func (s *setup) open(ctx context.Context) (adapter.Step, error) {
	if err := s.greet(ctx); err != nil {
		return adapter.StepAdapter, err
	}
	s.confirms = true
	s.rate = s.o.BitRate
	if s.rate == 0 {
		if step, err := s.find(ctx); err != nil {
			return step, err
		}
	} else if taken, err := s.join(ctx, 'L'); err == nil {
		s.listens = taken
	} else if !errors.Is(err, ErrRefused) {
		return adapter.StepAdapter, err
	}
	letter := byte('O')
	if s.o.ListenOnly {
		letter = 'L'
	}
	switch taken, err := s.join(ctx, letter); {
	case s.o.ListenOnly && (errors.Is(err, ErrRefused) || err == nil && !taken):
		return adapter.StepAdapter, fmt.Errorf("%w: it does not confirm L", adapter.ErrNotSilent)
	case err != nil:
		return adapter.StepAdapter, err
	}
	s.b.begin(s.o.ListenOnly)
	return "", nil
}

// greet finds out whether an adapter of this kind is there, and its line speed: the first at which it tells a version, else
// the first at which it refused to. A bell alone may be noise of a wrong speed.
func (s *setup) greet(ctx context.Context) error {
	speeds, set := s.o.Speeds, s.o.SetSpeed
	if len(speeds) == 0 || set == nil {
		speeds, set = []int{0}, func(int) error { return nil }
	}
	err, likely := ErrNoAnswer, -1
	for _, speed := range speeds {
		if e := set(speed); e != nil {
			err = fmt.Errorf("slcan: setting %d bit/s: %w", speed, e)
			continue
		}
		sure, e := s.hello(ctx)
		switch {
		case e == nil && sure:
			s.speed = speed
			return s.number(ctx)
		case e == nil && likely < 0:
			likely = speed
		case errors.Is(e, adapter.ErrOtherKind):
			s.speed = speed
			return e
		case e != nil && !errors.Is(e, ErrNoAnswer):
			return e
		}
	}
	if likely < 0 {
		return err
	}
	if err := set(likely); err != nil {
		return fmt.Errorf("slcan: setting %d bit/s: %w", likely, err)
	}
	s.speed = likely
	return s.number(ctx)
}

// hello asks for the version, see the package's comment for why nothing else. sure: a version came.
func (s *setup) hello(ctx context.Context) (sure bool, err error) {
	hints := 0
	for range greetings {
		text, err := s.b.w.command(ctx, "V\r", 'V')
		switch {
		case s.b.w.prompted():
			return false, adapter.ErrOtherKind
		case err == nil:
			s.version = text
			return true, nil
		case errors.Is(err, ErrRefused): // it has no version, or half a line stood there
			hints++
		case !errors.Is(err, errQuiet):
			return false, err
		case s.b.w.blanked(): // some confirm every line and tell nothing
			hints++
		}
	}
	if hints < greetings {
		return false, ErrNoAnswer
	}
	return false, nil
}

// number asks for the serial number, which many don't have.
func (s *setup) number(ctx context.Context) error {
	text, err := s.b.w.command(ctx, "N\r", 'N')
	switch {
	case err == nil:
		s.serial = text
	case !errors.Is(err, ErrRefused) && !errors.Is(err, errQuiet):
		return err
	}
	return nil
}

// join opens the channel at the rate, with O to take part or with L to listen. taken reports whether the adapter has
// confirmed that.
func (s *setup) join(ctx context.Context, letter byte) (taken bool, err error) {
	rate, err := rateCommand(s.rate)
	if err != nil {
		return false, err
	}
	// A channel that is not open answers C with a bell.
	if _, err := s.b.w.command(ctx, "C\r", 'C'); err != nil && !errors.Is(err, ErrRefused) && !errors.Is(err, errQuiet) {
		return false, err
	}
	s.b.forget()
	switch _, err := s.b.w.command(ctx, rate+"\r", rate[0]); {
	case errors.Is(err, ErrRefused):
		return false, fmt.Errorf("%w: %d bit/s", adapter.ErrRate, s.rate)
	case errors.Is(err, errQuiet):
		s.confirms = false
	case err != nil:
		return false, err
	}
	switch _, err := s.b.w.command(ctx, string(letter)+"\r", letter); {
	case errors.Is(err, errQuiet):
		s.confirms = false
		return false, nil
	case err != nil:
		return false, err
	}
	return true, nil
}

// find takes the rate at which somebody is heard.
func (s *setup) find(ctx context.Context) (adapter.Step, error) {
	h, err := s.search(ctx, adapter.UsualRates(), shortListen)
	switch {
	case err == nil:
		s.rate = h.BitRate
	case errors.Is(err, adapter.ErrSilent), errors.Is(err, adapter.ErrNotSilent):
		s.rate, s.guessed = usualRate, true
	case errors.Is(err, adapter.ErrNoRate):
		// Taking part at a wrong rate would disturb the bus.
		return adapter.StepBus, err
	default:
		return adapter.StepAdapter, err
	}
	return "", nil
}

func (s *setup) versionText() string { return strings.TrimSpace(s.version + " " + s.serial) }

func (s *setup) abilities() adapter.Abilities {
	a := adapter.Abilities{
		Name: s.o.Name, Raw: true, Parallel: 8, Exact: true, Wide: true, Listens: s.listens, BitRate: s.rate,
		Protocol:  fmt.Sprintf("CAN, %d kbit/s", s.rate/1000),
		Version:   s.versionText(),
		LineSpeed: s.speed,
		Limits:    []string{"It can't measure the 12 V supply."},
	}
	if a.Name == "" {
		a.Name = "Serial-line CAN adapter"
	}
	if s.o.ListenOnly {
		a.Limits = append(a.Limits, "It is set to listen only: nothing can be sent.")
	}
	if s.guessed {
		a.Limits = append(a.Limits, fmt.Sprintf("Nobody was heard on the bus, so %d kbit/s was taken unchecked.", s.rate/1000))
	}
	if !s.listens {
		a.Limits = append(a.Limits, "It can't listen without taking part.")
	}
	if !s.confirms {
		a.Limits = append(a.Limits, "It does not say whether it took a command or a frame.")
	}
	return a
}

// begin is the moment when the channel is open: what was heard before is forgotten.
func (b *Bus) begin(listenOnly bool) {
	b.forget()
	b.mu.Lock()
	b.listenOnly = listenOnly
	b.mu.Unlock()
	b.guard()
}

// forget drops what has been received.
func (b *Bus) forget() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.queue, b.dropped, b.broken, b.state = nil, false, 0, bus.StateUnknown
}
