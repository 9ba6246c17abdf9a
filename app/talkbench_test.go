package app

import (
	"runtime"
	"testing"

	"fyne.io/fyne/v2"

	"readback/diag/bus"
)

// busyWire is a recording of n frames: a question with its answer in every eight, and a car that talks to itself.
func busyWire(n int) *wire {
	w := &wire{at: begin}
	for i := uint32(0); len(w.entries) < n; i++ {
		m := i % 8
		w.say(bus.Out, 0x7E0+m, 3, 0x22, 0xF1, byte(0x80+i%16), 0x55, 0x55, 0x55, 0x55)
		w.say(bus.In, 0x7E8+m, 5, 0x62, 0xF1, byte(0x80+i%16), byte(i>>8), byte(i), 0xAA, 0xAA)
		for k := range uint32(2) {
			w.say(bus.In, 0x100+(i+k)%64, 1, 2, 3, 4, 5, 6, byte(i>>8), byte(i))
		}
	}
	w.entries = w.entries[:n]
	return w
}

func heldMB() float64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / 1e6
}

// BenchmarkMillion opens a recording of a million frames and looks through it. Each step is one of its own:
// open from the file to the drawn page, scroll by a notch of a wheel, turn by a page, go to the end and back, type
// letters of a search, draw the page of those who talk.
func BenchmarkMillion(b *testing.B) {
	path := busyWire(1_000_000).file(b, "million.pcapng")
	open := func(b *testing.B) *bench {
		x := newBench(b, setup{})
		x.recording(path)
		return x
	}
	b.Run("open", func(b *testing.B) {
		x := newBench(b, setup{})
		before := heldMB()
		for b.Loop() {
			x.recording(path)
			x.win.Canvas().Capture()
		}
		b.ReportMetric(heldMB()-before, "held-MB")
		b.ReportMetric(float64(x.w.said.file.talk.Len()), "rows")
	})
	steps := []struct {
		name string
		step func(x *bench, i int)
	}{
		{"scroll", func(x *bench, _ int) {
			if x.w.main.AtEnd() {
				x.w.main.ToTop()
			}
			x.w.main.Object.(*fyne.Container).Objects[0].(fyne.Scrollable).Scrolled(&fyne.ScrollEvent{Scrolled: fyne.NewDelta(0, -60)})
		}},
		{"page", func(x *bench, _ int) { x.key(fyne.KeyPageDown) }},
		{"row", func(x *bench, _ int) { x.key(fyne.KeyDown) }},
		{"ends", func(x *bench, i int) { x.key([]fyne.KeyName{fyne.KeyEnd, fyne.KeyHome}[i%2]) }},
		{"search", func(x *bench, i int) {
			x.w.said.search.SetText([]string{"f190", "f19", "charging", "nothing like this"}[i%4])
		}},
		{"module", func(x *bench, i int) { x.w.said.thread = i % 8; x.w.siftTalk(); x.w.draw() }},
		{"heard", func(x *bench, _ int) { x.w.page = PageHeard; x.w.draw() }},
	}
	for _, s := range steps {
		b.Run(s.name, func(b *testing.B) {
			x := open(b)
			x.win.Canvas().Focus(x.w.said.list)
			i := 0
			for b.Loop() {
				s.step(x, i)
				i++
			}
		})
	}
}
