package garage

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
)

// ending is a context that ends when it has been asked so often whether it has. A transaction asks from a goroutine of its own, too.
type ending struct {
	context.Context
	end  context.CancelFunc
	left atomic.Int32
}

func (e *ending) Err() error {
	if e.left.Add(-1) == 0 {
		e.end()
	}
	return e.Context.Err()
}

// TestSavingIsGivenUp: a context that ends between two rows of a visit ends the saving of it; nothing of the visit is kept, and
// the store goes on.
func TestSavingIsGivenUp(t *testing.T) {
	s := fresh(t)
	car := putCar(t, s, Car{Name: "Van"})
	v := manyCodes(car.ID)
	v.Modules = v.Modules[:10] // a thousand codes, three thousand rows
	given := 0
	for _, left := range []int32{3, 50, 300, 2_000} {
		parent, cancel := context.WithCancel(t.Context())
		ctx := &ending{Context: parent, end: cancel}
		ctx.left.Store(left)
		if _, err := s.SaveVisit(ctx, v); !errors.Is(err, context.Canceled) {
			t.Fatalf("ended at the question %d: %v", left, err)
		}
		if ctx.left.Load() <= 0 {
			given++
		}
		for _, table := range []string{"visit", "module", "identification", "code", "snapshot", "value"} {
			var n int
			if err := s.db.QueryRowContext(t.Context(), "SELECT count(*) FROM "+table).Scan(&n); err != nil || n != 0 {
				t.Errorf("ended at the question %d: %d rows in %s, %v", left, n, table, err)
			}
		}
	}
	if given != 4 {
		t.Errorf("%d of 4 ended on the way", given)
	}
	saved := putVisit(t, s, v)
	if again, err := s.Visit(t.Context(), saved.ID); err != nil || len(again.Modules) != len(v.Modules) {
		t.Errorf("saved afterwards: %d modules, %v", len(again.Modules), err)
	}
}
