package elm

import (
	"context"
	"slices"
	"sync"
	"time"

	"readback/diag/adapter"
)

const (
	// supplyEvery is the least time between two readings that nobody has asked for.
	supplyEvery = 5 * time.Second
	// supplyRest is how long nothing else must have been said before one.
	supplyRest = 300 * time.Millisecond
	// supplyKept is how many readings are kept: an hour of them.
	supplyKept = 720
)

// supplyLog keeps the newest readings of the supply.
type supplyLog struct {
	mu     sync.Mutex
	offset float64                 // is added to what the adapter shows
	list   []adapter.SupplyReading // as the adapter shows them
}

// take keeps a reading and returns it with the offset.
func (l *supplyLog) take(volts float64, at time.Time) float64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.list) == supplyKept {
		l.list = slices.Delete(l.list, 0, 1)
	}
	l.list = append(l.list, adapter.SupplyReading{At: at, Volts: volts})
	return volts + l.offset
}

func (l *supplyLog) readings() []adapter.SupplyReading {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := slices.Clone(l.list)
	for i := range out {
		out[i].Volts += l.offset
	}
	return out
}

// SupplyReadings are the newest readings of the supply, up to 720, the oldest first. While nothing else is said one is
// taken every 5 s; none is ever taken between a request and its answer.
func (a *Adapter) SupplyReadings() []adapter.SupplyReading { return a.c.volted.readings() }

// SetSupplyOffset sets the volts that are added to what the adapter shows.
func (a *Adapter) SetSupplyOffset(volts float64) {
	a.c.volted.mu.Lock()
	a.c.volted.offset = volts
	a.c.volted.mu.Unlock()
}

// SupplyVolts is the voltage at pin 16 (AT RV, data sheet p. 28) with the offset added. It waits until the request in
// progress has ended.
func (a *Adapter) SupplyVolts(ctx context.Context) (float64, error) { return a.c.supply(ctx) }

// idle is how long to wait before the supply is measured.
func (c *conversation) idle() time.Duration {
	return max(time.Until(c.tried.Add(supplyEvery)), supplyRest)
}

// watch takes a reading by itself. Its error ends the conversation.
func (c *conversation) watch() error {
	c.tried = time.Now()
	_, err := c.measure(c.ctx)
	return err
}
