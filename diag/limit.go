package diag

import (
	"time"

	"readback/diag/bus"
	"readback/diag/isotp"
	"readback/diag/link"
	"readback/diag/trace"
)

// Timing tells how long a look took, and how long it has to take at least.
type Timing struct {
	Elapsed time.Duration
	Limit   time.Duration // 0 where it can't be told
	// The parts that make Limit up, on raw CAN.
	Listen, Ask, Search, Read time.Duration

	Frames, Bits int     // of requests and answers, on raw CAN
	BitRate      int     // bit/s
	Assumed      bool    // the adapter does not know the bit rate
	Share        float64 // of the bus's time that may be taken
}

// phases are the moments between the parts of a look.
type phases struct {
	begun, listened, asked, searched time.Time
	rounds                           int  // questions to all modules
	swept                            bool // physical addresses were asked one by one
	exchanges                        int  // over a serial adapter, how many there had been before
}

// limit is the least time that a look over raw CAN can take, worked out from the frames that it exchanged. Nothing in it
// is estimated:
//
//	limit  = listen + ask + search + read
//	listen = the second in which only the car's own traffic is heard
//	ask    = for each question to all modules: P2 and a gateway's delay, 150 ms. Who is silent can't be told from who is
//	         not there any sooner, and the next question to all must not come before (ISO 14229-2, P3 of functional requests)
//	search = bits of all frames / (bit rate · share) + once 150 ms, the silence after the last address
//	read   = the longer of
//	         bits of all frames / (bit rate · share), and
//	         the slowest module's own time: the sum of its times from each request to the first frame of the answer, from
//	         each "working, wait" to what followed, and 150 ms for each request that it left unanswered
//
// A bit counts with the stuff bits and the space between frames ([bus.FrameBits]). Requests, flow control and answers
// count, the car's ordinary traffic does not. The modules are read side by side, so their times do not add up; a
// module's requests follow one another, so its times do. What this program adds of its own — thinking, writing the record,
// asking again in doubt beyond the frames that this takes, a timer that is late — is not in it.
func limit(frames []trace.Entry, p phases, modules []link.Address, rate int) Timing {
	t := Timing{BitRate: rate, Share: share, Listen: p.listened.Sub(p.begun)}
	paid := func(bits int) time.Duration {
		return time.Duration(float64(bits) / (float64(rate) * share) * float64(time.Second))
	}
	var searched, read int
	ordinary := map[link.ID]bool{} // heard before anything was asked
	for _, e := range frames {
		if e.Level == trace.Frame && e.At.Before(p.listened) {
			ordinary[e.ID] = true
		}
		if e.Level != trace.Frame || !link.IDOf(e.Frames[0]).Diagnostic() || ordinary[e.ID] {
			continue
		}
		bits := bus.FrameBits(e.Frames[0])
		t.Frames++
		t.Bits += bits
		switch {
		case e.At.Before(p.asked):
		case e.At.Before(p.searched):
			searched += bits
		default:
			read += bits
		}
	}
	t.Ask = time.Duration(p.rounds) * answerWithin
	if p.swept {
		t.Search = paid(searched) + answerWithin
	}
	t.Read = paid(read)
	for _, a := range modules {
		t.Read = max(t.Read, ownTime(frames, a, p.searched))
	}
	t.Limit = t.Listen + t.Ask + t.Search + t.Read
	return t
}

// ownTime is the time that one module took for itself since a moment.
func ownTime(frames []trace.Entry, a link.Address, since time.Time) (sum time.Duration) {
	var waiting time.Time // since when the module has an answer to give; zero: it has none
	for _, e := range frames {
		if e.Level != trace.Frame || e.At.Before(since) {
			continue
		}
		f := e.Frames[0]
		switch {
		case e.Direction == bus.Out && e.ID == a.Request:
			if _, flow := isotp.ParseFlowControl(f.Data[:f.Length], false); flow {
				continue
			}
			if !waiting.IsZero() {
				sum += answerWithin
			}
			waiting = e.At
		case e.Direction == bus.In && e.ID == a.Answer && !waiting.IsZero():
			sum += e.At.Sub(waiting)
			waiting = time.Time{}
			if f.Data[0] == 3 && isPending(f.Data[1:4]) {
				waiting = e.At
			}
		}
	}
	if !waiting.IsZero() {
		sum += answerWithin
	}
	return sum
}
