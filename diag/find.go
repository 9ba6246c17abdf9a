package diag

import (
	"cmp"
	"context"
	"errors"
	"iter"
	"reflect"
	"slices"
	"time"

	"readback/diag/adapter"
	"readback/diag/explain"
)

// Find lists the adapters that might be used, the likeliest first. An error of one driver does not hide what
// the others found.
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

// Seen is a list of adapters and what has changed since the one before. In the first list nothing is new.
type Seen struct {
	Found    []adapter.Found `json:"adapters"`
	Appeared []adapter.Found `json:"appeared"` // plugged in since then, in the order of Found
	Vanished []adapter.Found `json:"vanished"` // unplugged since then, in the order of the list before
	Changed  []adapter.Found `json:"changed"`  // the same place, told otherwise: an interface that has been brought up
	// Taken are those of Vanished that were there for less than 15 s. Nobody unplugs that fast: a service of this computer
	// has taken the port, one for braille displays or one that looks for modems (common practice).
	Taken []adapter.Found `json:"taken"`
}

// taken is how soon a port has to vanish to count as taken by a service.
const taken = 15 * time.Second

// TakenAdvice is what to say of [Seen.Taken].
const TakenAdvice = "This port appeared and vanished at once: a service of this computer takes it, one for braille displays or one that looks for modems. " +
	"Wait 15 seconds and plug the adapter in again. If it vanishes again, and nobody here uses a braille display, stop that service for this device."

// New reports whether the adapter at a place has appeared.
func (s Seen) New(p adapter.Place) bool { return placed(s.Appeared, p) >= 0 }

// CompareAdapters is what has changed between two lists. Adapters are the same when their places are.
func CompareAdapters(before, now []adapter.Found) Seen {
	none := []adapter.Found{} // an empty list in JSON, not null
	s := Seen{Found: append(none, now...), Appeared: none, Vanished: none, Changed: none, Taken: none}
	for _, f := range now {
		switch i := placed(before, f.Place); {
		case i < 0:
			s.Appeared = append(s.Appeared, f)
		case !reflect.DeepEqual(before[i], f):
			s.Changed = append(s.Changed, f)
		}
	}
	for _, f := range before {
		if placed(now, f.Place) < 0 {
			s.Vanished = append(s.Vanished, f)
		}
	}
	return s
}

func placed(list []adapter.Found, p adapter.Place) int {
	return slices.IndexFunc(list, func(f adapter.Found) bool { return f.Place == p })
}

// WatchAdapters yields the list of adapters, and again whenever it has changed, until ctx ends or the loop is left. It
// looks every so often, on the goroutine of the loop. A list that could not be read whole comes with its error, once until
// the error changes; what the failing driver had found before does not count as unplugged.
func WatchAdapters(ctx context.Context, drivers []adapter.Driver, every time.Duration) iter.Seq2[Seen, error] {
	return func(yield func(Seen, error) bool) {
		var (
			before  []adapter.Found
			trouble string
			since   = map[adapter.Place]time.Time{} // when those appeared that were not there from the start
		)
		t := time.NewTicker(every)
		defer t.Stop()
		for first := true; ; first = false {
			now, err := Find(ctx, drivers)
			if ctx.Err() != nil {
				return
			}
			text := ""
			if err != nil {
				text = err.Error()
				now = withMissing(now, before)
			}
			s := CompareAdapters(before, now)
			if first {
				s.Appeared = []adapter.Found{}
			}
			for _, f := range s.Appeared {
				since[f.Place] = time.Now()
			}
			for _, f := range s.Vanished {
				if t, known := since[f.Place]; known && time.Since(t) < taken {
					s.Taken = append(s.Taken, f)
				}
				delete(since, f.Place)
			}
			if first || text != trouble || len(s.Appeared)+len(s.Vanished)+len(s.Changed) > 0 {
				if !yield(s, err) {
					return
				}
			}
			before, trouble = now, text
			select {
			case <-ctx.Done():
				return
			case <-t.C:
			}
		}
	}
}

// withMissing keeps in an incomplete list what was there before.
func withMissing(now, before []adapter.Found) []adapter.Found {
	for _, f := range before {
		if placed(now, f.Place) < 0 {
			now = append(now, f)
		}
	}
	slices.SortStableFunc(now, func(a, b adapter.Found) int { return cmp.Compare(a.Rank, b.Rank) })
	return now
}

// Identify asks an adapter of the list what it is, where more than one driver may be right. It sends nothing to the car.
// Without a driver that can ask, it returns the row's own place.
func Identify(ctx context.Context, drivers []adapter.Driver, f adapter.Found) (adapter.Probed, error) {
	for _, p := range append([]adapter.Place{f.Place}, f.Also...) {
		scheme, _, err := p.Split()
		if err != nil {
			return adapter.Probed{}, err
		}
		for _, d := range drivers {
			if prober, ok := d.(adapter.Prober); ok && slices.Contains(d.Schemes(), scheme) {
				return prober.Probe(ctx, p)
			}
		}
	}
	return adapter.Probed{Place: f.Place}, nil
}

// Explain explains a line without knowing the car.
func Explain(text string, wish explain.Wish) explain.Explanation {
	return explain.Explain(text, explain.Options{Wish: wish})
}
