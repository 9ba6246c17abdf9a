package isotp

import (
	"context"
	"testing"
	"time"
)

// TestWithinEndsWithTheEarlier of its own time and that of the context around it.
func TestWithinEndsWithTheEarlier(t *testing.T) {
	until := time.Now().Add(time.Hour)
	for name, c := range map[string]struct{ around, want time.Time }{
		"nothing around":   {time.Time{}, until},
		"an earlier time":  {until.Add(-time.Minute), until.Add(-time.Minute)},
		"a later time":     {until.Add(time.Minute), until},
		"the same instant": {until, until},
	} {
		ctx := t.Context()
		if !c.around.IsZero() {
			var cancel context.CancelFunc
			ctx, cancel = context.WithDeadline(ctx, c.around)
			defer cancel()
		}
		w := &within{Context: ctx, until: until}
		if got, ok := w.Deadline(); !ok || !got.Equal(c.want) {
			t.Errorf("%s: %v, %v, want %v", name, got, ok, c.want)
		}
	}
}
