// Package linktest helps to test what stands on a [link.Link], and holds the conformance kit that every Link runs.
//
// [Conform] is the kit, [Play] a Link whose answers are a script, [Memory] a Link in memory whose far end a test holds.
package linktest

import (
	"context"

	"readback/diag/link"
)

// Peer is the far end of a Link under test: the modules of a car, or a device that speaks for them. Its methods may
// be called from several goroutines.
type Peer interface {
	// Abilities tells what this far end, and the adapter before it, can do.
	Abilities() Abilities
	// Request returns the next request that reached the far end, whole, in the order of arrival. Its Address has the
	// Request identifier at least. Exact holds the data field of a request that came in one frame, where the far end
	// sees frames.
	Request(ctx context.Context) (link.Message, error)
	// Answer lets the module of a answer. It returns once the whole answer has been handed over.
	Answer(ctx context.Context, a link.Address, data []byte) error
	// Tear lets the module of a begin an answer and stop before its end. It is called only where Abilities says so.
	Tear(ctx context.Context, a link.Address, data []byte) error
	// Done tells that no more answers to the request before come, for a far end that has to say so.
	Done(ctx context.Context) error
}

// Abilities of a far end and the adapter before it.
type Abilities struct {
	Modules        []link.Address // physical addresses that answer; two or more
	Functional     link.Address   // reaches all of them; the zero Address when there is none
	LongestRequest int            // bytes; 7 and more
	LongestAnswer  int            // bytes; 7 and more
	Parallel       bool           // requests to several modules may be in the air at once
	Tears          bool           // the far end sees frames and can leave a message unfinished
	Begins         bool           // the Link tells when a long answer has begun
	Guarded        bool           // the Link may refuse what is malformed in words of its own, before link.ErrNotExact
}

// With is p with other abilities, for a wrapper that lets less through than what it stands on.
func With(p Peer, change func(*Abilities)) Peer { return changed{p, change} }

type changed struct {
	Peer
	change func(*Abilities)
}

func (c changed) Abilities() Abilities {
	a := c.Peer.Abilities()
	c.change(&a)
	return a
}
