package gate

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"readback/diag/explain"
	"readback/diag/link"
)

// permitLife is how long a permit may be used after it was given.
const permitLife = 30 * time.Second

var (
	ErrPermitUsed    = errors.New("gate: this permit was used before")
	ErrPermitExpired = errors.New("gate: this permit has expired")
	ErrPermitOther   = errors.New("gate: this permit is for another request")
)

// Options tell what the gate may let pass beside what the standards name. The zero value knows no car.
type Options struct {
	Identifiers []uint16  // values of service 22 that are known to be readable on this car
	Requests    []link.ID // request identifiers of this car that no standard names; never below 700
	// Hold, when not nil, is asked before anything leaves and before a permit is given. Its error holds everything back and
	// is returned as it is; nothing has left then, and a permit stays as it was. It must return at once.
	Hold func() error
}

// Gate is the only door to the wire. It forwards what its own table calls a look; everything else needs a [Permit].
// It is safe for concurrent use.
type Gate struct {
	inner link.Link
	o     Options

	mu    sync.Mutex
	heard map[link.ID]bool
	tally Tally
}

// Tally counts what has left this computer, and what was held back.
type Tally struct {
	Reads   int
	Changes int
	Refused int
}

// Proposal is a change that is asked for.
type Proposal struct {
	Message     link.Message // Exact must be set: the frame byte for byte
	Explanation explain.Explanation
	State       State
	Words       string // what the owner typed as read-back words
}

// Permit lets one change pass once. It comes from [Gate.Permit] only. A copy of it is the same permit.
type Permit struct{ grant *grant }

// grant is what a permit and all its copies stand for.
type grant struct {
	gate    *Gate
	address link.Address
	data    []byte
	exact   []byte
	expires time.Time
	used    bool // guarded by gate.mu
}

// Refusal is the gate's "no". Nothing was sent.
type Refusal struct {
	Latches []Latch // the latches that are not in line, where that is the reason
	Reason  string  // a sentence for the owner
}

func (r *Refusal) Error() string { return "gate: refused: " + r.Reason }

// New puts a gate before inner.
func New(inner link.Link, o Options) *Gate {
	o.Identifiers, o.Requests = slices.Clone(o.Identifiers), slices.Clone(o.Requests)
	return &Gate{inner: inner, o: o, heard: map[link.ID]bool{}}
}

// Hear notes an identifier that the car itself was heard to send. Nothing is ever sent on it.
func (g *Gate) Hear(id link.ID) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.heard[id] = true
}

// Know lets a value of service 22 be read that is known to be readable on this car.
func (g *Gate) Know(identifier uint16) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !slices.Contains(g.o.Identifiers, identifier) {
		g.o.Identifiers = append(g.o.Identifiers, identifier)
	}
}

// Tally tells what has left so far.
func (g *Gate) Tally() Tally {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.tally
}

// hold is the error that holds everything back, nil where nothing does.
func (g *Gate) hold() error {
	if g.o.Hold == nil {
		return nil
	}
	err := g.o.Hold()
	if err != nil {
		g.mu.Lock()
		g.tally.Refused++
		g.mu.Unlock()
	}
	return err
}

// Send forwards a look. Anything else is refused with a [*Refusal] and does not leave.
func (g *Gate) Send(ctx context.Context, m link.Message) error {
	m = owned(m)
	if err := g.hold(); err != nil {
		return err
	}
	g.mu.Lock()
	reason := g.barred(m)
	if reason == "" && !looks(m.Address, m.Data, g.o) {
		reason = "This request is not one that only looks. It needs a permit."
	}
	if reason != "" {
		g.tally.Refused++
		g.mu.Unlock()
		return &Refusal{Reason: reason}
	}
	g.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	err := g.inner.Send(ctx, m)
	if mayHaveLeft(err) {
		g.mu.Lock()
		g.tally.Reads++
		g.mu.Unlock()
	}
	return err
}

// Receive returns the next message from the car.
func (g *Gate) Receive(ctx context.Context) (link.Message, error) { return g.inner.Receive(ctx) }

// Close closes the link behind the gate.
func (g *Gate) Close() error { return g.inner.Close() }

// owned is m with bytes of its own, so that nobody can change them between the check and the wire.
func owned(m link.Message) link.Message {
	m.Data = slices.Clone(m.Data)
	if m.Exact != nil {
		m.Exact = slices.Clone(m.Exact)
	}
	return m
}

// mayHaveLeft: these errors say that nothing was sent; after any other nobody can be sure.
func mayHaveLeft(err error) bool {
	return !errors.Is(err, link.ErrNotSent) && !errors.Is(err, link.ErrNotExact) && !errors.Is(err, link.ErrTooLong) && !errors.Is(err, link.ErrClosed)
}

// barred tells why a message may not go out whatever it asks for; "" when nothing speaks against it. g.mu is held.
func (g *Gate) barred(m link.Message) string {
	id := m.Address.Request
	switch {
	case g.heard[id]:
		return fmt.Sprintf("The car itself sends on %s. Two senders on one identifier disturb the car.", id)
	case !mayAsk(id, g.o):
		return fmt.Sprintf("%s is not an identifier for requests.", id)
	case len(m.Data) == 0 || len(m.Data) > room(m.Address):
		return "The request does not fit into one frame."
	case m.Exact != nil && !holds(m.Address, m.Exact, m.Data):
		return "The frame and the request in it do not agree."
	}
	return ""
}

// extra is how many address bytes come before the transport byte.
func extra(a link.Address) int {
	if a.Headed() {
		return 1
	}
	return 0
}

func room(a link.Address) int { return 7 - extra(a) }

// holds reports that exact is a single frame (ISO 15765-2) to a, that carries data and nothing else but filling.
func holds(a link.Address, exact, data []byte) bool {
	k := extra(a)
	if len(exact) > 8 || len(exact) < k+1+len(data) || k == 1 && exact[0] != a.Target {
		return false
	}
	return int(exact[k]) == len(data) && bytes.Equal(exact[k+1:k+1+len(data)], data)
}

// Permit judges a proposal. It gives a permit for exactly these bytes to exactly this address, to be used once within
// 30 seconds, or a [*Refusal]: because the request is no change, is not well formed, asks for silence, goes to an
// identifier that the car was heard to send on, or because a latch is not in line; or the error of Options.Hold.
func (g *Gate) Permit(p Proposal, now time.Time) (*Permit, error) {
	m := owned(p.Message)
	if err := g.hold(); err != nil {
		return nil, err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if reason := g.unfit(m, p.Explanation); reason != "" {
		g.tally.Refused++
		return nil, &Refusal{Reason: reason}
	}
	var open []Latch
	for _, l := range line(p.Explanation, p.State, p.Words, now, toAll(m.Address)) {
		if !l.InLine {
			open = append(open, l)
		}
	}
	if len(open) > 0 {
		g.tally.Refused++
		reason := "One latch is not in line: " + open[0].Title + "."
		if len(open) > 1 {
			reason = fmt.Sprintf("%d latches are not in line.", len(open))
		}
		return nil, &Refusal{Latches: open, Reason: reason}
	}
	return &Permit{&grant{gate: g, address: m.Address, data: m.Data, exact: m.Exact, expires: now.Add(permitLife)}}, nil
}

// unfit tells why a request may never get a permit. g.mu is held. Nothing in e is believed that the bytes themselves
// can tell: the class is worked out anew.
func (g *Gate) unfit(m link.Message, e explain.Explanation) string {
	if reason := g.barred(m); reason != "" {
		return reason
	}
	switch class, why := explain.ClassifyPayload(m.Address, m.Data); {
	case looks(m.Address, m.Data, g.o) || class == explain.Look:
		return "This request only looks. It needs no permit."
	case class != explain.Change:
		return why
	}
	switch {
	case asksSilence(m.Data):
		return "It asks the module not to answer. A change without an answer can't be checked."
	case !changes(m.Data):
		return "It is not a change that may pass here."
	case e.Frame == nil || m.Exact == nil:
		return "The request has to be given as the whole frame."
	case e.Frame.ID != m.Address.Request || !bytes.Equal(e.Frame.Data, m.Exact):
		return "The request is not the one that was explained."
	case e.Class != explain.Change || e.Direction != explain.Request:
		return e.Reason
	}
	for _, f := range e.Findings {
		if f.Level == explain.Wrong {
			return "It is not well formed. " + f.Text
		}
	}
	return ""
}

// Pass sends the change that p was given for, once. A permit that was tried stays used, whatever came of it: a change
// is never repeated. now is the time of the sending. One that Options.Hold holds back was not tried.
func (g *Gate) Pass(ctx context.Context, p *Permit, m link.Message, now time.Time) error {
	m = owned(m)
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := g.hold(); err != nil {
		return err
	}
	g.mu.Lock()
	if err := g.spend(p, m, now); err != nil {
		g.tally.Refused++
		g.mu.Unlock()
		return err
	}
	g.mu.Unlock()
	err := g.inner.Send(ctx, m)
	if mayHaveLeft(err) {
		g.mu.Lock()
		g.tally.Changes++
		g.mu.Unlock()
	}
	return err
}

// spend checks a permit and uses it up. g.mu is held.
func (g *Gate) spend(p *Permit, m link.Message, now time.Time) error {
	if p == nil || p.grant == nil || p.grant.gate != g {
		return ErrPermitOther
	}
	of := p.grant
	switch {
	case of.used:
		return ErrPermitUsed
	case !now.Before(of.expires) || now.Before(of.expires.Add(-permitLife)):
		return ErrPermitExpired
	case m.Address != of.address || !bytes.Equal(m.Data, of.data) || !bytes.Equal(m.Exact, of.exact):
		return ErrPermitOther
	}
	if reason := g.barred(m); reason != "" { // an identifier may have been heard since
		return &Refusal{Reason: reason}
	}
	of.used = true
	return nil
}
