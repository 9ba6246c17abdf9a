package replay

import (
	"container/heap"
	"context"
	"sync"
	"time"

	"go.einride.tech/can"

	"readback/diag/bus"
	"readback/diag/link"
)

// player is the car's end of the bus while a recording is played. It belongs to one goroutine.
type player struct {
	bus     bus.Bus
	script  *script
	fast    bool
	begun   time.Time
	alone   int // how many frames of the running car have been played
	due     schedule
	order   int
	waiting map[link.ID][]place // tracks that wait for flow control, by the identifier that it comes on
}

// place is where a track has got to.
type place struct {
	track *track
	step  int
}

// play answers the tester until the context or the bus ends.
func play(ctx context.Context, b bus.Bus, s *script, fast bool) {
	p := &player{bus: b, script: s, fast: fast, begun: time.Now(), waiting: map[link.ID][]place{}}
	ctx, stop := context.WithCancel(ctx)
	heard := make(chan can.Frame)
	var reader sync.WaitGroup
	reader.Go(func() {
		defer stop()
		for {
			r, err := b.Receive(ctx)
			if err != nil {
				return // closed, and nobody is left to tell
			}
			select {
			case heard <- r.Frame:
			case <-ctx.Done():
				return
			}
		}
	})
	p.run(ctx, heard)
	stop()
	reader.Wait()
}

func (p *player) run(ctx context.Context, heard <-chan can.Frame) {
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		if next, ok := p.next(); ok {
			timer.Reset(time.Until(next))
		}
		select {
		case <-ctx.Done():
			return
		case f := <-heard:
			p.hear(&f)
		case <-timer.C:
		}
		if p.say(ctx) != nil {
			return
		}
	}
}

// next is when something is to be said.
func (p *player) next() (at time.Time, ok bool) {
	if len(p.due) > 0 {
		at, ok = p.due[0].at, true
	}
	if p.alone < len(p.script.alone) {
		if t := p.aloneAt(); !ok || t.Before(at) {
			at, ok = t, true
		}
	}
	return at, ok
}

func (p *player) aloneAt() time.Time {
	return p.begun.Add(time.Duration(p.script.alone[p.alone].at - p.script.first))
}

// hear reacts to a frame of the tester.
func (p *player) hear(f *can.Frame) {
	id := link.IDOf(*f)
	if kindOf(f) == flowControl {
		waiting := p.waiting[id]
		if status := f.Data[0] & 0x0F; status == 1 { // wait
			return
		} else if delete(p.waiting, id); status == 0 { // continue to send; everything else ends the message
			for _, w := range waiting {
				p.plan(w)
			}
		}
		return
	}
	list := p.script.reactions[requestOf(f)]
	if list == nil {
		return // not in the recording: silence
	}
	for _, t := range list.take().tracks {
		p.plan(place{t, 0})
	}
}

// plan puts the step of a track on the schedule.
func (p *player) plan(w place) {
	after := w.track.steps[w.step].after
	if p.fast {
		after = 0
	}
	p.order++
	heap.Push(&p.due, planned{time.Now().Add(after), p.order, w})
}

// say sends what is due.
func (p *player) say(ctx context.Context) error {
	for {
		at, ok := p.next()
		if !ok || time.Until(at) > 0 {
			return nil
		}
		if len(p.due) == 0 || p.due[0].at.After(at) {
			f := p.script.alone[p.alone].frame
			p.alone++
			if err := p.bus.Send(ctx, f); err != nil {
				return err
			}
			continue
		}
		w := heap.Pop(&p.due).(planned).place
		s := w.track.steps[w.step]
		if w.step++; w.step < len(w.track.steps) {
			if w.track.steps[w.step].gated {
				id := p.script.asks[w.track.answer]
				p.waiting[id] = append(p.waiting[id], w)
			} else {
				p.plan(w)
			}
		}
		if err := p.bus.Send(ctx, s.frame); err != nil {
			return err
		}
	}
}

// planned is a step with its time. Those of one time keep their order.
type planned struct {
	at    time.Time
	order int
	place place
}

type schedule []planned

func (s schedule) Len() int { return len(s) }
func (s schedule) Less(i, j int) bool {
	if !s[i].at.Equal(s[j].at) {
		return s[i].at.Before(s[j].at)
	}
	return s[i].order < s[j].order
}
func (s schedule) Swap(i, j int) { s[i], s[j] = s[j], s[i] }
func (s *schedule) Push(x any)   { *s = append(*s, x.(planned)) }
func (s *schedule) Pop() any {
	last := len(*s) - 1
	x := (*s)[last]
	*s = (*s)[:last]
	return x
}
