package diag_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"readback/diag"
	"readback/diag/adapter"
)

// plugs is a driver whose list the test changes.
type plugs struct {
	adapter.Driver
	found []adapter.Found
	err   error
	asked int
}

func (p *plugs) Schemes() []string { return []string{"plug"} }

func (p *plugs) Find(context.Context) ([]adapter.Found, error) {
	p.asked++
	return slices.Clone(p.found), p.err
}

func plug(place adapter.Place, rank int) adapter.Found {
	return adapter.Found{Place: place, Name: "Adapter", Rank: rank, Ready: true}
}

func places(found []adapter.Found) string {
	out := []adapter.Place{}
	for _, f := range found {
		out = append(out, f.Place)
	}
	return fmt.Sprint(out)
}

func TestCompareAdapters(t *testing.T) {
	a, b, c := plug("serial:A", 1), plug("serial:B", 2), plug("can:can0", 3)
	up := c
	c.Ready, c.Note = false, "down"
	for name, x := range map[string]struct {
		before, now                 []adapter.Found
		appeared, vanished, changed string
	}{
		"nothing":           {nil, nil, "[]", "[]", "[]"},
		"the same":          {[]adapter.Found{a, b}, []adapter.Found{b, a}, "[]", "[]", "[]"},
		"plugged in":        {[]adapter.Found{a}, []adapter.Found{a, b}, "[serial:B]", "[]", "[]"},
		"pulled":            {[]adapter.Found{a, b}, []adapter.Found{b}, "[]", "[serial:A]", "[]"},
		"another port":      {[]adapter.Found{a}, []adapter.Found{b}, "[serial:B]", "[serial:A]", "[]"},
		"brought up":        {[]adapter.Found{a, c}, []adapter.Found{a, up}, "[]", "[]", "[can:can0]"},
		"all at the time":   {[]adapter.Found{a, c}, []adapter.Found{b, up}, "[serial:B]", "[serial:A]", "[can:can0]"},
		"everything pulled": {[]adapter.Found{a, b}, nil, "[]", "[serial:A serial:B]", "[]"},
	} {
		s := diag.CompareAdapters(x.before, x.now)
		if places(s.Appeared) != x.appeared || places(s.Vanished) != x.vanished || places(s.Changed) != x.changed || places(s.Found) != places(x.now) {
			t.Errorf("%s: %+v", name, s)
		}
		if s.New("serial:B") != (x.appeared == "[serial:B]") {
			t.Errorf("%s: New", name)
		}
	}
}

// The list comes again when something was plugged in, pulled or changed, and only then.
func TestWatchAdapters(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, b := plug("serial:A", 1), plug("serial:B", 2)
		p, q := &plugs{found: []adapter.Found{b}}, &plugs{}
		broken := errors.New("no list")
		steps := []struct {
			do                        func()
			after                     time.Duration
			found, appeared, vanished string
			err                       error
		}{
			{func() {}, 0, "[serial:B]", "[]", "[]", nil},
			{func() { q.found = []adapter.Found{a} }, time.Second, "[serial:A serial:B]", "[serial:A]", "[]", nil},
			{func() { p.found, p.err = nil, broken }, time.Second, "[serial:A serial:B]", "[]", "[]", broken},
			{func() { q.found = nil; q.err = nil; p.err = nil }, time.Second, "[]", "[]", "[serial:A serial:B]", nil},
			{func() {}, time.Hour, "", "", "", nil},
		}
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		last, n := time.Now(), 0
		for s, err := range diag.WatchAdapters(ctx, []adapter.Driver{p, q}, time.Second) {
			want := steps[n]
			if places(s.Found) != want.found || places(s.Appeared) != want.appeared || places(s.Vanished) != want.vanished || !errors.Is(err, want.err) || (err == nil) != (want.err == nil) {
				t.Fatalf("step %d: %+v, %v", n, s, err)
			}
			if d := time.Since(last); d != want.after {
				t.Errorf("step %d: after %v, want %v", n, d, want.after)
			}
			last = time.Now()
			n++
			steps[n].do()
			if steps[n].after == time.Hour {
				time.AfterFunc(time.Hour, cancel)
			}
		}
		if n != len(steps)-1 || time.Since(last) != time.Hour || p.asked < 3600 {
			t.Errorf("%d lists, %v, asked %d times", n, time.Since(last), p.asked)
		}
	})
}

// Leaving the loop ends the watch: nobody is asked again.
func TestWatchAdaptersLeft(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &plugs{}
		for range diag.WatchAdapters(t.Context(), []adapter.Driver{p}, time.Second) {
			break
		}
		if p.asked != 1 {
			t.Errorf("asked %d times", p.asked)
		}
	})
}

// A port that vanishes within 15 s of appearing is told as taken; one that was there before, or for longer, is not. Source:
// common practice with services for braille displays and modems, no published figure.
func TestTakenPort(t *testing.T) {
	for _, c := range []struct {
		from, to time.Duration // when the port is there
		want     string
	}{
		{0, 3 * time.Second, "[]"}, {2 * time.Second, 4 * time.Second, "[serial:A]"}, {2 * time.Second, 16 * time.Second, "[serial:A]"}, {2 * time.Second, 18 * time.Second, "[]"},
	} {
		synctest.Test(t, func(t *testing.T) {
			begun := time.Now()
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			var got []adapter.Found
			for s, err := range diag.WatchAdapters(ctx, []adapter.Driver{between{begun.Add(c.from), begun.Add(c.to)}}, time.Second) {
				if err != nil {
					t.Fatal(err)
				}
				got = append(got, s.Taken...)
			}
			if places(got) != c.want {
				t.Errorf("there from %v to %v: %s, want %s", c.from, c.to, places(got), c.want)
			}
		})
	}
}

// between is a driver whose adapter is there for a while.
type between struct{ from, to time.Time }

func (between) Schemes() []string { return []string{"serial"} }

func (b between) Find(context.Context) ([]adapter.Found, error) {
	if now := time.Now(); now.Before(b.from) || !now.Before(b.to) {
		return nil, nil
	}
	return []adapter.Found{plug("serial:A", 1)}, nil
}

func (between) Open(context.Context, adapter.Place, adapter.Options) (adapter.Connection, error) {
	return nil, adapter.ErrUnknownPlace
}
