package isotp

import (
	"context"
	"sync"
	"time"
)

// within is a context that ends at a time. It has a timer only when somebody waits for it: a bus mostly takes a frame at
// once, and a message has many.
type within struct {
	context.Context
	until time.Time

	mu     sync.Mutex
	inner  context.Context // with the timer; nil until somebody waits
	cancel context.CancelFunc
}

// Deadline is the earlier of its own and that of the context around it.
func (w *within) Deadline() (time.Time, bool) {
	if t, ok := w.Context.Deadline(); ok && t.Before(w.until) {
		return t, true
	}
	return w.until, true
}

func (w *within) Done() <-chan struct{} {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.inner == nil {
		w.inner, w.cancel = context.WithDeadline(w.Context, w.until)
	}
	return w.inner.Done()
}

func (w *within) Err() error {
	if err := w.Context.Err(); err != nil {
		return err
	}
	if !time.Now().Before(w.until) {
		return context.DeadlineExceeded
	}
	return nil
}

// release lets the timer go. Nobody may wait any more.
func (w *within) release() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.cancel != nil {
		w.cancel()
	}
}
