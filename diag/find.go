package diag

import (
	"cmp"
	"context"
	"errors"
	"slices"

	"readback/diag/adapter"
	"readback/diag/explain"
)

// Find lists the adapters that might be used, the likeliest first. An error of one driver does not hide what the
// others found.
func Find(ctx context.Context, drivers []adapter.Driver) ([]adapter.Found, error) {
	var (
		out  []adapter.Found
		errs []error
	)
	for _, d := range drivers {
		found, err := d.Find(ctx)
		out = append(out, found...)
		if err != nil {
			errs = append(errs, err)
		}
	}
	slices.SortStableFunc(out, func(a, b adapter.Found) int { return cmp.Compare(a.Rank, b.Rank) })
	return out, errors.Join(errs...)
}

// Explain explains a line without knowing the car.
func Explain(text string, wish explain.Wish) explain.Explanation {
	return explain.Explain(text, explain.Options{Wish: wish})
}
