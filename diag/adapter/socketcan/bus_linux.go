package socketcan

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync/atomic"
	"syscall"
	"time"

	"go.einride.tech/can"
	"golang.org/x/sys/unix"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/link"
	"readback/diag/pause"
)

// Options of Open.
type Options struct {
	// Filters let frames through that match any of them; without one all frames come.
	Filters []Filter
	// Buffer is the kernel's receive buffer in bytes; 0 stands for 4 MiB, some 10 000 frames.
	Buffer int
}

// Filter lets frames through whose identifier has the width of ID and agrees with it where Mask has ones.
type Filter struct {
	ID   link.ID
	Mask uint32
}

const (
	defaultBuffer = 4 << 20
	// lookAfter is how often a waiting Receive makes sure that its interface is still there.
	lookAfter = 250 * time.Millisecond
	// fresh is how long a look at the interface is good for sending, unless Receive has met with a report since: a burst of
	// frames is not held up, and what happened just before a request is seen.
	fresh = 20 * time.Millisecond
	// queueFull is how long Send waits before it tries again when the interface's queue is full (ENOBUFS).
	queueFull = time.Millisecond
)

// Bus is a raw CAN socket on one interface. It is a [bus.Bus] and a [bus.Stater].
type Bus struct {
	name   string
	index  int
	file   *os.File
	raw    syscall.RawConn
	route  *route
	closed atomic.Bool
	gone   atomic.Bool
	opened time.Time
	faults atomic.Uint32 // reports that Receive has met with
	ready  atomic.Pointer[glance]

	// Owned by Receive.
	watched context.Context // whose end ends the waiting
	unwatch func() bool
	due     time.Time     // when waiting ends to look after the interface
	held    *bus.Received // comes after the report that frames were dropped before it
	dropped uint32
	buf     [frameSize]byte
	oob     [128]byte
}

// glance is when the interface was found ready to send, since it was opened, and how many reports there had been.
type glance struct {
	at     time.Duration
	faults uint32
}

// Open opens a socket on the interface called name, which must be up. The error wraps [ErrNoInterface], [ErrNotCAN],
// [ErrDown] or [ErrUnsupported] where one of these is the cause.
func Open(ctx context.Context, name string, o Options) (*Bus, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	r, err := dialRoute()
	if err != nil {
		return nil, err
	}
	b, err := open(r, name, o)
	if err != nil {
		return nil, errors.Join(err, r.close())
	}
	return b, nil
}

func open(r *route, name string, o Options) (*Bus, error) {
	l, err := r.byName(name)
	switch {
	case name == "":
		return nil, fmt.Errorf("%w: the place names none", ErrNoInterface)
	case err != nil:
		return nil, err
	case l.hardware != unix.ARPHRD_CAN:
		return nil, fmt.Errorf("%w: %s", ErrNotCAN, name)
	case !l.up:
		return nil, &adapter.DownError{Name: name, Command: bringUp(name, l.kind)}
	}
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_RAW|unix.SOCK_NONBLOCK|unix.SOCK_CLOEXEC, unix.CAN_RAW)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrUnsupported, err)
	}
	if err := setUp(fd, l.index, o); err != nil {
		return nil, errors.Join(fmt.Errorf("socketcan: opening %s: %w", name, err), unix.Close(fd))
	}
	f := os.NewFile(uintptr(fd), Scheme+":"+name)
	raw, err := f.SyscallConn()
	if err != nil {
		return nil, errors.Join(fmt.Errorf("socketcan: opening %s: %w", name, err), f.Close())
	}
	return &Bus{name: name, index: l.index, file: f, raw: raw, route: r, opened: time.Now()}, nil
}

func setUp(fd, index int, o Options) error {
	buffer := o.Buffer
	if buffer == 0 {
		buffer = defaultBuffer
	}
	// Beyond net.core.rmem_max a privilege is needed; without it the kernel gives what it may.
	if unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, buffer) != nil {
		if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF, buffer); err != nil {
			return fmt.Errorf("receive buffer: %w", err)
		}
	}
	for _, s := range []struct {
		level, option, value int
		what                 string
	}{
		{unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, 1, "times"},
		{unix.SOL_SOCKET, unix.SO_RXQ_OVFL, 1, "counting of drops"},
		{unix.SOL_CAN_RAW, unix.CAN_RAW_ERR_FILTER, unix.CAN_ERR_MASK, "the controller's reports"},
	} {
		if err := unix.SetsockoptInt(fd, s.level, s.option, s.value); err != nil {
			return fmt.Errorf("%s: %w", s.what, err)
		}
	}
	if len(o.Filters) > 0 {
		if err := unix.SetsockoptCanRawFilter(fd, unix.SOL_CAN_RAW, unix.CAN_RAW_FILTER, kernelFilters(o.Filters)); err != nil {
			return fmt.Errorf("filters: %w", err)
		}
	}
	return unix.Bind(fd, &unix.SockaddrCAN{Ifindex: index})
}

func kernelFilters(filters []Filter) []unix.CanFilter {
	out := make([]unix.CanFilter, 0, len(filters))
	for _, f := range filters {
		k := unix.CanFilter{Id: f.ID.Value, Mask: f.Mask&unix.CAN_EFF_MASK | unix.CAN_EFF_FLAG}
		if f.ID.Extended {
			k.Id |= unix.CAN_EFF_FLAG
		}
		out = append(out, k)
	}
	return out
}

// State is the controller's state. Interfaces without a controller, such as vcan, have none: [bus.StateUnknown].
func (b *Bus) State(ctx context.Context) (bus.State, error) {
	l, err := b.look(ctx)
	return l.state, err
}

// look asks for the interface as it is now.
func (b *Bus) look(ctx context.Context) (linkInfo, error) {
	if err := ctx.Err(); err != nil {
		return linkInfo{}, err
	}
	switch {
	case b.closed.Load():
		return linkInfo{}, bus.ErrClosed
	case b.gone.Load():
		return linkInfo{}, b.vanished()
	}
	l, err := b.route.byIndex(b.index)
	switch {
	case err == nil:
		return l, nil
	case b.closed.Load():
		return linkInfo{}, bus.ErrClosed
	case errors.Is(err, ErrNoInterface):
		b.gone.Store(true)
		return linkInfo{}, b.vanished()
	}
	return linkInfo{}, err
}

func (b *Bus) vanished() error {
	return fmt.Errorf("%w: interface %s was removed", bus.ErrGone, b.name)
}

// Send hands a frame to the interface. While its queue is full Send waits. It refuses with [bus.ErrOff] when the
// controller does not take part: the kernel would take the frame and drop it.
func (b *Bus) Send(ctx context.Context, f can.Frame) error {
	if err := f.Validate(); err != nil {
		return fmt.Errorf("socketcan: sending on %s: %w", b.name, err)
	}
	if err := b.maySend(ctx); err != nil {
		return err
	}
	data := encode(f)
	for {
		err := b.write(data)
		switch {
		case err == nil:
			return nil
		case errors.Is(err, unix.EINTR):
		case errors.Is(err, unix.ENOBUFS), errors.Is(err, unix.EAGAIN):
			if err := pause.For(ctx, queueFull); err != nil {
				return err
			}
		case b.closed.Load():
			return bus.ErrClosed
		case errors.Is(err, unix.ENODEV), errors.Is(err, unix.ENXIO):
			b.gone.Store(true)
			return b.vanished()
		case errors.Is(err, unix.ENETDOWN):
			b.ready.Store(nil)
			if err := b.maySend(ctx); err != nil {
				return err
			}
			// It was down once, which the socket has kept until now; the frame has not been taken.
		default:
			return fmt.Errorf("socketcan: sending on %s: %w", b.name, err)
		}
	}
}

// maySend looks whether the controller takes part. The kernel tells by itself of an interface that is down or gone, and the
// modes of a controller change only while it is down: the look is for one that has left the bus.
func (b *Bus) maySend(ctx context.Context) error {
	now, faults := time.Since(b.opened), b.faults.Load()
	if g := b.ready.Load(); g != nil && g.faults == faults && now-g.at < fresh && !b.closed.Load() && !b.gone.Load() {
		return ctx.Err()
	}
	l, err := b.look(ctx)
	switch {
	case err != nil:
		return err
	case !l.up:
		return fmt.Errorf("%w: %s is down", bus.ErrOff, b.name)
	case l.state == bus.StateOff || l.state == bus.StateStopped:
		return fmt.Errorf("%w: %s is %s", bus.ErrOff, b.name, l.state)
	case l.listenOnly:
		return fmt.Errorf("%w: %s listens only", bus.ErrOff, b.name)
	}
	b.ready.Store(&glance{now, faults})
	return nil
}

func (b *Bus) write(data []byte) (err error) {
	if e := b.raw.Control(func(fd uintptr) { _, err = unix.Write(int(fd), data) }); e != nil {
		return e
	}
	return err
}

// Receive returns the next frame or report. Frames that the kernel had to drop are reported as [bus.FaultOverrun]
// before the frame that came after them; an interface that was taken down, but is still there, as [bus.FaultDown].
func (b *Bus) Receive(ctx context.Context) (bus.Received, error) {
	if b.held != nil {
		r := *b.held
		b.held = nil
		return r, nil
	}
	b.watch(ctx)
	for {
		if now := time.Now(); b.due.Sub(now) < lookAfter/2 {
			if err := b.file.SetReadDeadline(now.Add(lookAfter)); err != nil && !b.closed.Load() {
				return bus.Received{}, fmt.Errorf("socketcan: receiving on %s: %w", b.name, err)
			}
			b.due = now.Add(lookAfter)
		}
		if err := ctx.Err(); err != nil {
			return bus.Received{}, err
		}
		n, oobn, err := b.read()
		switch {
		case b.closed.Load():
			b.unwatch()
			return bus.Received{}, bus.ErrClosed
		case err == nil:
			if r, ok := b.event(b.buf[:n], b.oob[:oobn]); ok {
				if r.Fault != 0 {
					b.faults.Add(1)
				}
				return r, nil
			}
		case errors.Is(err, os.ErrDeadlineExceeded):
			b.due = time.Time{}
			if _, err := b.look(ctx); err != nil {
				return bus.Received{}, err
			}
		case errors.Is(err, unix.ENODEV), errors.Is(err, unix.ENXIO):
			b.gone.Store(true)
			return bus.Received{}, b.vanished()
		case errors.Is(err, unix.ENETDOWN):
			if _, err := b.look(ctx); err != nil {
				return bus.Received{}, err
			}
			b.faults.Add(1)
			return bus.Received{At: time.Now(), Fault: bus.FaultDown}, nil
		default:
			return bus.Received{}, fmt.Errorf("socketcan: receiving on %s: %w", b.name, err)
		}
	}
}

// watch makes the end of ctx end the waiting. Receive is mostly called with the same one again. The deadline that its end
// sets may hit a later call, which then looks around and goes on waiting.
func (b *Bus) watch(ctx context.Context) {
	if b.watched != nil && b.watched.Done() == ctx.Done() {
		return
	}
	if b.unwatch != nil {
		b.unwatch()
	}
	b.watched, b.unwatch = ctx, context.AfterFunc(ctx, func() { _ = b.file.SetReadDeadline(time.Unix(1, 0)) })
}

func (b *Bus) read() (n, oobn int, err error) {
	e := b.raw.Read(func(fd uintptr) bool {
		for {
			n, oobn, _, _, err = unix.Recvmsg(int(fd), b.buf[:], b.oob[:], 0)
			if !errors.Is(err, unix.EINTR) {
				return !errors.Is(err, unix.EAGAIN)
			}
		}
	})
	if e != nil {
		return 0, 0, e
	}
	return n, oobn, err
}

// event makes an event of what was read.
func (b *Bus) event(data, oob []byte) (bus.Received, bool) {
	at, dropped := extras(oob)
	if at.IsZero() {
		at = time.Now()
	}
	r, ok := decode(data, at)
	if dropped == b.dropped {
		return r, ok
	}
	b.dropped = dropped
	if ok {
		held := r // r itself takes no memory where nothing was dropped
		b.held = &held
	}
	return bus.Received{At: at, Fault: bus.FaultOverrun}, true
}

// Close closes the socket and ends a waiting Receive. It may be called more than once.
func (b *Bus) Close() error {
	if b.closed.Swap(true) {
		return nil
	}
	return errors.Join(b.file.Close(), b.route.close())
}
