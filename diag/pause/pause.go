// Package pause lets time go by without holding anybody up who wants to stop.
package pause

import (
	"context"
	"time"
)

// For returns nil once d has gone by, at once where d is not above zero, and ctx.Err() when ctx ends first.
func For(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
