package diag

import (
	"context"
	"slices"
	"sync"
	"time"

	"readback/diag/link"
	"readback/diag/pause"
)

// search asks many addresses at once over raw frames and sorts out which request identifier each answer belongs to,
// whatever the distance between the two.
//
// First all addresses are asked the same: 3E 00, which every module answers. Nothing but time joins a request and its
// answer then, so each answering identifier has some suspects: the requests that left shortly before it was first
// heard. They are asked again in rounds, each round with as many different harmless requests as there are labels. An
// answer, also a refusal, names the service that it answers, so a round leaves an eighth of the suspects.
type search struct {
	visit *Visit
	peer  *link.Peer
	came  chan struct{} // holds a token while an answer may be waiting

	mu      sync.Mutex
	asked   []question
	answers []response
	swept   int // how many answers the sweep itself has brought
}

// labels are harmless requests of different services (ISO 14229-1, SAE J1979). A module that does not know a service says
// so, with the service in its refusal. 3E 00, the first, is answered by all.
var labels = [][]byte{{0x3E, 0x00}, {0x22, 0xF1, 0x86}, {0x19, 0x01, 0xFF}, {0x01, 0x00}, {0x09, 0x00}, {0x0A}, {0x07}, {0x03}}

// question is one request of a search: it left between from and to.
type question struct {
	id       link.ID
	service  byte
	from, to time.Time
}

// response is one answer, "working, wait" included.
type response struct {
	id      link.ID
	service byte
	at      time.Time
	final   bool // not "working, wait"
}

// search asks all of todo and returns found with the pairs that it has proven.
func (v *Visit) search(ctx context.Context, found []link.Address, todo []link.ID, tell func(Progress)) ([]link.Address, error) {
	ctx, stop := context.WithCancelCause(ctx)
	s := &search{visit: v, peer: v.router.Listen(), came: make(chan struct{}, 1)}
	var wg sync.WaitGroup
	wg.Go(func() {
		if err := s.receive(ctx); err != nil {
			stop(err)
		}
	})
	defer wg.Wait()
	defer s.peer.Close()
	defer stop(nil)

	for i, id := range todo {
		if i%16 == 0 {
			tell(Progress{Stage: StageSweep, Done: i, Total: len(todo), Answered: len(found) + len(s.strangers(found))})
		}
		if err := s.ask(ctx, id, labels[0]); err != nil {
			return nil, cause(ctx, err)
		}
	}
	if err := pause.For(ctx, answerWithin); err != nil {
		return nil, cause(ctx, err)
	}
	s.mu.Lock()
	s.swept = len(s.answers)
	s.mu.Unlock()
	mine, err := s.resolve(ctx, found, func(n int) {
		tell(Progress{Stage: StageSweep, Done: len(todo), Total: len(todo), Answered: n})
	})
	return append(found, mine...), cause(ctx, err)
}

// cause is what ended ctx where that is the reason of err.
func cause(ctx context.Context, err error) error {
	if err != nil && ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return err
}

// receive notes the answers until ctx ends.
func (s *search) receive(ctx context.Context) error {
	for {
		m, err := s.peer.Receive(ctx)
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil && !link.Passing(err):
			return err
		case err != nil || len(m.Data) < 2:
			continue
		}
		service := m.Data[0] &^ 0x40
		if m.Data[0] == 0x7F {
			service = m.Data[1]
		}
		if !slices.ContainsFunc(labels, func(l []byte) bool { return l[0] == service }) {
			continue
		}
		s.visit.hear(m.Address.Answer)
		s.mu.Lock()
		s.answers = append(s.answers, response{m.Address.Answer, service, m.At, !isPending(m.Data)})
		s.mu.Unlock()
		select {
		case s.came <- struct{}{}:
		default:
		}
	}
}

// ask sends one request, as soon as the load of the bus allows, unless the car has been heard to send on that identifier.
func (s *search) ask(ctx context.Context, id link.ID, request []byte) error {
	if s.visit.isHeard(id) {
		return nil
	}
	from := time.Now()
	if err := s.peer.Send(ctx, link.Message{Address: physical(id), Data: request}); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.asked = append(s.asked, question{id, request[0], from, time.Now()})
	return nil
}

// strangers are the identifiers that have answered and belong to none of known, in the order of their first answers.
func (s *search) strangers(known []link.Address) (out []link.ID) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, a := range s.answers {
		if !slices.Contains(out, a.id) && !slices.ContainsFunc(known, func(k link.Address) bool { return k.Answer == a.id }) {
			out = append(out, a.id)
		}
	}
	return out
}
