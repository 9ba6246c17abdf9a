package app

import (
	"sync"
	"time"
)

// doorGap is the least time between two redraws.
const doorGap = 17 * time.Millisecond

// door is the one way from working goroutines back to the window's thread. However much is handed in, at most one
// redraw waits, and two redraws are at least [doorGap] apart.
type door struct {
	do   func(func()) // runs a function on the window's thread
	draw func()       // redraws, on the window's thread

	mu      sync.Mutex
	queue   []handed
	waiting bool
	last    time.Time
	shut    bool
}

type handed struct {
	key string
	f   func()
}

// hand puts f into the queue. A later f with the same key replaces an earlier one that has not run; "" never replaces.
func (d *door) hand(key string, f func()) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.shut {
		return
	}
	d.put(key, f)
	if d.waiting {
		return
	}
	d.waiting = true
	time.AfterFunc(max(0, doorGap-time.Since(d.last)), func() { d.do(d.open) })
}

func (d *door) put(key string, f func()) {
	for i := range d.queue {
		if key != "" && d.queue[i].key == key {
			d.queue[i].f = f
			return
		}
	}
	d.queue = append(d.queue, handed{key, f})
}

// open runs what was handed in, in order, and redraws once.
func (d *door) open() {
	d.mu.Lock()
	queue, shut := d.queue, d.shut
	d.queue, d.waiting, d.last = nil, false, time.Now()
	d.mu.Unlock()
	if shut {
		return
	}
	for _, h := range queue {
		h.f()
	}
	d.draw()
}

// close lets nothing in any more.
func (d *door) close() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.shut, d.queue = true, nil
}
