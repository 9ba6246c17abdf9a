// Package replay is an adapter that plays a recording: a visit that was recorded can be walked again without the car.
//
// A request that is in the recording gets the answers that it got then, in the order in which it was asked; when it is
// asked more often, the last ones once more. Everything else meets silence. What the running car said is played from
// the beginning at its own pace. Nothing leaves this computer: there is only a bus in memory, and a file that is read.
package replay

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"sync"

	"readback/diag/adapter"
	"readback/diag/bus"
	"readback/diag/trace"
)

// Schemes of the places. "replay:FILE.pcapng" keeps the delays of the recording, "replay-fast:FILE.pcapng" answers at once.
const (
	Scheme     = "replay"
	SchemeFast = "replay-fast"
)

// MaxFrames is how many frames of a recording are kept; a longer one is not played.
const MaxFrames = 1_000_000

// ErrNothing means that a recording holds no frame.
var ErrNothing = errors.New("replay: there is no frame in the recording")

// Driver is the driver of recordings.
func Driver() adapter.Driver { return driver{} }

type driver struct{}

func (driver) Schemes() []string { return []string{Scheme, SchemeFast} }

// Find finds nothing: a recording is not plugged in.
func (driver) Find(context.Context) ([]adapter.Found, error) { return nil, nil }

func (driver) Open(ctx context.Context, p adapter.Place, _ adapter.Options) (adapter.Connection, error) {
	scheme, path, err := p.Split()
	var all []recorded
	if err == nil {
		all, err = load(ctx, path, trace.ReadFile(path))
	}
	if err != nil {
		return nil, &adapter.OpenError{Place: p, Step: adapter.StepAdapter, Cause: err}
	}
	s := newScript(all)
	c := connect(func(ctx context.Context, b bus.Bus) { play(ctx, b, s, scheme == SchemeFast) })
	c.frames = len(all)
	return c, nil
}

// load takes the frames of a recording, which path stands for in errors.
func load(ctx context.Context, path string, entries iter.Seq2[trace.Entry, error]) ([]recorded, error) {
	var all []recorded
	for e, err := range entries {
		switch {
		case err != nil:
			return nil, err
		case e.Level != trace.Frame || e.Frames[0].IsRemote:
			continue
		case len(all) == MaxFrames:
			return nil, fmt.Errorf("replay: %s has more than %d frames", path, MaxFrames)
		case len(all)%4096 == 0 && ctx.Err() != nil:
			return nil, ctx.Err()
		}
		all = append(all, recorded{at: e.At.UnixNano(), out: e.Direction == bus.Out, frame: e.Frames[0]})
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("%w: %s", ErrNothing, path)
	}
	return all, nil
}

// Connection is a recording that is being played. It carries frames.
type Connection struct {
	frames int
	tester bus.Bus
	stop   context.CancelFunc
	served sync.WaitGroup
}

// connect makes a bus with serve at its other end.
func connect(serve func(context.Context, bus.Bus)) *Connection {
	tester, car := bus.Pair()
	ctx, stop := context.WithCancel(context.Background())
	c := &Connection{tester: tester, stop: stop}
	c.served.Go(func() { serve(ctx, car) })
	return c
}

// Bus is the tester's place on the bus.
func (c *Connection) Bus() bus.Bus { return c.tester }

func (c *Connection) Abilities() adapter.Abilities {
	return adapter.Abilities{
		Name:      "Recording",
		Practice:  true,
		Recording: true,
		Raw:       true,
		Parallel:  8,
		Exact:     true,
		Wide:      true,
		Protocol:  fmt.Sprintf("a recording of %d frames", c.frames),
		Version:   "played",
		Limits: []string{
			"This is a recording. Nothing reaches a car.",
			"It answers only what was asked when it was recorded.",
		},
	}
}

// Close ends the playing. It may be called more than once.
func (c *Connection) Close() error {
	c.stop()
	err := c.tester.Close()
	c.served.Wait()
	return err
}
