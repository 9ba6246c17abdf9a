package app

import (
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// thread runs what the door hands over, as the window's thread does, and notes when it was asked to.
type thread struct {
	run   sync.Mutex // a thread runs one thing at a time
	mu    sync.Mutex
	asked []time.Time
	held  []func()
	busy  bool // while busy, what is asked waits
}

func (th *thread) do(f func()) {
	th.mu.Lock()
	th.asked = append(th.asked, time.Now())
	if th.busy {
		th.held = append(th.held, f)
		th.mu.Unlock()
		return
	}
	th.mu.Unlock()
	th.run.Lock()
	defer th.run.Unlock()
	f()
}

// TestDoorKeepsRedrawsApart: a thousand results in a second become at most one redraw every 17 ms, and none is lost.
func TestDoorKeepsRedrawsApart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		th, drawn, ran := &thread{}, 0, 0
		d := &door{do: th.do, draw: func() { drawn++ }}
		for range 1000 {
			d.hand("", func() { ran++ })
			<-time.After(time.Millisecond)
		}
		<-time.After(time.Second)
		synctest.Wait()
		if ran != 1000 {
			t.Errorf("%d of 1000 results arrived", ran)
		}
		if drawn < 50 || drawn > 60 { // 1000 ms / 17 ms
			t.Errorf("%d redraws in a second", drawn)
		}
		for i := 1; i < len(th.asked); i++ {
			if gap := th.asked[i].Sub(th.asked[i-1]); gap < doorGap {
				t.Errorf("redraw %d came %v after the one before", i, gap)
			}
		}
	})
}

// TestDoorOnePending: while the thread is busy, only one redraw waits for it, whatever is handed in.
func TestDoorOnePending(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		th, drawn, ran := &thread{busy: true}, 0, 0
		d := &door{do: th.do, draw: func() { drawn++ }}
		for range 500 {
			d.hand("", func() { ran++ })
			<-time.After(5 * time.Millisecond)
		}
		synctest.Wait()
		if len(th.held) != 1 {
			t.Fatalf("%d redraws wait", len(th.held))
		}
		th.held[0]()
		if drawn != 1 || ran != 500 {
			t.Errorf("%d redraws, %d results", drawn, ran)
		}
	})
}

// TestDoorReplacesSameKey: of progress that nobody has seen yet only the newest counts; results without a key all do.
func TestDoorReplacesSameKey(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var got []string
		th := &thread{}
		d := &door{do: th.do, draw: func() { got = append(got, "draw") }}
		d.last = time.Now()
		for _, x := range [][2]string{{"look", "1"}, {"", "a"}, {"look", "2"}, {"", "b"}, {"look", "3"}} {
			d.hand(x[0], func() { got = append(got, x[1]) })
		}
		<-time.After(doorGap)
		synctest.Wait()
		want := []string{"3", "a", "b", "draw"}
		if len(got) != len(want) {
			t.Fatalf("got %q, want %q", got, want)
		}
		for i := range want {
			if got[i] != want[i] {
				t.Fatalf("got %q, want %q", got, want)
			}
		}
	})
}

// TestDoorClosed: nothing passes a closed door, not even what waited before it.
func TestDoorClosed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ran := 0
		th := &thread{}
		d := &door{do: th.do, draw: func() { ran++ }, last: time.Now()}
		d.hand("", func() { ran++ })
		d.close()
		d.hand("", func() { ran++ })
		<-time.After(time.Second)
		synctest.Wait()
		if ran != 0 {
			t.Errorf("%d passed", ran)
		}
	})
}
