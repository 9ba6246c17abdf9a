//go:build unix

package app

import (
	"context"
	"syscall"
	"testing"
	"time"

	"go.einride.tech/can"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/bus"
)

// fastBitRate is the fastest that classical CAN goes, in bit/s (ISO 11898-1).
const fastBitRate = 1_000_000

// player is an adapter on whose bus frames follow one another without a gap.
type player struct{ far, near bus.Bus }

func newPlayer() *player {
	p := &player{}
	p.near, p.far = bus.Pair()
	return p
}

func (p *player) Schemes() []string                             { return []string{"player"} }
func (p *player) Find(context.Context) ([]adapter.Found, error) { return nil, nil }
func (p *player) Bus() bus.Bus                                  { return p.near }
func (p *player) Close() error                                  { return p.near.Close() }
func (p *player) Abilities() adapter.Abilities {
	return adapter.Abilities{Name: "Player", Raw: true, BitRate: fastBitRate}
}
func (p *player) Open(context.Context, adapter.Place, adapter.Options) (adapter.Connection, error) {
	return p, nil
}

// asksEvery is how many frames lie between two questions, each of which is answered by the next frame.
const asksEvery = 64

// played is a frame of the traffic: one without data, or a question of another tester and its answer (ISO 14229-1, 3E).
func played(n int) can.Frame {
	switch n % asksEvery {
	case 0:
		return can.Frame{ID: 0x7E0, Length: 3, Data: can.Data{2, 0x3E, 0}}
	case 1:
		return can.Frame{ID: 0x7E8, Length: 3, Data: can.Data{2, 0x7E, 0}}
	}
	return can.Frame{ID: uint32(n % 0x700)}
}

// show makes what the pages show of the newest of a conversation and of those who talk, in the words of the explanation.
func show(s *said) (rows int) {
	const page = 30
	for i := max(0, s.talk.Len()-page); i < s.talk.Len(); i++ {
		if r := s.talk.Row(i); r.Asked.Text != "" {
			rows++
		}
	}
	for i := range min(page, s.table.Len()) {
		s.table.Row(i)
	}
	return rows
}

// play sends the frames of a second, each not before the ones before it are over on the wire, in steps of a millisecond.
func (p *player) play(ctx context.Context, begun time.Time) (sent int, err error) {
	bits := 0
	tick := time.NewTicker(time.Millisecond)
	defer tick.Stop()
	for bits < fastBitRate {
		<-tick.C
		for due := int(time.Since(begun).Seconds() * fastBitRate); bits < min(due, fastBitRate); sent++ {
			f := played(sent)
			if err := p.far.Send(ctx, f); err != nil {
				return sent, err
			}
			bits += bus.FrameBits(f)
		}
	}
	return sent, nil
}

func processorTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkFullRate lets the shortest frames at 1 Mbit/s, about 20,000 in a second, come in through an adapter, a visit
// with its meter, its record and its transport, to what the pages of the conversation and of who talks are made from, and
// to the explained rows of a page, as often as the window asks. In between somebody asks, and is answered. An operation is a
// second of traffic. It counts what got lost and what share of a processor
// all of it takes, the player included.
func BenchmarkFullRate(b *testing.B) {
	p := newPlayer()
	v, err := diag.Open(b.Context(), diag.Options{Place: "player:", Drivers: []adapter.Driver{p}})
	if err != nil {
		b.Fatal(err)
	}
	defer v.Close()
	s := newSaid(liveFrames)
	s.visit = v
	sent, seconds, shown := 0, 0, 0
	before := processorTime(b)
	begun := time.Now()
	for b.Loop() {
		done := make(chan error)
		go func(from time.Time) {
			n, err := p.play(b.Context(), from)
			sent += n
			done <- err
		}(time.Now())
		look := time.NewTicker(beatEvery)
		for playing := true; playing; {
			select {
			case err := <-done:
				if playing = false; err != nil {
					b.Fatal(err)
				}
			case <-look.C:
			}
			s.take()
			shown = show(s)
		}
		look.Stop()
		seconds++
	}
	for end := time.Now().Add(5 * time.Second); s.table.Frames() < sent && time.Now().Before(end); s.take() {
		<-time.After(time.Millisecond)
	}
	took := time.Since(begun)
	b.ReportMetric(float64(sent)/float64(seconds), "frames/op")
	b.ReportMetric(float64(sent-s.table.Frames()), "lost")
	b.ReportMetric(100*float64(processorTime(b)-before)/float64(took), "%-of-a-core")
	asked := s.table.Frames() - s.talk.Other()
	if asked/2 != s.talk.Len() || asked < sent/asksEvery || shown == 0 {
		b.Fatalf("%d frames are in %d exchanges, %d others, %d were heard; %d explained", asked, s.talk.Len(), s.talk.Other(), s.table.Frames(), shown)
	}
}
