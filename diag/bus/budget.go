package bus

import (
	"context"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/pause"
)

// longestDebt is the longest time that a [Budget] holds a frame back for what has gone before it. Were there no end to
// it, a bus that is busier than the budget without our doing would never let a frame go.
const longestDebt = time.Second

// Budget paces what is sent so that the frames counted keep the bus busy for no more than a share of the time.
//
// Every counted frame takes its own length on the wire, divided by the share; until that time is over, no further
// frame goes. Quiet times are not saved up, so there are no bursts, and no stretch of time holds more than its share
// and one frame, as far as that is in our hands: answers can't be held back, only paid for afterwards, up to a second.
// What is counted is up to the caller: with the requests and their answers alone, the share is what a search adds to
// the traffic of the car. It may be used from several goroutines.
type Budget struct {
	perBit float64       // nanoseconds that one bit costs
	turn   chan struct{} // holds a token while somebody waits for the bus

	mu   sync.Mutex
	free time.Time // when all that has been counted is paid for
}

// NewBudget keeps a bus of bitRate (in bit/s, at least 1) under share (above 0, up to 1).
func NewBudget(bitRate int, share float64) *Budget {
	share = min(max(share, 1e-6), 1)
	return &Budget{perBit: float64(time.Second) / (float64(max(bitRate, 1)) * share), turn: make(chan struct{}, 1)}
}

// Cost is how long f takes of the time allowed: its length on the wire divided by the share.
func (b *Budget) Cost(f can.Frame) time.Duration {
	return time.Duration(float64(FrameBits(f)) * b.perBit)
}

// Count notes that f was on the bus at that time: a frame heard, or one sent without [Budget.Wait].
func (b *Budget) Count(f can.Frame, at time.Time) {
	cost := b.Cost(f)
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.free.Before(at) {
		b.free = at
	}
	b.free = b.free.Add(cost)
	if end := at.Add(longestDebt); b.free.After(end) {
		b.free = end
	}
}

// Delay is how long a frame has to be held back at that time, 0 to 1 s.
func (b *Budget) Delay(at time.Time) time.Duration {
	b.mu.Lock()
	defer b.mu.Unlock()
	return min(max(b.free.Sub(at), 0), longestDebt)
}

// Wait returns when f may be sent, and counts it. Several callers take turns. It waits until what had been counted
// when its turn came is paid for, a second at most, and returns ctx.Err() when ctx ends first; f is not counted then.
func (b *Budget) Wait(ctx context.Context, f can.Frame) error {
	select {
	case b.turn <- struct{}{}:
		defer func() { <-b.turn }()
	case <-ctx.Done():
		return ctx.Err()
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	until := time.Now().Add(longestDebt)
	for {
		now := time.Now()
		d := min(b.Delay(now), until.Sub(now))
		if d <= 0 {
			b.Count(f, now)
			return nil
		}
		if err := pause.For(ctx, d); err != nil {
			return err
		}
	}
}
