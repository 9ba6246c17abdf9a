package app

import (
	"image"
	"testing"
	"testing/synctest"
	"time"

	"fyne.io/fyne/v2/canvas"
	"fyne.io/fyne/v2/test"

	"readback/diag"
)

// newest is what the row of a value shows.
func (b *bench) newest(key string) string { return b.w.live.chosenLive(key).lines[0].now.String() }

// TestBeat: whatever comes, the window does what it does by itself four times in a second, all of it at once, and what has come
// is shown by the next time.
func TestBeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, setup{visit: liveVisit()})
		b.live()
		b.choose("7E0:0C", "supply")
		b.tap("live-show")
		const seconds, every = 4, 5 * time.Millisecond
		const all = int(seconds * time.Second / every)
		begun := time.Now()
		go func() {
			for n := range all {
				b.visit.feed <- b.visit.number("7E0:0C", time.Duration(n)*every, float64(n))
				<-time.After(every)
			}
		}()
		asked := 0
		for time.Since(begun) < seconds*time.Second {
			select {
			case f := <-b.queue:
				f()
				asked++
			case <-time.After(beatEvery + time.Millisecond):
				t.Fatalf("for %v nothing was shown", beatEvery)
			}
			// What is shown now is not older than what came before the beat.
			due := min(int(time.Since(begun)/every), all) - 1
			if s := b.w.live.chosenLive("7E0:0C"); s.last.Before(begin.Add(time.Duration(due) * every)) {
				t.Fatalf("at %v the newest is that of %v", time.Since(begun), s.last.Sub(begin))
			}
		}
		if most := seconds*int(time.Second/beatEvery) + 1; asked > most || asked < most-2 {
			t.Errorf("the window's thread was asked %d times in %d s, want %d", asked, seconds, most)
		}
		// A single reading is shown within a beat too, and the last one in the end.
		at := time.Now()
		b.visit.feed <- b.visit.number("7E0:0C", time.Minute, 4711)
		b.until("shown", func() bool { return b.newest("7E0:0C") == "4711 1/min" })
		if took := time.Since(at); took > beatEvery {
			t.Errorf("a reading was shown after %v", took)
		}
	})
}

// TestLiveRests: a value that changes is shown at once, and the plot with it. While none does, the plot moves on every other time,
// and also when nothing more comes; the rates are set every fourth time.
func TestLiveRests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, setup{visit: liveVisit()})
		b.live()
		b.choose("7E0:0C")
		b.tap("live-show")
		n := 0
		beat := func(values ...float64) (moved, rated bool) {
			pace := b.w.live.chosenLive("7E0:0C").pace
			picture := func() string {
				drawn := test.WidgetRenderer(b.w.live.plot).Objects()[0].(*canvas.Raster).Generator(600, 300).(*image.RGBA)
				return string(drawn.Pix)
			}
			for _, v := range values {
				n++
				x := b.visit.number("7E0:0C", time.Duration(n)*100*time.Millisecond, v)
				x.Rate = float64(n)
				b.visit.feed <- x
			}
			synctest.Wait()
			before, rate := picture(), pace.String()
			b.w.followLive()
			return picture() != before, pace.String() != rate
		}
		for i, step := range []struct {
			values       []float64
			moved, rated bool
		}{
			{[]float64{800}, true, false}, // the first one
			{[]float64{800}, true, false},
			{[]float64{800}, false, false},
			{[]float64{800}, true, true},
			{[]float64{800}, false, false},
			{nil, true, false}, // what has come before
			{nil, false, false},
			{nil, false, true},
			{[]float64{900}, true, false},
			{[]float64{900, 901}, true, false},
			{[]float64{950, 901}, false, false}, // the newest is the same
			{[]float64{901.2}, true, true},
		} {
			moved, rated := beat(step.values...)
			if moved != step.moved || rated != step.rated {
				t.Errorf("beat %d, %v: the plot moved %t, rates set %t", i+1, step.values, moved, rated)
			}
			if len(step.values) > 0 {
				if got, want := b.newest("7E0:0C"), decimal(step.values[len(step.values)-1], 0)+" 1/min"; got != want {
					t.Errorf("beat %d shows %q, want %q", i+1, got, want)
				}
			}
		}
	})
}

// TestLiveEndsWithTheLast: what has come before the owner ends it is shown, though no beat has come since.
func TestLiveEndsWithTheLast(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, setup{visit: liveVisit()})
		b.live()
		b.choose("7E0:0C")
		b.tap("live-show")
		b.tell(b.visit.number("7E0:0C", 0, 850))
		b.visit.feed <- b.visit.number("7E0:0C", 100*time.Millisecond, 851)
		synctest.Wait() // it was read; the window's thread has not looked yet
		b.tap("live-stop")
		b.says("Nothing is being read now.", "851 1/min")
		if at := b.w.live.newest; !at.Equal(begin.Add(100 * time.Millisecond)) {
			t.Errorf("the plot ends at %v", at.Sub(begin))
		}
	})
}

// TestLiveOutOfSight: while a file is chosen nothing of the page of live values is drawn, and it is all there afterwards.
func TestLiveOutOfSight(t *testing.T) {
	b := newBench(t, setup{visit: liveVisit()})
	b.live()
	b.choose("7E0:0C")
	b.tap("live-show")
	b.tell(b.visit.number("7E0:0C", 0, 850))
	b.tap("live-save")
	if b.w.page != PageChoose {
		t.Fatalf("on the page %s", b.w.page)
	}
	before := b.newest("7E0:0C")
	b.visit.feed <- b.visit.number("7E0:0C", time.Second, 900)
	b.until("taken", func() bool { return b.w.live.newest.Equal(begin.Add(time.Second)) })
	if now := b.newest("7E0:0C"); now != before {
		t.Errorf("%q was set out of sight", now)
	}
	b.w.escape()
	b.says("900 1/min")
}

// drawnAnew tells whether f draws the window.
func (b *bench) drawnAnew(f func()) bool {
	before := b.w.strip.Objects[0]
	f()
	return b.w.strip.Objects[0] != before
}

// TestHealthInFigures: how the bus does is asked every other second, and told in figures that change each time. That draws only
// the page that tells them, until it says that nothing more may be sent.
func TestHealthInFigures(t *testing.T) {
	b := newBench(t, setup{})
	b.visit.health = diag.JudgeBus(diag.BusFacts{Heard: 9})
	b.connect()
	b.until("judged", func() bool { return b.w.link.health != nil })
	for b.next(50 * time.Millisecond) {
	}
	judge := func(f diag.BusFacts) bool {
		unlock := b.visit.lock()
		b.visit.health = diag.JudgeBus(f)
		unlock()
		before := b.w.link.health
		b.w.askHealth()
		return b.drawnAnew(func() { b.until("judged", func() bool { return b.w.link.health != before }) })
	}
	if b.w.page != PageLink || !judge(diag.BusFacts{Heard: 10}) {
		t.Error("the page of the link does not tell what is new")
	}
	b.says("10 frames came without errors.")
	if judge(diag.BusFacts{Heard: 10}) {
		t.Error("what is the same is drawn again")
	}
	b.w.Show(PageCable)
	if judge(diag.BusFacts{Heard: 11}) {
		t.Error("a page is drawn for figures that it does not tell")
	}
	if !judge(diag.BusFacts{Broken: 9}) {
		t.Error("nothing is drawn when nothing more may be sent")
	}
	b.w.Show(PageCodes)
	b.says("Stop sending")
	if !judge(diag.BusFacts{Heard: 12}) {
		t.Error("nothing is drawn when it may be sent again")
	}
}
