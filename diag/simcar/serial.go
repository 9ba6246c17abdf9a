package simcar

import (
	"context"
	"io"
	"strings"
	"sync"
	"time"

	"readback/diag/bus"

	"go.einride.tech/can"
)

// SerialOptions shape the serial adapter that ServeSerial plays.
type SerialOptions struct {
	// Version is what it says of itself; "ELM327 v2.2" when empty.
	Version string
	// BitRate is the speed of the serial line in bit/s; 0 is as fast as the other end takes it.
	BitRate int
	// Buffer is how many bytes it can hold for a slow serial line before it says BUFFER FULL; 512 when 0. Without a
	// BitRate nothing fills up.
	Buffer int
	// Unknown are commands that it answers with "?", without the AT and without spaces, as in "CEA" or "FCSM": each
	// stands for all commands that begin so. # stands for any one character.
	Unknown []string
	// Impatient makes it stop waiting after a 7F xx 78 as after any other answer. Otherwise it then waits for 5 s.
	Impatient bool
	// Host, when not nil, tells the speed in bit/s that the other end has set its port to, or 0. While it differs from the
	// device's by more than 3 %, bytes arrive spoilt, both ways. Without it the speeds always fit, unless the line itself can
	// tell, as that of [OpenPTY] can. Without a BitRate there is no speed.
	Host func() int
}

const (
	defaultVersion = "ELM327 v2.2"
	defaultBuffer  = 512 // bytes, ELM327 data sheet p. 87
	description    = "Readback practice adapter"
	longestLine    = 254
	frameDepth     = 256 // frames that wait for the device
	prompt         = ">"
	notUnderstood  = "?"
	accepted       = "OK"
)

// ServeSerial plays an ELM-style serial adapter that is plugged into this car, on rw, until the context ends or the
// other end is gone. It behaves as the ELM327 data sheet (v1.4 to v2.2) describes; where the sheet leaves something
// open, a comment says so. It closes rw, and all that it started has ended when it returns.
func (c *Car) ServeSerial(ctx context.Context, rw io.ReadWriteCloser, o SerialOptions) error {
	ctx, cancel := context.WithCancel(ctx)
	var owned sync.WaitGroup
	defer owned.Wait()
	defer rw.Close()
	defer cancel()
	defer context.AfterFunc(ctx, func() { rw.Close() })()

	mine, cars := bus.Pair()
	o = o.with(c.spec.Adapter)
	if port, ok := rw.(interface{ Speed() int }); ok && o.Host == nil {
		o.Host = port.Speed
	}
	d := &device{car: c, o: o, grace: speedWait, bus: mine, in: make(chan byte), frames: make(chan can.Frame, frameDepth)}
	if line, ok := forms[c.spec.Line]; ok {
		d.line = &line
	}
	if d.o.Version == "" {
		d.o.Version = defaultVersion
	}
	d.begin()
	var w io.Writer = rw
	if c.mischief != nil {
		w = &line{rw, ctx, c.mischief, nil}
	}
	d.out = newOutput(w, o)
	d.out.paced(d.spec())
	served := make(chan error, 1)
	owned.Go(func() { served <- c.Serve(ctx, cars) })
	owned.Go(func() { fromBus(ctx, mine, d.frames) })
	owned.Go(func() {
		defer close(d.in)
		fromLine(ctx, rw, d.out, d.in)
	})
	owned.Go(func() { d.out.run(ctx) })
	d.run(ctx)
	cancel()
	return <-served
}

// device is one serial adapter.
type device struct {
	car    *Car
	o      SerialOptions
	bus    bus.Bus
	in     chan byte // from the serial line; closed when that is gone
	frames chan can.Frame
	out    *output
	line   *form    // the car's serial line; nil: it has CAN
	coming []onLine // messages that are on their way on it
	set    settings
	last   string // an empty line repeats it
	rows   int    // lines of answers shown
	told   int    // their bytes
	fresh  bool   // it has just been reset
	grace  time.Duration
}

// run reads and carries out one line after another.
func (d *device) run(ctx context.Context) {
	for {
		line, ok := d.readLine(ctx)
		if !ok {
			return
		}
		if line == "" {
			line = d.last
		}
		d.last = line
		if slow := d.spec().Slow; slow > 0 && !elapse(ctx, time.Duration(slow)*time.Millisecond) {
			return
		}
		d.execute(ctx, line)
		d.prompts()
		if ctx.Err() != nil || d.out.failed() {
			return
		}
	}
}

// readLine reads up to a carriage return, echoing what it reads. Spaces, control characters and case don't count.
func (d *device) readLine(ctx context.Context) (string, bool) {
	var line strings.Builder
	for {
		select {
		case <-ctx.Done():
			return "", false
		case <-d.frames: // nobody asked
		case b, ok := <-d.in:
			switch {
			case !ok:
				return "", false
			case b == 0:
				continue
			case d.set.echo && b == '\r':
				d.print(d.set.end())
			case d.set.echo:
				d.print(string([]byte{b}))
			}
			if b == '\r' {
				return strings.ToUpper(line.String()), true
			}
			if b > ' ' && b < 0x7F && line.Len() < longestLine {
				line.WriteByte(b)
			}
		}
	}
}

// execute carries out one line without its carriage return.
func (d *device) execute(ctx context.Context, line string) {
	command, ok := strings.CutPrefix(line, "AT")
	if !ok {
		d.request(ctx, line)
		return
	}
	switch a := d.spec(); {
	case listed(d.o.Unknown, command):
		d.printLine(notUnderstood)
		return
	case listed(a.Ignores, command):
		d.printLine(accepted)
		return
	case listed(a.Hangs, command):
		select {
		case <-ctx.Done():
		case <-d.in:
		}
		return
	case listed(a.Dies, command):
		for ok := true; ok && ctx.Err() == nil; {
			select {
			case <-ctx.Done():
			case _, ok = <-d.in:
			}
		}
		return
	}
	if arg, ok := strings.CutPrefix(command, "BRD"); ok {
		d.changeSpeed(ctx, arg)
		return
	}
	switch command {
	case "MA":
		d.monitor(ctx)
	case "RTR":
		d.remote(ctx)
	case "Z", "WS":
		d.begin()
		d.fresh = true
		if command == "Z" { // WS keeps the speed of the line
			d.slowDown()
		}
		d.print(d.set.end(), d.set.end())
		d.printLine(d.o.Version)
	case "FI", "SI":
		d.open(ctx, command)
	default:
		d.printLine(d.command(command))
	}
}

// print puts text out; it never drops any.
func (d *device) print(text ...string) {
	for _, s := range text {
		d.out.put(s)
	}
}

func (d *device) printLine(s string) { d.print(s, d.set.end()) }
