package pause_test

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag/pause"
)

func TestFor(t *testing.T) {
	for _, tt := range []struct {
		name  string
		ctx   func(context.Context) (context.Context, context.CancelFunc)
		d     time.Duration
		takes time.Duration
		err   error
	}{
		{"its time", context.WithCancel, time.Second, time.Second, nil},
		{"no time", context.WithCancel, 0, 0, nil},
		{"less than none", context.WithCancel, -time.Second, 0, nil},
		{"the end comes first", withTimeout(time.Second), time.Minute, time.Second, context.DeadlineExceeded},
		{"the end was before", alwaysDone, time.Minute, 0, context.Canceled},
		{"the end was before, and no time", alwaysDone, 0, 0, context.Canceled},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, cancel := tt.ctx(t.Context())
				defer cancel()
				begun := time.Now()
				err := pause.For(ctx, tt.d)
				if took := time.Since(begun); !errors.Is(err, tt.err) || took != tt.takes {
					t.Errorf("%v after %v, want %v after %v", err, took, tt.err, tt.takes)
				}
			})
		})
	}
}

func withTimeout(d time.Duration) func(context.Context) (context.Context, context.CancelFunc) {
	return func(ctx context.Context) (context.Context, context.CancelFunc) { return context.WithTimeout(ctx, d) }
}

func alwaysDone(ctx context.Context) (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancel(ctx)
	cancel()
	return ctx, cancel
}
