package diag_test

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"go.einride.tech/can"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/adapter/practice"
	"readback/diag/bus"
	"readback/diag/garage"
	"readback/diag/link"
	"readback/diag/trace"
)

// plain is one module that answers in one frame: 3E 00 positively, every other service with 7F xx 11 (ISO 14229-1).
type plain struct {
	requests []link.ID // the first is its own
	answer   link.ID
	delay    time.Duration
	silentTo string // services that it does not even refuse
	working  bool   // says 7F xx 78 first and answers 300 ms later
	hears    bool   // takes requests to all modules, too
	never    string // services at which it is at work for ever: 7F xx 78 every four seconds
}

// plainCar is a driver of a car of such modules on a bus in memory.
type plainCar []plain

func (plainCar) Schemes() []string                             { return []string{"plain"} }
func (plainCar) Find(context.Context) ([]adapter.Found, error) { return nil, nil }

func (c plainCar) Open(context.Context, adapter.Place, adapter.Options) (adapter.Connection, error) {
	tester, car := bus.Pair()
	go c.serve(car)
	return &plainConn{tester}, nil
}

func (c plainCar) serve(b bus.Bus) {
	for {
		r, err := b.Receive(context.Background())
		if err != nil {
			return
		}
		sid := r.Frame.Data[1]
		for _, m := range c {
			all := m.hears && link.IDOf(r.Frame) == link.Functional11().Request
			if !all && !slices.Contains(m.requests, link.IDOf(r.Frame)) || slices.Contains([]byte(m.silentTo), sid) {
				continue
			}
			final := []byte{3, 0x7F, sid, 0x11}
			if sid == 0x3E {
				final = []byte{2, 0x7E, 0x00}
			}
			say := func(after time.Duration, data []byte) {
				f := can.Frame{ID: m.answer.Value, IsExtended: m.answer.Extended, Length: 8}
				copy(f.Data[:], data)
				time.AfterFunc(after, func() { _ = b.Send(context.Background(), f) }) // the visit may be over
			}
			if slices.Contains([]byte(m.never), sid) {
				for at := m.delay; at < time.Hour; at += 4 * time.Second {
					say(at, []byte{3, 0x7F, sid, 0x78})
				}
				continue
			}
			if m.working {
				say(m.delay, []byte{3, 0x7F, sid, 0x78})
				say(m.delay+300*time.Millisecond, final)
				continue
			}
			say(m.delay, final)
		}
	}
}

type plainConn struct{ tester bus.Bus }

func (c *plainConn) Bus() bus.Bus { return c.tester }
func (c *plainConn) Close() error { return c.tester.Close() }
func (c *plainConn) Abilities() adapter.Abilities {
	return adapter.Abilities{Name: "Plain", Raw: true, Parallel: 8, Exact: true, Wide: true}
}

func ids(values ...uint32) (out []link.ID) {
	for _, v := range values {
		if v > can.MaxID {
			out = append(out, link.ID29(v))
		} else {
			out = append(out, link.ID11(v))
		}
	}
	return out
}

// foundIn looks at a car and returns the pairs found, sorted.
func foundIn(t *testing.T, car plainCar) (pairs []string) {
	t.Helper()
	s := openStore(t)
	defer s.Close()
	v := openVisit(t, s, "plain:", car)
	defer v.Close()
	look(t, v)
	r, _ := v.Record()
	for _, m := range r.Modules {
		pairs = append(pairs, m.Address.String())
	}
	slices.Sort(pairs)
	return pairs
}

const ms = time.Millisecond

// TestSearchFindsEveryPair: whatever the distance between request and answer, however slow the module, and although it is
// silent to services that it does not know.
func TestSearchFindsEveryPair(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		car := plainCar{
			{requests: ids(0x7E1), answer: link.ID11(0x7E9), delay: 20 * ms},
			{requests: ids(0x700), answer: link.ID11(0x7FF), delay: 1 * ms},
			{requests: ids(0x7FE), answer: link.ID11(0x701), delay: 50 * ms},
			{requests: ids(0x723), answer: link.ID11(0x722), delay: 30 * ms},
			{requests: ids(0x731), answer: link.ID11(0x7B0), delay: 149 * ms}, // the slowest gateway that is waited for
			{requests: ids(0x745), answer: link.ID11(0x746), delay: 12 * ms, silentTo: "\x01\x03\x07\x09\x0A\x19\x22"},
			{requests: ids(0x750), answer: link.ID11(0x755), delay: 40 * ms, working: true},
			// A pair each whose likeliest request is the other's.
			{requests: ids(0x760), answer: link.ID11(0x771), delay: 9 * ms},
			{requests: ids(0x769), answer: link.ID11(0x768), delay: 9 * ms},
			{requests: ids(0x18DA07F1), answer: link.ID29(0x18DAF107), delay: 45 * ms},
			{requests: ids(0x18DA08F1), answer: link.ID29(0x18DAF1C9), delay: 25 * ms}, // not the standard's pair
		}
		var want []string
		for _, m := range car {
			want = append(want, link.Physical(m.requests[0], m.answer).String())
		}
		slices.Sort(want)
		if got := foundIn(t, car); !slices.Equal(got, want) {
			t.Errorf("found %v\nwant  %v", got, want)
		}
	})
}

// TestSearchLeavesSharedRequestsAlone: what more than one module answers is nobody's address.
func TestSearchLeavesSharedRequestsAlone(t *testing.T) {
	for name, group := range map[string]uint32{"asked before them": 0x7AD, "asked after them": 0x7FD, "between": 0x753} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				got := foundIn(t, plainCar{
					{requests: ids(0x712, group), answer: link.ID11(0x71A), delay: 10 * ms},
					{requests: ids(0x734, group), answer: link.ID11(0x794), delay: 14 * ms},
					{requests: ids(0x756, 0x77B), answer: link.ID11(0x75E), delay: 12 * ms}, // two addresses of its own
					{requests: ids(group), answer: link.ID11(0x7A1), delay: 8 * ms},         // reached with others only
				})
				for _, pair := range got {
					if !slices.Contains([]string{"712/71A", "734/794", "756/75E", "77B/75E"}, pair) {
						t.Errorf("found %s", pair)
					}
				}
				if len(got) != 3 {
					t.Errorf("found %v", got)
				}
			})
		})
	}
}

// TestWorkingForEver: a module that says to all for ever that it is at work (7F xx 78, ISO 14229-1 annex A.1) has a minute, as
// in every other question, and is then read like the others.
func TestWorkingForEver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		car := plainCar{{requests: ids(0x7E0), answer: link.ID11(0x7E8), delay: 10 * ms, hears: true, never: "\x22"}}
		if got := foundIn(t, car); !slices.Equal(got, []string{"7E0/7E8"}) {
			t.Errorf("found %v", got)
		}
		if took := time.Since(begun); took > 20*time.Minute {
			t.Errorf("the look took %v", took)
		}
	})
}

// TestLookLoad: a look at twenty modules keeps requests and answers at a tenth of 500 kbit/s, never asks on an identifier
// that it has heard, and finds all that answer.
func TestLookLoad(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		v := openVisit(t, s, "practice:twenty", practice.Driver())
		defer v.Close()
		look(t, v)
		r, _ := v.Record()
		if len(r.Modules) != 19 || !r.Complete {
			t.Errorf("%d modules, complete %v; want 19 of the 20, for one is silent", len(r.Modules), r.Complete)
		}
		heard := map[link.ID]bool{}
		var frames []trace.Entry
		for _, e := range v.Conversation() {
			switch {
			case e.Level != trace.Frame:
				continue
			case e.Direction == bus.In:
				heard[e.ID] = true
			case heard[e.ID]:
				t.Fatalf("%s was asked on at %v, and it is the car's own", e.ID, e.At)
			}
			if e.ID.Diagnostic() {
				frames = append(frames, e)
			}
		}
		load(t, frames)
		if tm := v.Timing(); tm.BitRate != 500000 || tm.Assumed || tm.Limit == 0 || tm.Elapsed < tm.Limit {
			t.Errorf("timing %+v", tm)
		}
	})
}

// load checks every stretch of a second that begins with a frame. Answers can't be held back, only be paid for
// afterwards, so a stretch may end with the answers to what was asked in it: up to 20 modules with 4 frames each.
func load(t *testing.T, frames []trace.Entry) {
	t.Helper()
	const most = 50_000 + 20*4*135 // bits
	bits, worst, from := 0, 0, 0
	for _, e := range frames {
		for e.At.Sub(frames[from].At) >= time.Second {
			bits -= bus.FrameBits(frames[from].Frames[0])
			from++
		}
		bits += bus.FrameBits(e.Frames[0])
		worst = max(worst, bits)
	}
	t.Logf("%d bits in the fullest second", worst)
	if worst > most {
		t.Errorf("%d bits in one second, %d are allowed", worst, most)
	}
}

// TestKnownCarIsNotSearched: the next visit asks the modules that it knows, and one that is new and answers to all.
func TestKnownCarIsNotSearched(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := openStore(t)
		defer s.Close()
		known(t, s, "")
		v := openVisit(t, s, "practice:", practice.Driver())
		defer v.Close()
		var stages []diag.Stage
		for p, err := range v.Look(t.Context(), "") {
			if err != nil {
				t.Fatal(err)
			}
			stages = append(stages, p.Stage)
		}
		if slices.Contains(stages, diag.StageSweep) {
			t.Error("a known car was searched")
		}
		if r, _ := v.Record(); len(r.Modules) != 11 || !r.Complete {
			t.Errorf("%d modules, complete %v", len(r.Modules), r.Complete)
		}
	})
}

// known puts a practice car into the store, as an earlier visit over raw CAN would have.
func known(t *testing.T, s *garage.Store, file string) {
	t.Helper()
	v := openVisit(t, s, adapter.Place("practice:"+file), practice.Driver())
	defer v.Close()
	look(t, v)
}
